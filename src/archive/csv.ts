/**
 * Rows as CSV (RFC 4180) that no spreadsheet takes for formulas.
 *
 * Texts that begin as a formula does get an apostrophe in front (OWASP, "CSV Injection"); numbers stay numbers. Control
 * characters, line breaks and marks that turn the direction of writing become spaces.
 */
import { stringify } from 'csv-stringify/sync'
import { clean } from '../report/text.js'

export type Cell = string | number | boolean | null

export const csvHead = (names: readonly string[]): string => csvRows([names])

export const csvRows = (rows: readonly (readonly Cell[])[]): string =>
  stringify(
    rows.map((row) => row.map((cell) => (typeof cell === 'string' ? clean(cell) : cell))),
    {
      escape_formulas: true,
      record_delimiter: '\r\n',
      quoted_string: true,
      // Every digit: what is read back is the same number.
      cast: { number: String, boolean: (value) => (value ? 'yes' : 'no') },
    },
  )
