/**
 * The table of outputs for a terminal: a line for each output, as many columns as the width allows.
 *
 * A value whose check is no pass has a mark beside it, the same width for every mark; a check without a column of its
 * own is named under the table.
 */
import { plain, signed } from '../units/words.js'
import type { Check, Verdict } from '../verdict/parts.js'
import type { OutputResult } from '../verdict/result.js'
import { NO_VALUE, quantityInWords, VERDICT_MARKS, VERDICT_WORDS } from './format.js'
import { deviationDbDigits, figureIn, verdictIn } from './output-facts.js'
import type { Paint } from './paint.js'
import { clean, cut, padded, widthOf, wrapped } from './text.js'

interface Column {
  readonly heading: string
  readonly unit: string
  /** The check that marks the value. */
  readonly check: string | null
  readonly value: (output: OutputResult) => string
  /** Where there is no room, the highest rank goes first. */
  readonly rank: number
}

const COLUMNS: readonly Column[] = [
  { heading: 'Level', unit: 'V', check: null, value: figureValue('level', volts), rank: 1 },
  { heading: 'Off', unit: 'dB', check: 'level', value: (output) => deviationDbDigits(output) ?? NO_VALUE, rank: 0 },
  { heading: 'Pol', unit: '', check: 'polarity', value: polarityValue, rank: 0 },
  { heading: 'Is', unit: 'no', check: 'identity', value: (output) => `${output.identifiedAs ?? NO_VALUE}`, rank: 0 },
  { heading: 'Resp', unit: 'dB', check: 'response', value: figureValue('flatness', (v) => signed(v, 1)), rank: 2 },
  { heading: 'Delay', unit: 'ms', check: 'delay', value: figureValue('delay', (v) => signed(1000 * v, 2)), rank: 4 },
  { heading: 'THD', unit: '%', check: 'thd', value: figureValue('thd', percent), rank: 3 },
  { heading: 'Noise', unit: 'dBV(A)', check: 'noise A', value: figureValue('noise A', (v) => plain(v, 0)), rank: 5 },
  { heading: 'Cross', unit: 'dB', check: 'crosstalk', value: figureValue('crosstalk', (v) => plain(v, 0)), rank: 6 },
  {
    heading: 'Clean',
    unit: 'dBFS',
    check: 'clean level',
    value: figureValue('clean level', (v) => plain(v, 1)),
    rank: 9,
  },
  { heading: 'THD+N', unit: '%', check: 'thd+n', value: figureValue('thd+n', percent), rank: 8 },
  { heading: 'Hum', unit: 'dBV', check: 'hum', value: figureValue('hum', (v) => plain(v, 0)), rank: 7 },
]

const LABEL_COLUMNS_MIN = 12
const NUMBER_COLUMNS = 3
/** A pass is the quiet case: small letters leave FAIL and UNSURE to catch the eye where there is no colour. */
const ROW_WORDS: Readonly<Record<Verdict, string>> = { ...VERDICT_WORDS, pass: 'pass' }
const VERDICT_COLUMNS = widthOf('Verdict')

/** Lines of the table, no wider than columnCount. */
export function outputTable(outputs: readonly OutputResult[], columnCount: number, paint: Paint): string[] {
  const labelWanted = Math.max(6, ...outputs.map(({ label }) => widthOf(clean(label))))
  const labelMin = Math.min(LABEL_COLUMNS_MIN, labelWanted)
  let shown = COLUMNS.map((column) => ({ ...column, width: columnWidth(column, outputs) }))
  // A space stands before every column but the first.
  const roomForLabel = (): number =>
    columnCount - NUMBER_COLUMNS - 1 - shown.reduce((sum, { width }) => sum + 1 + width, 0) - 1 - VERDICT_COLUMNS
  while (roomForLabel() < labelMin && shown.some(({ rank }) => rank > 0)) {
    const highest = Math.max(...shown.map(({ rank }) => rank))
    shown = shown.filter(({ rank }) => rank !== highest)
  }
  const labelColumns = Math.max(4, Math.min(labelWanted, roomForLabel()))
  const line = (number: string, label: string, cells: readonly string[], verdict: string): string => {
    const start = [padded(number, NUMBER_COLUMNS, 'right'), padded(cut(label, labelColumns), labelColumns)]
    return [...start, ...cells, verdict].join(' ')
  }
  const heads = (of: (column: Column) => string): string[] =>
    shown.map((column) => `${padded(of(column), column.width - 1, 'right')} `)
  const headings = heads(({ heading }) => heading)
  const units = heads(({ unit }) => unit)
  const columns = shown.flatMap(({ check }) => (check === null ? [] : [check]))
  return [
    paint.quiet(line('No', 'Output', headings, 'Verdict')),
    paint.quiet(line('', '', units, '').trimEnd()),
    ...outputs.map((output) => {
      const cells = shown.map((column) => cellOf(column, output, paint))
      const verdict = paint.verdict(output.verdict, ROW_WORDS[output.verdict])
      return line(String(output.number), clean(output.label), cells, verdict)
    }),
    ...notes(outputs, columns, columnCount).map(paint.quiet),
  ]
}

