/** Two runs figure by figure, for a terminal: what changed with both values and the uncertainty, the rest counted. */
import { inHz } from '../units/words.js'
import type { Figure } from '../verdict/parts.js'
import type { TextOptions } from './archive-text.js'
import { digitsFor, methodInWords, quantityInWords, uncertaintyInWords, valueInWords } from './format.js'
import { paintFor } from './paint.js'
import { hanging } from './terminal.js'
import { cut, padded } from './text.js'

export interface ShownComparison {
  readonly at: {
    readonly part: string
    readonly outputNumber: number | null
    readonly label: string
    readonly name: string
  }
  readonly a: Figure | null
  readonly b: Figure | null
  readonly change: 'changed' | 'same' | 'not known' | 'only in a' | 'only in b' | 'not comparable'
  readonly difference: number | null
  readonly u: number | null
  readonly isOtherMethod: boolean
}

export interface CompareTitles {
  readonly a: string
  readonly b: string
  /** changed, or moved. */
  readonly word: string
  /** Labels that differ, other vehicles: what a reader should know first. */
  readonly notes: readonly string[]
  /** Every figure, not only those that changed. */
  readonly isAll: boolean
}

export function comparisonText(
  figures: readonly ShownComparison[],
  { a, b, word, notes, isAll }: CompareTitles,
  options: TextOptions,
): string {
  const columns = Math.min(100, Math.max(60, options.columnCount))
  const paint = paintFor(options.isColour)
  const counts = (change: ShownComparison['change']): number => figures.filter((one) => one.change === change).length
  const changed = counts('changed')
  const others = (['not known', 'only in a', 'only in b', 'not comparable'] as const)
    .filter((change) => counts(change) > 0)
    .map((change) => `${counts(change)} ${CHANGE_WORDS[change]}`)
  const rows = isAll ? figures : figures.filter(({ change }) => change === 'changed')
  return [
    ...hanging('A', a, columns),
    ...hanging('B', b, columns),
    ...notes.flatMap((says) => hanging('note', says, columns)),
    ...methodLines(figures, columns),
    '',
    ...rowLines(rows, columns, (text) => paint.verdict('unsure', text)),
    ...(rows.length > 0 ? [''] : []),
    ...hanging(
      '',
      `${changed} of ${figures.length} figures ${word} by more than both uncertainties together; ${[`${counts('same')} did not`, ...others].join(', ')}.`,
      columns,
      undefined,
      paint.strong,
    ),
  ].join('\n')
}

const CHANGE_WORDS: Readonly<Record<ShownComparison['change'], string>> = {
  changed: 'changed',
  same: 'same',
  'not known': 'cannot be told',
  'only in a': 'only in A',
  'only in b': 'only in B',
  'not comparable': 'not comparable',
}

const VALUE_COLUMNS = 15

function rowLines(rows: readonly ShownComparison[], columns: number, strong: (text: string) => string): string[] {
  if (rows.length === 0) return []
  const nameColumns = columns - 3 * (VALUE_COLUMNS + 1) - 2
  const line = (name: string, cells: readonly string[], mark = ' '): string =>
    `${mark} ${padded(cut(name, nameColumns), nameColumns)}${cells.map((cell) => ` ${padded(cut(cell, VALUE_COLUMNS), VALUE_COLUMNS, 'right')}`).join('')}`
  return [
    line('', ['A', 'B', 'B − A']),
    ...rows.flatMap((row) => {
      const cells = [shownValue(row.a), shownValue(row.b), differenceOf(row)]
      if (row.change !== 'changed') return [line(`${placeOf(row)}: ${nameOf(row)}`, cells)]
      const aside = [uncertaintyOf(row.a), uncertaintyOf(row.b), uncertaintyOfDifference(row)]
      return [strong(line(placeOf(row), cells, '!')), line(nameOf(row), aside)]
    }),
  ]
}

const placeOf = ({ at }: ShownComparison): string =>
  at.outputNumber === null ? at.part : `${at.outputNumber} ${at.label}`

function nameOf({ at, a, b }: ShownComparison): string {
  const freqHz = (a ?? b)?.freqHz ?? null
  return `${quantityInWords(at.name)}${freqHz === null ? '' : ` at ${inHz(freqHz)}`}`
}

const shownValue = (figure: Figure | null): string => (figure === null ? '–' : valueInWords(figure))
const uncertaintyOf = (figure: Figure | null): string => (figure === null ? '' : uncertaintyInWords(figure))

function differenceOf({ difference, u, a, change }: ShownComparison): string {
  if (difference === null || a === null) return CHANGE_WORDS[change]
  if (a.quantity === 'polarity') return difference === 0 ? 'same' : 'turned'
  const { value, unit } = digitsFor(difference, u, a.unit)
  const isSigned = /^[+−0]/.test(value)
  return `${isSigned || difference < 0 ? '' : '+'}${value} ${unit}`.trimEnd()
}

function uncertaintyOfDifference({ difference, u, a }: ShownComparison): string {
  if (difference === null || u === null || a === null) return ''
  const { u: digits, uUnit } = digitsFor(difference, u, a.unit)
  return digits === null ? '' : `± ${digits} ${uUnit}`.trimEnd()
}

/** Each pair of methods once: what another method reads may differ without anything having changed. */
function methodLines(figures: readonly ShownComparison[], columns: number): string[] {
  const pairs = new Map<string, string>()
  for (const { a, b, isOtherMethod } of figures) {
    if (!isOtherMethod || a === null || b === null) continue
    const [was, is] = [methodInWords(a.method), methodInWords(b.method)]
    const says =
      was.name === is.name
        ? `${is.name}: version ${was.version} in A, ${is.version} in B`
        : `${a.method} in A, ${b.method} in B`
    pairs.set(says, `Other method: ${says}.`)
  }
  return [...pairs.values()].flatMap((says) => hanging('note', says, columns))
}
