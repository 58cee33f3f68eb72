/** A platform's map, and a vehicle held against it, as people read them in a terminal. */
import { type MapOutput, type PlatformMap, specOfMap } from '../job/platform.js'
import { inHz, inVolts, listed, plain } from '../units/words.js'
import type { MapComparison, MapRow } from '../verdict/compare-map.js'
import type { Verdict } from '../verdict/parts.js'
import { type Paint, paintFor } from './paint.js'
import { clean, cut, padded, widthOf, wrapped } from './text.js'

export interface MapTextOptions {
  readonly isColour: boolean
  readonly columnCount: number
}

const COLUMNS_MIN = 40
const COLUMNS_MAX = 110
const COLUMN_COUNT_MIN = 9

export function mapSummary(map: PlatformMap, { isColour, columnCount }: MapTextOptions): string {
  const paint = paintFor(isColour)
  const columns = Math.max(COLUMNS_MIN, Math.min(COLUMNS_MAX, columnCount))
  const head = ['No', 'Output', 'Sides', 'Band', 'Level', '± dB', 'Pol', 'Fader', 'ms', '± ms']
  const rows = map.outputs.map((output) => [
    String(output.number),
    clean(output.label),
    sidesWords(output),
    bandWords(output),
    inVolts(specOfMap(output).levelVrms),
    plain(output.levelDbv.tolerance, 1),
    output.polarity === null ? '?' : output.polarity > 0 ? 'nor' : 'inv',
    output.fader,
    output.delay === null ? '–' : plain(1000 * output.delay.value, 2),
    output.delay === null ? '–' : plain(1000 * output.delay.tolerance, 2),
  ])
  const vehicles = map.vehicles.length === 1 ? 'one vehicle' : `${map.vehicles.length} vehicles`
  return [
    `${paint.strong(clean(map.platform))}: ${map.outputs.length} outputs, learned from ${vehicles}`,
    '',
    ...aligned([head, ...rows], columns),
    ...(map.notes.length === 0 ? [] : ['', ...map.notes.flatMap((note) => prose(note, columns))]),
  ].join('\n')
}

const TITLES: Record<Verdict, string> = { pass: 'SAME', fail: 'DIFFERS', unsure: 'UNSURE' }
const BEYOND = 'A map says nothing of equalisation, distortion and noise: linetrue verify judges those.'
const SAID: Record<Verdict, string> = { pass: 'same', fail: 'differs', unsure: 'unsure' }

/** @param vehicle which one, as one line */
export function comparisonText(
  comparison: MapComparison,
  map: PlatformMap,
  vehicle: string,
  { isColour, columnCount }: MapTextOptions,
): string {
  const paint = paintFor(isColour)
  const columns = Math.max(COLUMNS_MIN, Math.min(COLUMNS_MAX, columnCount))
  const { verdict, rows, notes } = comparison
  const title = paint.verdict(verdict, padded(TITLES[verdict], 8))
  const of = (wanted: Verdict): MapRow[] => rows.filter((row) => row.verdict === wanted)
  return [
    ...hung(title, 8, summaryOf(comparison, map), columns),
    ...hung('', 8, `${clean(vehicle)} against the map of ${clean(map.platform)}`, columns),
    ...notes.flatMap((note) => ['', ...prose(note, columns)]),
    ...[...of('fail'), ...of('unsure')].flatMap((row) => ['', ...rowLines(row, paint, columns)]),
    '',
    ...hung('', 8, BEYOND, columns).map(paint.quiet),
  ].join('\n')
}

function summaryOf({ verdict, rows, notes }: MapComparison, map: PlatformMap): string {
  const numbers = (wanted: Verdict): number[] => [
    ...new Set(rows.filter((row) => row.verdict === wanted).map(({ output }) => output)),
  ]
  const count = map.outputs.length
  if (verdict === 'pass') return `All ${count} outputs are as the map of the platform says.`
  const [differ, unsure] = [numbers('fail'), numbers('unsure')]
  return [
    ...(differ.length === 0 ? [] : [`${differ.length} of ${count} outputs differ from the map: ${listed(differ)}.`]),
    ...(unsure.length === 0 ? [] : [`Something cannot be told of ${listed(unsure)}.`]),
    ...(differ.length + unsure.length === 0 ? notes.slice(0, 1) : []),
  ].join(' ')
}

function rowLines(row: MapRow, paint: Paint, columns: number): string[] {
  const { output, label, quantity, verdict, map, measured, why } = row
  return [
    ...hung(paint.verdict(verdict, padded(SAID[verdict], 8)), 8, `${output} ${clean(label)}: ${quantity}`, columns),
    ...hung('', 8, `map ${clean(map)}; this vehicle ${clean(measured)}`, columns),
    ...hung('', 8, clean(why), columns),
  ]
}

/** A text behind a word, its other lines under its first. */
const hung = (first: string, indent: number, text: string, columns: number): string[] =>
  wrapped(text, columns - indent).map((line, k) => (k === 0 && first !== '' ? first : ' '.repeat(indent)) + line)

const prose = (text: string, columns: number): string[] => wrapped(clean(text), columns)

function aligned(rows: readonly (readonly string[])[], columns: number): string[] {
  const widths = rows[0].map((_, k) => Math.max(...rows.map((row) => widthOf(row[k]))))
  const over = widths.reduce((sum, width) => sum + width + 2, -2) - columns
  // Labels may be long: what does not fit goes at the cost of the last column, then at theirs.
  if (over > 0 && rows[0].length > COLUMN_COUNT_MIN)
    return aligned(
      rows.map((row) => row.slice(0, -1)),
      columns,
    )
  widths[1] = Math.max(8, widths[1] - Math.max(0, over))
  return rows.map((row) =>
    row
      .map((cell, k) => padded(cut(cell, widths[k]), widths[k]))
      .join('  ')
      .trimEnd(),
  )
}

export const sidesWords = ({ left, right }: Pick<MapOutput, 'left' | 'right'>): string =>
  right === 0
    ? 'left'
    : left === 0
      ? 'right'
      : Math.abs(left - right) < 0.01
        ? 'both'
        : `${plain(left, 2)} ${plain(right, 2)}`

/** The band by its corners, as a job names them. */
export function bandWords({ low, high }: Pick<MapOutput, 'low' | 'high'>): string {
  if (low && high) return `${inHz(low.value)} – ${inHz(high.value)}`
  return low ? `from ${inHz(low.value)}` : high ? `to ${inHz(high.value)}` : 'full'
}
