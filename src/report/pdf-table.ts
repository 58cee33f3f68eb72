/**
 * A table of the page as a table of the PDF: heading and caption stand in its head, which every page repeats, and its columns
 * are laid out here so that none hangs over the edge.
 */
import type { Content, TableCell } from 'pdfmake/interfaces.js'
import { type Element, elementsIn, hasClass, isElement, wordsIn } from './markup-tree.js'
import { COLOURS, isUnprinted, textOf } from './pdf-text.js'

const FONT_SIZE = 7
/** Width of a letter of this face and size, on average with capitals and digits, and the room beside a cell's text. */
const [LETTER, PADDING] = [4.3, 2.5]
/** No column is made narrower than this many letters, nor wider than this because of its longest text. */
const [LETTERS_MIN, LETTERS_MAX] = [5, 46]
/** A row with more letters than this may be cut by the end of a page. */
const ROW_LETTERS_MAX = 900

const cellsOf = (row: Element): Element[] => row.children.filter(isElement)
const lettersOf = (cell: Element): string => visibleWords(cell).trim()

/** The text of a cell, a small one below as a line of its own. */
const visibleWords = (cell: Element): string =>
  cell.children
    .map((child) =>
      isElement(child)
        ? isUnprinted(child)
          ? ''
          : `${child.tag === 'small' ? '\n' : ''}${visibleWords(child)}`
        : child,
    )
    .join('')

export function tableOf(table: Element, width: number, heading: Content | null): Content {
  const [headRow, ...rows] = elementsIn(table, 'tr')
  const headCells = cellsOf(headRow)
  const all = [headRow, ...rows].map(cellsOf)
  const widths = widthsOf(all, elementsIn(table, 'col').map(percentOf), width)
  const caption = elementsIn(table, 'caption')[0]
  const over = [
    ...(heading ? [heading] : []),
    ...(caption
      ? [
          {
            text: textOf(caption.children, { fontSize: FONT_SIZE, wordMax: 60, isCell: false }),
            color: COLOURS.quiet,
            fontSize: FONT_SIZE,
          },
        ]
      : []),
  ]
  const spanned = over.map((content): TableCell[] => [
    { stack: [content], colSpan: headCells.length, border: [false, false, false, false] },
    ...headCells.slice(1).map(() => ''),
  ])
  const isLong = rows.some((row) => wordsIn(row).length > ROW_LETTERS_MAX)
  return {
    table: {
      headerRows: spanned.length + 1,
      keepWithHeaderRows: 1,
      dontBreakRows: !isLong,
      widths,
      body: [...spanned, ...all.map((cells, i) => cells.map((cell, at) => cellOf(cell, i === 0, widths[at])))],
    },
    layout: layoutOf(spanned.length),
    margin: [0, 0, 0, 7],
  }
}

const percentOf = ({ attributes }: Element): number | null => {
  const match = /width:([\d.]+)%/.exec(attributes['style'] ?? '')
  return match ? Number(match[1]) : null
}

function cellOf(cell: Element, isHead: boolean, width: number): TableCell {
  const isNumber = hasClass(cell, 'number')
  const place = { fontSize: FONT_SIZE, wordMax: Math.max(3, Math.floor(width / LETTER)), isCell: true }
  return {
    text: textOf(cell.children, place, isHead || cell.tag === 'th' ? { bold: true } : {}),
    alignment: isNumber ? 'right' : 'left',
    fontSize: FONT_SIZE,
  }
}

/** Bold letters are wider: as if each word had one more for every six. */
const bold = (line: string): string => line.replace(/\S+/g, (word) => word + 'x'.repeat(Math.ceil(word.length / 6)))

/** Room for text of each column, in points: that of the page, or by the longest text and word of each. */
function widthsOf(rows: readonly Element[][], percents: readonly (number | null)[], width: number): number[] {
  const columnCount = rows[0].length
  const room = width - 2 * PADDING * columnCount
  if (percents.length === columnCount && percents.every((one) => one !== null)) {
    return percents.map((one) => Math.max(8, (one! / 100) * width - 2 * PADDING))
  }
  const lines = Array.from({ length: columnCount }, (_, at) =>
    rows.flatMap((row, i) =>
      row[at]
        ? lettersOf(row[at])
            .split('\n')
            .map((line) => (i === 0 ? bold(line) : line))
        : [],
    ),
  )
  const longest = (texts: readonly string[]): number =>
    texts.reduce((most, text) => Math.max(most, text.length), LETTERS_MIN)
  const wanted = lines.map((texts) => LETTER * Math.min(LETTERS_MAX, longest(texts)))
  const least = lines.map((texts) => LETTER * Math.min(14, longest(texts.flatMap((text) => text.split(/[ \n]/)))))
  const sum = (of: readonly number[]): number => of.reduce((a, b) => a + b, 0)
  if (sum(wanted) <= room) return wanted
  const spare = Math.max(0, room - sum(least))
  const missing = wanted.map((one, i) => Math.max(0, one - least[i]))
  const shared = least.map((one, i) => one + (sum(missing) === 0 ? 0 : (spare * missing[i]) / sum(missing)))
  // Where not even the words have room, all give: long ones are broken.
  const scale = Math.min(1, room / sum(shared))
  return shared.map((one) => one * scale)
}

const layoutOf = (captionRows: number) => ({
  hLineWidth: (i: number) => (i <= captionRows ? 0 : i === captionRows + 1 ? 1 : 0.4),
  vLineWidth: () => 0,
  hLineColor: (i: number) => (i === captionRows + 1 ? COLOURS.ink : COLOURS.line),
  paddingLeft: () => PADDING,
  paddingRight: () => PADDING,
  paddingTop: () => 1.2,
  paddingBottom: () => 1.2,
})
