/**
 * What the checks of a rig found, for a terminal: one table, what is worth knowing, and where it was written.
 *
 * "<" stands before what is at most that: as much may be noise.
 */
import type { Calibration, FloorOfInput, LoopOfInput, Made, VoltsOfInput } from '../rig/calibration.js'
import { inputsInWords } from '../rig/input-words.js'
import { plain, signed } from '../units/words.js'
import { NO_VALUE } from './format.js'
import { type Paint, paintFor } from './paint.js'
import { clean, padded, widthOf, wrapped } from './text.js'

export interface RigTextOptions {
  readonly isColour: boolean
  readonly columnCount: number
  /** The file that was written. */
  readonly path: string
}

const COLUMNS_MIN = 60
const PROSE_COLUMNS_MAX = 100
/** Text hangs from here, as in the report of a run. */
const INDENT = 8
const SIMULATED_WORDS = 'SIMULATED: a model was measured, no card.'
/** Shorted inputs are quieter than this; a card that is not is worth a look. */
const SHORTED_DBFS_MAX = -60
/** An input that far above the middle one of all is not shorted, or not well. */
const LOUDER_DB_MAX = 20
const MATCH_DB_MAX = 0.5
/** No card leaks that much: the input that should have been shorted was fed too. */
const CROSSTALK_DB_MAX = -20

interface Column<Row> {
  readonly heading: string
  readonly unit: string
  readonly value: (row: Row) => string
}

export function voltsText(calibration: Calibration, options: RigTextOptions): string {
  const volts = calibration.volts!
  const { meter, inputs } = volts
  const differing = inputs.filter((input) => !doesAgree(input))
  const worst = inputs.reduce((most, input) => (input.expandedDb > most.expandedDb ? input : most))
  const total = worst.budget.reduce((sum, { u }) => sum + u * u, 0)
  const shares = worst.budget
    .map(({ source, u }) => ({ source, pct: (100 * u * u) / total }))
    .filter(({ pct }) => pct >= 0.5)
    .sort((a, b) => b.pct - a.pct)
    .map(({ source, pct }) => `${source} ${plain(pct, 0)} %`)
  return page(
    calibration.rigName,
    volts,
    `Volts of ${inputsInWords(inputs.map(({ inputNumber }) => inputNumber))} by the meter.`,
    [`meter ${meter.says}, ± (${meter.accuracyPct} % + ${plain(1000 * meter.accuracyVrms, 1)} mV)`],
    [
      { heading: 'Full scale', unit: 'V at lead', value: ({ fullScaleVrms }) => plain(fullScaleVrms, 4) },
      { heading: 'U', unit: 'dB', value: ({ expandedDb }) => plain(expandedDb, 3) },
      { heading: 'Rig file', unit: 'V at lead', value: ({ rigFileVrms }) => plain(rigFileVrms, 4) },
      { heading: 'Off', unit: 'dB', value: ({ differenceDb }) => signed(differenceDb, 2) },
      { heading: 'Pad', unit: 'dB', value: ({ padDb }) => plain(padDb, padDb % 1 === 0 ? 0 : 1) },
      { heading: 'Readings', unit: '', value: ({ points }) => `${points.reduce((n, p) => n + p.readingCount, 0)}` },
    ],
    inputs,
    [
      ...(differing.length === 0
        ? ['Every input agrees with the rig file within both uncertainties.']
        : [
            `${sentence(inputsInWords(differing.map(({ inputNumber }) => inputNumber)))} ${differing.length === 1 ? 'is' : 'are'} off from the rig file by more than both uncertainties. From now on the calibrated volts count.`,
          ]),
      `U of input ${worst.inputNumber} comes from ${shares.join(', ')}.`,
    ],
    options,
  )
}

/** What was found and what the rig file says may each be off by its own uncertainty. */
const doesAgree = ({ differenceDb, expandedDb, rigFileU }: VoltsOfInput): boolean =>
  Math.abs(differenceDb) <= Math.hypot(expandedDb, rigFileU)

