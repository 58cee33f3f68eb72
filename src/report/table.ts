/** A real table: caption, a heading for every column, a heading for every row, and its own scroll bar where it is too wide. */
import { type Markup, markup, type Shown } from './markup.js'

export interface TableColumn<Row> {
  readonly heading: Shown
  readonly cell: (row: Row) => Shown
  /** Numbers stand to the right, so that their digits line up. */
  readonly isNumber?: boolean
  /** Share of the width, in per cent; the browser decides where it is left out. */
  readonly widthPct?: number
}

export interface TableSpec<Row> {
  readonly caption: Shown
  /** The first column is the heading of its row. */
  readonly columns: readonly TableColumn<Row>[]
  readonly rows: readonly Row[]
  /** A name of our own for the style sheet. */
  readonly kind: string
  /** What a reader hears who lands in it by keyboard. */
  readonly says: string
}

/** So many columns a phone shows at once. */
const NARROW_MAX = 3

export function table<Row>({ caption, columns, rows, kind, says }: TableSpec<Row>): Markup {
  const classOf = ({ isNumber }: TableColumn<Row>): string => (isNumber ? 'number' : 'words')
  const hasWidths = columns.some(({ widthPct }) => widthPct !== undefined)
  const [first, ...others] = columns
  return markup`<div class="scroll" role="region" aria-label="${says}" tabindex="0">
${columns.length > NARROW_MAX ? markup`<p class="sideways screen">more columns → scroll sideways</p>` : null}
<table class="${kind}">
<caption><span>${caption}</span></caption>
${hasWidths ? markup`<colgroup>${columns.map(({ widthPct }) => (widthPct === undefined ? markup`<col>` : markup`<col style="width:${widthPct}%">`))}</colgroup>` : null}
<thead><tr>${columns.map((column) => markup`<th scope="col" class="${classOf(column)}">${column.heading}</th>`)}</tr></thead>
<tbody>
${rows.map(
  (row) =>
    markup`<tr><th scope="row" class="${classOf(first)}">${first.cell(row)}</th>${others.map((column) => markup`<td class="${classOf(column)}">${column.cell(row)}</td>`)}</tr>
`,
)}</tbody>
</table>
</div>`
}
