/** What a rig check found, for a terminal: one row for each input, the meter, and one thing to do for each trouble. */
import { fullScaleAtLead, type Rig } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import { inDb, inHz, inVolts, plain } from '../units/words.js'
import type { Verdict } from '../verdict/parts.js'
import { NO_VALUE, VERDICT_WORDS } from './format.js'
import { type Paint, paintFor } from './paint.js'
import { clean, padded, widthOf, wrapped } from './text.js'

/** Amplitudes are fractions of a full-scale sine. */
export interface CheckedInput {
  readonly inputNumber: number
  readonly floorFs: number
  readonly hum: { readonly levelFs: number } | null
  readonly levelFs: number
  readonly side: 'left' | 'right' | 'both' | null
  readonly isHeard: boolean
  readonly atFullFs: number | null
  readonly clippedCount: number
  readonly stuck: 'zeros' | 'constant' | null
  readonly sameAs: number | null
}

export interface CheckedRig {
  readonly verdict: Verdict
  readonly isByHand: boolean
  readonly inputs: readonly CheckedInput[]
  readonly meter: {
    readonly inputNumber: number
    readonly says: string | null
    readonly readVrms: number | null
    readonly captureVrms: number | null
    readonly freqHz: number | null
  } | null
  readonly troubles: readonly {
    readonly verdict: Exclude<Verdict, 'pass'>
    readonly says: string
    readonly remedy: string
  }[]
}

export interface RigCheckTextOptions {
  readonly isColour: boolean
  readonly columnCount: number
  readonly isSimulated: boolean
  /** Card and player, as the bench says them. */
  readonly captureSays: string
  readonly playerSays: string
  /** As a person types it. */
  readonly rigPath: string
}

const COLUMNS_MIN = 40
const PROSE_COLUMNS_MAX = 100
/** Text hangs from here, as in the report of a run. */
const INDENT = 8
const SIMULATED_WORDS = 'SIMULATED: a model was checked, no card.'

const AT_FULL_WORDS = 'At full: what a full-scale tone of the player comes to; over 0 it would clip.'

interface Column {
  readonly heading: string
  readonly unit: string
  readonly value: (input: CheckedInput) => string
  /** Left out first where the window is narrow. */
  readonly isMinor?: boolean
}

export function rigCheckText(check: CheckedRig, rig: Rig, options: RigCheckTextOptions): string {
  const paint = paintFor(options.isColour)
  const proseColumns = Math.min(PROSE_COLUMNS_MAX, Math.max(COLUMNS_MIN, options.columnCount))
  const hanging = (word: string, text: string, style = (plainText: string): string => plainText): string[] =>
    wrapped(clean(text), proseColumns - INDENT).map(
      (line, i) => `${i === 0 ? padded(word, INDENT) : ' '.repeat(INDENT)}${style(line)}`,
    )
  const { capture } = rig
  const heardCount = check.inputs.filter(({ isHeard }) => isHeard).length
  const of = check.inputs.length
  const what = check.isByHand ? 'what you started' : "the player's quiet tones"
  const heard =
    of === 1
      ? `Input 1 ${heardCount === 1 ? 'hears' : 'does not hear'} ${what}.`
      : `${heardCount === of ? (of === 2 ? 'Both' : `All ${of}`) : `${heardCount} of ${of}`} inputs hear ${what}.`
  const verdict = paint.verdict(check.verdict, VERDICT_WORDS[check.verdict])
  const first = hanging('', heard)
  const rows = table(columnsOf(check, rig), check.inputs, options.columnCount, paint)
  return [
    `${verdict}${' '.repeat(Math.max(1, INDENT - VERDICT_WORDS[check.verdict].length))}${first[0].trimStart()}`,
    ...first.slice(1),
    ...hanging('rig', `${rig.name} · card ${options.captureSays}, ${inHz(capture.sampleRateHz)}, ${capture.bits} bits`),
    ...hanging('', `player ${options.playerSays}`),
    ...(options.isSimulated ? hanging('', SIMULATED_WORDS, paint.strong) : []),
    '',
    ...rows,
    '',
    ...(rows[0].includes('At full') ? hanging('', AT_FULL_WORDS, paint.quiet) : []),
    ...(check.meter === null ? [] : hanging('meter', meterWords(check.meter))),
    ...(rig.meter === null
      ? hanging('meter', 'none in the rig file: volts are as good as full_scale_vrms and pad_db.')
      : []),
    ...check.troubles.flatMap(({ verdict: how, says, remedy }) => [
      ...hanging(VERDICT_WORDS[how].toLowerCase(), says, (line) => paint.verdict(how, line)),
      ...hanging('', remedy),
    ]),
    '',
    ...hanging('next', nextWords(check.verdict, rig, options)),
  ].join('\n')
}