interface LimitsRow extends FloorOfInput {
  readonly loop: LoopOfInput | null
}

export function limitsText(calibration: Calibration, options: RigTextOptions): string {
  const [shorted, looped] = [calibration.shorted!, calibration.looped!]
  const rows = shorted.inputs.map((floor): LimitsRow => {
    const loop = looped.inputs.find(({ inputNumber }) => inputNumber === floor.inputNumber) ?? null
    return { ...floor, loop }
  })
  const ofLoop = (value: (loop: LoopOfInput) => string) => (row: LimitsRow) => (row.loop ? value(row.loop) : NO_VALUE)
  return page(
    calibration.rigName,
    shorted,
    `What the rig itself adds on ${inputsInWords(rows.map(({ inputNumber }) => inputNumber))}.`,
    [],
    [
      { heading: 'Noise', unit: 'dBFS', value: ({ noiseDbfs }) => plain(noiseDbfs, 1) },
      { heading: 'Noise', unit: 'dBFS(A)', value: ({ noiseADbfs }) => plain(noiseADbfs, 1) },
      { heading: 'Hum', unit: 'dBFS', value: (row) => mark(row.isHumAtMost) + plain(row.humDbfs, 0) },
      { heading: 'THD', unit: '%', value: ofLoop(({ thd }) => percentOf(thd)) },
      { heading: 'IMD', unit: '%', value: ofLoop(({ intermodulation }) => percentOf(intermodulation)) },
      { heading: 'Resp', unit: 'dB', value: ofLoop((loop) => signed(deviationOf(loop), 2)) },
      { heading: 'Match', unit: 'dB', value: ofLoop(({ matchDb }) => signed(matchDb, 2)) },
      { heading: 'Pol', unit: '', value: ofLoop(({ polarity }) => polarityWord(polarity)) },
      {
        heading: 'Delay',
        unit: 'µs',
        value: ofLoop(({ delayS }) => (delayS === null ? NO_VALUE : signed(1e6 * delayS, 1))),
      },
      {
        heading: 'Cross',
        unit: 'dB',
        value: ofLoop(({ crosstalk }) => (crosstalk ? mark(crosstalk.isAtMost) + plain(crosstalk.db, 0) : NO_VALUE)),
      },
    ],
    rows,
    limitsNotes(rows, looped.feed),
    options,
  )
}

function limitsNotes(rows: readonly LimitsRow[], feed: string): string[] {
  const named = (of: (row: LimitsRow) => boolean): string[] => {
    const numbers = rows.filter(of).map(({ inputNumber }) => inputNumber)
    return numbers.length === 0 ? [] : [sentence(inputsInWords(numbers))]
  }
  const levels = rows.map(({ noiseDbfs }) => noiseDbfs).sort((a, b) => a - b)
  const middle = levels[levels.length >> 1]
  const isLoud = ({ noiseDbfs }: LimitsRow): boolean =>
    noiseDbfs > SHORTED_DBFS_MAX || noiseDbfs > middle + LOUDER_DB_MAX
  return [
    ...named(isLoud).map(
      (who) => `${who}: far louder than a shorted input should be. Check the short and measure again.`,
    ),
    ...named(({ loop }) => loop?.polarity === -1).map(
      (who) => `${who}: the signal comes out turned over. Check the lead for exchanged wires.`,
    ),
    ...named(({ loop }) => Math.abs(loop?.matchDb ?? 0) > MATCH_DB_MAX).map(
      (who) => `${who}: off from the others in level. Calibrate the volts: linetrue rig calibrate.`,
    ),
    ...named(({ loop }) => (loop?.crosstalk?.db ?? -200) > CROSSTALK_DB_MAX).map(
      (who) => `${who}: hears nearly what the fed input hears. Was it shorted, and only one input fed?`,
    ),
    ...(feed === 'all' && rows.length > 1
      ? ['Crosstalk between inputs was not measured: it takes one input after the other (--feed both).']
      : []),
    ...(feed === 'each' && rows.length > 1
      ? ['Delay between inputs was not measured: it takes all inputs in parallel (--feed both).']
      : []),
    "Distortion, response and match are those of player and card together. Figures of a vehicle that are as low are 'at most'.",
  ]
}

