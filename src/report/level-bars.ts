/**
 * Live levels of a rig's inputs as lines of a terminal: a bar for each input, and the same in numbers and words.
 *
 * The bar is the level (rms, 0 dBFS is a full-scale sine), "|" in it the highest peak of late. Clipping is a word.
 */
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import { inVolts, plain } from '../units/words.js'
import { clean, cut, padded } from './text.js'

export interface ShownLevel {
  readonly levelFs: number
  readonly heldPeakFs: number
  readonly clippedCount: number
}

export interface LevelScreen {
  /** Rig and card. */
  readonly title: string
  /** Which keys there are, and whether a tone plays. */
  readonly foot: string
  readonly columnCount: number
  readonly rowCount: number
}

/** Left end of every bar. */
const LOWEST_DBFS = -80
const CLIP = 'CLIP'
/** "12 " before and " −123.4 dBFS 12.3 mV CLIP" behind the bar. */
const NUMBER_COLUMNS = 2
const LEVEL_COLUMNS = 6
const VOLTS_COLUMNS = 7
/** All but the bar and its brackets, with the spaces between. */
const FIXED_COLUMNS = NUMBER_COLUMNS + LEVEL_COLUMNS + VOLTS_COLUMNS + CLIP.length + 4
/** A bar shorter than this says nothing. */
const BAR_COLUMNS_MIN = 6
const BAR_COLUMNS_MAX = 60
const GAP = 2
/** Title, scale and foot. */
const OTHER_ROWS = 4

/**
 * One picture, no wider and no taller than the screen; inputs that find no room are counted in the last line.
 *
 * @param levels one for each input of the rig
 */
export function levelScreen(
  levels: readonly ShownLevel[],
  inputs: readonly RigInput[],
  { title, foot, columnCount, rowCount }: LevelScreen,
): string[] {
  // A full line would wrap in some terminals.
  const room = Math.max(FIXED_COLUMNS - 2, columnCount - 1)
  const rowsFree = Math.max(1, rowCount - OTHER_ROWS)
  const mostAside = Math.max(1, Math.floor((room + GAP) / (FIXED_COLUMNS + BAR_COLUMNS_MIN + 2 + GAP)))
  const aside = Math.min(mostAside, Math.ceil(levels.length / rowsFree))
  const cellColumns = Math.floor((room + GAP) / aside) - GAP
  const shownCount = Math.min(levels.length, aside * rowsFree)
  const lineCount = Math.ceil(shownCount / aside)
  const cells = levels.slice(0, shownCount).map((level, k) => levelCell(level, inputs[k], k + 1, cellColumns))
  const lines = Array.from({ length: lineCount }, (_, row) =>
    Array.from({ length: aside }, (_unused, column) => padded(cells[column * lineCount + row] ?? '', cellColumns))
      .join(' '.repeat(GAP))
      .trimEnd(),
  )
  const left = levels.length - shownCount
  const hidden = left === 0 ? [] : [`and ${left} more: make the window taller or wider`]
  return [
    cut(clean(title), room),
    Array.from({ length: aside }, () => padded(scale(cellColumns), cellColumns))
      .join(' '.repeat(GAP))
      .trimEnd(),
    ...lines,
    ...hidden,
    cut(clean(foot), room),
  ].map((line) => cut(line, Math.max(1, columnCount - 1)))
}

const barColumns = (cellColumns: number): number => {
  const free = cellColumns - FIXED_COLUMNS - 2
  return free < BAR_COLUMNS_MIN ? 0 : Math.min(BAR_COLUMNS_MAX, free)
}

/** Heading of the numbers, and what the ends of the bar stand for. */
function scale(cellColumns: number): string {
  const columns = barColumns(cellColumns)
  const [low, high] = [plain(LOWEST_DBFS, 0), '0']
  const ends = columns === 0 ? '' : ` ${padded(low, columns + 1)}${high}`
  return `${padded('In', NUMBER_COLUMNS, 'right')}${ends} ${padded('dBFS', LEVEL_COLUMNS, 'right')} ${padded('lead', VOLTS_COLUMNS, 'right')}`
}

function levelCell(level: ShownLevel, input: RigInput, number: number, cellColumns: number): string {
  const columns = barColumns(cellColumns)
  const bar = columns === 0 ? '' : ` [${barOf(level, columns)}]`
  const clip = level.clippedCount > 0 ? ` ${CLIP}` : ''
  return `${padded(String(number), NUMBER_COLUMNS, 'right')}${bar} ${padded(levelWord(level), LEVEL_COLUMNS, 'right')} ${padded(voltsWord(level, input), VOLTS_COLUMNS, 'right')}${clip}`
}

function barOf({ levelFs, heldPeakFs }: ShownLevel, columns: number): string {
  const place = (fs: number): number => {
    const share = (dbFromRatio(Math.max(fs, 1e-12)) - LOWEST_DBFS) / -LOWEST_DBFS
    return Math.round(Math.min(1, Math.max(0, share)) * columns)
  }
  const bar = padded('='.repeat(place(levelFs)), columns)
  const held = place(heldPeakFs)
  return held === 0 ? bar : `${bar.slice(0, held - 1)}|${bar.slice(held)}`
}

/** An input that gives nothing but zeros is not even noise: the word says so. */
const levelWord = ({ levelFs }: ShownLevel): string => (levelFs === 0 ? 'zeros' : plain(dbFromRatio(levelFs), 1))

const voltsWord = ({ levelFs }: ShownLevel, input: RigInput): string => inVolts(levelFs * fullScaleAtLead(input))

/** All inputs on one line, for a pipe: time, then each input with level, volts at the lead, and CLIP where it did. */
export function levelLine(levels: readonly ShownLevel[], inputs: readonly RigInput[], elapsedS: number): string {
  const cells = levels.map((level, k) => {
    const value = level.levelFs === 0 ? 'zeros' : `${levelWord(level)} dBFS ${voltsWord(level, inputs[k])}`
    return `input ${k + 1}: ${value}${level.clippedCount > 0 ? ` ${CLIP}` : ''}`
  })
  return [`${elapsedS.toFixed(0)} s`, ...cells].join('  ')
}