function columnsOf({ isByHand }: CheckedRig, rig: Rig): Column[] {
  const voltsOf = ({ levelFs, inputNumber }: CheckedInput): string =>
    inVolts(levelFs * fullScaleAtLead(rig.inputs[inputNumber - 1]))
  const dbfsOf = (fs: number): string => (fs === 0 ? 'zeros' : plain(dbFromRatio(fs), 1))
  const always: Column[] = [
    { heading: 'State', unit: '', value: stateWord },
    { heading: 'Floor', unit: 'dBFS', value: ({ floorFs }) => dbfsOf(floorFs) },
    {
      heading: 'Hum',
      unit: 'dBFS',
      value: ({ hum }) => (hum === null ? 'none' : plain(dbFromRatio(hum.levelFs), 1)),
      isMinor: true,
    },
  ]
  if (isByHand) return always
  return [
    ...always,
    { heading: 'Tones', unit: 'dBFS', value: ({ levelFs }) => dbfsOf(levelFs) },
    { heading: 'Tones', unit: 'at lead', value: voltsOf, isMinor: true },
    {
      heading: 'At full',
      unit: 'dBFS',
      value: ({ atFullFs }) => (atFullFs === null ? NO_VALUE : plain(dbFromRatio(atFullFs), 1)),
      isMinor: true,
    },
    { heading: 'Hears', unit: '', value: ({ side }) => side ?? 'nothing' },
  ]
}

/** One word; the worst one where there are several. */
function stateWord({ stuck, sameAs, isHeard, clippedCount, atFullFs }: CheckedInput): string {
  if (stuck !== null) return stuck === 'zeros' ? 'ZEROS' : 'CONSTANT'
  if (sameAs !== null) return `SAME AS ${sameAs}`
  if (clippedCount > 0) return 'CLIPS'
  if (!isHeard) return 'SILENT'
  return atFullFs !== null && atFullFs > 1.001 ? 'too loud' : 'ok'
}

function table(
  columns: readonly Column[],
  inputs: readonly CheckedInput[],
  columnCount: number,
  paint: Paint,
): string[] {
  const render = (shown: readonly Column[]): { widths: number[]; rows: string[][] } => {
    const rows = inputs.map((input) => shown.map(({ value }) => value(input)))
    const widths = shown.map(({ heading, unit }, k) =>
      Math.max(widthOf(heading), widthOf(unit), ...rows.map((row) => widthOf(row[k]))),
    )
    return { widths, rows }
  }
  const widthIn = (shown: readonly Column[]): number => render(shown).widths.reduce((sum, width) => sum + width + 2, 3)
  const shown = widthIn(columns) < columnCount ? columns : columns.filter(({ isMinor }) => isMinor !== true)
  const { widths, rows } = render(shown)
  const line = (number: string, texts: readonly string[]): string =>
    [padded(number, 3, 'right'), ...texts.map((text, k) => padded(text, widths[k], k === 0 ? 'left' : 'right'))]
      .join('  ')
      .trimEnd()
  return [
    paint.quiet(
      line(
        'In',
        shown.map(({ heading }) => heading),
      ),
    ),
    paint.quiet(
      line(
        '',
        shown.map(({ unit }) => unit),
      ),
    ),
    ...inputs.map(({ inputNumber }, i) => line(String(inputNumber), rows[i])),
  ]
}

function meterWords({ inputNumber, says, readVrms, captureVrms, freqHz }: NonNullable<CheckedRig['meter']>): string {
  if (says === null) return `across input ${inputNumber}: no answer`
  if (readVrms === null) return `${says}, across input ${inputNumber}: no reading`
  const reads = `${says}, across input ${inputNumber}: reads AC volts, ${inVolts(readVrms)}`
  if (captureVrms === null || freqHz === null) return `${reads}.`
  const apartDb = dbFromRatio(Math.max(readVrms, 1e-9) / Math.max(captureVrms, 1e-9))
  return `${reads} at ${inHz(freqHz)}; the capture reads ${inVolts(captureVrms)} (meter ${inDb(apartDb)}).`
}

function nextWords(verdict: Verdict, rig: Rig, { rigPath }: RigCheckTextOptions): string {
  if (verdict !== 'pass') return `mend that, then: linetrue rig check ${rigPath}`
  if (rig.meter === null) return `linetrue verify JOB --rig ${rigPath}`
  return `linetrue rig calibrate ${rigPath} for exact volts, or at once: linetrue verify JOB --rig ${rigPath}`
}