const mark = (isAtMost: boolean): string => (isAtMost ? '<' : '')
const polarityWord = (sign: 1 | -1 | null): string => (sign === null ? NO_VALUE : sign < 0 ? 'inv' : 'nor')

/** The largest of several ratios. */
function percentOf(ratios: readonly { readonly ratio: number; readonly isAtMost: boolean }[]): string {
  if (ratios.length === 0) return NO_VALUE
  const worst = ratios.reduce((most, one) => (one.ratio > most.ratio ? one : most))
  const pct = 100 * worst.ratio
  return mark(worst.isAtMost) + plain(pct, pct >= 1 ? 1 : pct >= 0.01 ? 3 : 5)
}

/** The largest deviation from 1 kHz, with its sign. */
const deviationOf = ({ response }: LoopOfInput): number =>
  response.reduce((most, { deviationDb }) => (Math.abs(deviationDb) > Math.abs(most) ? deviationDb : most), 0)

const sentence = (text: string): string => text.slice(0, 1).toUpperCase() + text.slice(1)

function page<Row extends { readonly inputNumber: number }>(
  rigName: string,
  { capture }: Made,
  title: string,
  facts: readonly string[],
  columns: readonly Column<Row>[],
  rows: readonly Row[],
  notes: readonly string[],
  { isColour, columnCount, path }: RigTextOptions,
): string {
  const proseColumns = Math.min(Math.max(COLUMNS_MIN, Math.floor(columnCount)), PROSE_COLUMNS_MAX)
  const paint = paintFor(isColour)
  const card = `${capture.says}, ${capture.sampleRateHz / 1000} kHz, ${capture.bits} bits`
  const isSimulated = capture.driver === 'simulated'
  return [
    ...hanging('Done', title, proseColumns, paint.strong),
    ...hanging('', [rigName, card, ...facts].join(' · '), proseColumns),
    ...(isSimulated ? hanging('', SIMULATED_WORDS, proseColumns, paint.strong) : []),
    '',
    ...table(columns, rows, paint),
    '',
    ...notes.flatMap((says) => hanging('note', says, proseColumns)),
    '',
    padded('Written', INDENT) + clean(path),
  ].join('\n')
}

function table<Row extends { readonly inputNumber: number }>(
  columns: readonly Column<Row>[],
  rows: readonly Row[],
  paint: Paint,
): string[] {
  const cells = rows.map((row) => columns.map(({ value }) => value(row)))
  const widths = columns.map(({ heading, unit }, k) =>
    Math.max(widthOf(heading), widthOf(unit), ...cells.map((row) => widthOf(row[k]))),
  )
  const line = (first: string, texts: readonly string[]): string =>
    [padded(first, 3, 'right'), ...texts.map((text, k) => padded(text, widths[k], 'right'))].join('  ')
  return [
    paint.quiet(
      line(
        'In',
        columns.map(({ heading }) => heading),
      ),
    ),
    paint.quiet(
      line(
        '',
        columns.map(({ unit }) => unit),
      ).trimEnd(),
    ),
    ...rows.map(({ inputNumber }, i) => line(String(inputNumber), cells[i])),
  ]
}

/** A word in the margin and text that hangs beside it. */
const hanging = (
  word: string,
  text: string,
  columnCount: number,
  style: (text: string) => string = (plainText) => plainText,
): string[] =>
  wrapped(clean(text), columnCount - INDENT).map((line, i) => padded(i === 0 ? word : '', INDENT) + style(line))
