/** Checks as a table: what was asked, what was found, how sure, and why it is no pass. */
import type { Check } from '../verdict/parts.js'
import { NO_VALUE, quantityInWords, uncertaintyInWords } from './format.js'
import type { Markup, Shown } from './markup.js'
import { badge, measuredOf } from './parts.js'
import { type TableColumn, table } from './table.js'

const CHECKS: readonly TableColumn<Check>[] = [
  { heading: 'Check', cell: ({ name }) => quantityInWords(name), widthPct: 18 },
  { heading: 'Verdict', cell: ({ verdict }) => badge(verdict), widthPct: 9 },
  { heading: 'Expected', cell: ({ expected }) => expected, widthPct: 26 },
  { heading: 'Measured', cell: (check) => measuredOf(check), widthPct: 19 },
  {
    heading: 'Uncertainty',
    cell: ({ figure }) => (figure ? uncertaintyInWords(figure) : NO_VALUE),
    widthPct: 11,
  },
  { heading: 'Why', cell: ({ why }) => why, widthPct: 17 },
]

export const checkTable = (caption: Shown, says: string, checks: readonly Check[]): Markup =>
  table({ kind: 'checks', says, caption, columns: CHECKS, rows: checks })