const columnWidth = ({ heading, unit, value }: Column, outputs: readonly OutputResult[]): number =>
  1 + Math.max(widthOf(heading), widthOf(unit), ...outputs.map((output) => widthOf(value(output))))

function cellOf({ check, value, width }: Column & { width: number }, output: OutputResult, paint: Paint): string {
  const verdict = verdictIn(output, check)
  const text = padded(value(output), width - 1, 'right') + VERDICT_MARKS[verdict]
  return verdict === 'pass' ? text : paint.verdict(verdict, text)
}

/** What the marks mean, and the checks that no column shows. */
function notes(outputs: readonly OutputResult[], columns: readonly string[], columnCount: number): string[] {
  const open = outputs.flatMap((output) =>
    output.checks.filter(({ verdict }) => verdict !== 'pass').map((check) => ({ output, check })),
  )
  const marks = open.filter(({ check }) => columns.includes(check.name)).map(({ check }) => check.verdict)
  const says = [
    marks.includes('fail') ? '! outside its limit.' : '',
    marks.includes('unsure') ? '? could not be settled.' : '',
    otherChecks(open.filter(({ check }) => !columns.includes(check.name))),
  ].filter(Boolean)
  const indent = NUMBER_COLUMNS + 1
  return says.length === 0 ? [] : wrapped(says.join(' '), columnCount - indent).map((says) => ' '.repeat(indent) + says)
}

function otherChecks(open: readonly { output: OutputResult; check: Check }[]): string {
  if (open.length === 0) return ''
  const numbers = new Map<string, number[]>()
  for (const { output, check } of open) {
    const key = `${clean(quantityInWords(check.name))} ${VERDICT_WORDS[check.verdict]}`
    numbers.set(key, [...(numbers.get(key) ?? []), output.number])
  }
  return `Not shown above: ${[...numbers].map(([key, of]) => `${key} (${of.join(', ')})`).join('; ')}.`
}

/** A figure as a bare number under a heading that tells its unit; "<" where it is at most that, ">" at least. */
function figureValue(quantity: string, inWords: (value: number) => string): Column['value'] {
  return (output) => {
    const figure = figureIn(output, quantity)
    if (!figure || figure.value === null) return NO_VALUE
    const words = inWords(figure.value)
    if (words.startsWith('<')) return words
    return `${figure.isAtMost ? '<' : figure.isAtLeast ? '>' : ''}${words}`
  }
}

function percent(valuePct: number): string {
  // A small distortion is no distortion of nothing; its digits stand in the report.
  if (valuePct > 0 && valuePct < 0.001) return '<0.001'
  return plain(valuePct, valuePct >= 10 ? 0 : valuePct >= 1 ? 1 : 3)
}

function volts(levelVrms: number): string {
  return plain(levelVrms, levelVrms >= 10 ? 1 : levelVrms >= 0.1 ? 2 : 3)
}

function polarityValue(output: OutputResult): string {
  const value = figureIn(output, 'polarity')?.value ?? null
  if (value === null || verdictIn(output, 'polarity') === 'unsure') return NO_VALUE
  return value < 0 ? 'inv' : 'nor'
}
