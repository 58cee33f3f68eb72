/** Figures as tables: with their uncertainty alone, or with all that it is made of. */
import { inHz } from '../units/words.js'
import type { Figure } from '../verdict/parts.js'
import {
  methodInWords,
  NO_VALUE,
  quantityInWords,
  standardInWords,
  uncertaintyInWords,
  valueInWords,
} from './format.js'
import { type Markup, markup, type Shown } from './markup.js'
import { type TableColumn, table } from './table.js'

/** A figure under a name of its own: that of its quantity, or of the check that it belongs to. */
export interface NamedFigure {
  readonly name: string
  readonly figure: Figure
}

const named = (name: string, { freqHz }: Figure): Markup =>
  markup`${quantityInWords(name)}${freqHz === null ? null : markup` <small class="aside">at ${inHz(freqHz)}</small>`}`

const BRIEF: readonly TableColumn<Figure>[] = [
  { heading: 'Figure', cell: (figure) => named(figure.quantity, figure) },
  { heading: 'Value', isNumber: true, cell: valueInWords },
  { heading: 'Uncertainty', isNumber: true, cell: uncertaintyInWords },
]

/** A part this much smaller than the largest adds a two-thousandth to the whole. */
const SMALL = 0.03

/** Standard uncertainties, the largest first; what hardly counts is taken together. */
function budgetOf({ budget, unit }: Figure): Shown {
  const parts = budget.filter(({ u }) => u !== 0).sort((a, b) => b.u - a.u)
  if (parts.length === 0) return NO_VALUE
  const large = parts.filter(({ u }, i) => i === 0 || u >= SMALL * parts[0].u)
  const small = parts.slice(large.length)
  const said =
    small.length < 2
      ? parts
      : [...large, { source: `${small.length} smaller`, u: Math.hypot(...small.map(({ u }) => u)) }]
  return said.map(
    ({ source, u }, i) =>
      markup`${i === 0 ? null : markup`; `}<span class="part">${source} ${standardInWords(u, unit)}</span>`,
  )
}

const FULL: readonly TableColumn<NamedFigure>[] = [
  { heading: 'Figure', cell: ({ name, figure }) => named(name, figure), widthPct: 24 },
  { heading: 'Value', isNumber: true, cell: ({ figure }) => valueInWords(figure), widthPct: 14 },
  {
    heading: markup`Uncertainty <span class="unit">k = 2</span>`,
    isNumber: true,
    cell: ({ figure }) => uncertaintyInWords(figure),
    widthPct: 11,
  },
  { heading: markup`Made of <span class="unit">k = 1</span>`, cell: ({ figure }) => budgetOf(figure), widthPct: 32 },
  { heading: 'Method', cell: ({ figure }) => methodInWords(figure.method).name, widthPct: 19 },
]

export const figureTable = (caption: string, figures: readonly Figure[]): Markup =>
  table({ kind: 'brief', says: caption, caption, columns: BRIEF, rows: figures })

/** @param says what a reader hears who lands in the table by keyboard */
export const budgetTable = (says: string, figures: readonly NamedFigure[]): Markup =>
  table({
    kind: 'budget',
    says,
    caption:
      'Made of: standard uncertainties of what takes part. The uncertainty is twice the root of the sum of their squares (GUM).',
    columns: FULL,
    rows: figures,
  })
