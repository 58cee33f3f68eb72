/**
 * The page's markup as content of the PDF, block by block: what the page shows folded stands open here, and what only a
 * screen needs is left out.
 */
import type { Content, ContentText } from 'pdfmake/interfaces.js'
import { CHART_STYLE } from './chart-style.js'
import { type Element, elementsIn, hasClass, isElement, type Node, wordsIn } from './markup-tree.js'
import { tableOf } from './pdf-table.js'
import { COLOURS, isUnprinted, type TextStyle, textOf, verdictIn } from './pdf-text.js'

export const FONT = 'Sans'
export const FONT_SIZE = 8.5
const GAP = 12
/** A legend's entries stand side by side, so many in a row. */
const LEGEND_COLUMNS = 3
const HEADINGS: Readonly<Record<string, number>> = { h1: 14, h2: 12, h3: 9.5, h4: 9 }

interface Block {
  readonly content: Content
  readonly isHeading?: boolean
  /** Made anew with the heading that stands over it. */
  readonly table?: Element
}

export const contentOf = (nodes: readonly Node[], width: number): Content[] => joined(blocksOf(nodes, width), width)

/** A heading goes with what follows it, whatever page that is on. */
function joined(blocks: readonly Block[], width: number): Content[] {
  const out: Content[] = []
  let waiting: Content[] = []
  for (const { content, isHeading, table } of blocks) {
    if (isHeading) {
      waiting.push(content)
      continue
    }
    const heading = waiting.length === 0 ? null : waiting.length === 1 ? waiting[0] : { stack: waiting }
    waiting = []
    if (table) out.push(tableOf(table, width, heading))
    else out.push(heading ? { stack: [heading, content], unbreakable: true } : content)
  }
  return [...out, ...waiting]
}

function blocksOf(nodes: readonly Node[], width: number): Block[] {
  const blocks: Block[] = []
  let loose: Node[] = []
  const flush = (): void => {
    if (loose.some((node) => wordsIn(node).trim() !== '')) blocks.push({ content: paragraph(loose) })
    loose = []
  }
  for (const node of nodes) {
    const isInline = !isElement(node) || ['a', 'b', 'small', 'span', 'strong', 'time'].includes(node.tag)
    if (isInline) loose.push(node)
    else {
      flush()
      blocks.push(...blockOf(node, width))
    }
  }
  flush()
  return blocks
}

const place = (fontSize: number) => ({ fontSize, wordMax: 50, isCell: false })

const paragraph = (
  nodes: readonly Node[],
  style: TextStyle = {},
  margin: [number, number, number, number] = [0, 0, 0, 3],
): Content => ({
  text: textOf(nodes, place(style.fontSize ?? FONT_SIZE), style),
  margin,
  ...style,
})

function blockOf(element: Element, width: number): Block[] {
  const { tag, children } = element
  if (isUnprinted(element)) return []
  if (tag in HEADINGS) return [{ content: headingOf(element), isHeading: tag !== 'h1' }]
  switch (tag) {
    case 'header':
      return [{ content: barred(contentOf(children, width - 24), verdictIn(element), COLOURS.pale) }]
    case 'p':
      return [{ content: paragraphOf(element, width) }]
    case 'dl':
      return [{ content: factsOf(element) }]
    case 'ol':
      return children
        .filter(isElement)
        .map((item) => ({ content: barred(contentOf(item.children, width - 24), verdictIn(item)) }))
    case 'ul':
      return [{ content: listOf(element) }]
    case 'table':
      // Its figures stand again in the table of all figures.
      return hasClass(element, 'brief') ? [] : [{ content: '', table: element }]
    case 'figure':
      return [{ content: figureOf(element, hasClass(element, 'strip') ? 0.62 * width : width) }]
    case 'details': {
      const blocks = blocksOf(children, width)
      return blocks.every(({ isHeading }) => isHeading) ? [] : blocks
    }
    case 'summary':
      return [{ content: paragraph(children, { fontSize: 8 }, [0, 4, 0, 2]), isHeading: true }]
    case 'footer':
      return [
        {
          content: paragraph(
            children.flatMap((one) => (isElement(one) ? one.children : [one])),
            { fontSize: 7, color: COLOURS.quiet },
            [0, 10, 0, 0],
          ),
        },
      ]
    case 'div':
      if (hasClass(element, 'pair')) return pairsOf(element, width)
      if (hasClass(element, 'signs')) return [{ content: signsOf(element) }]
      return blocksOf(children, width)
    default: {
      const blocks = blocksOf(children, width)
      if (!hasClass(element, 'onpage') || blocks.length === 0) return blocks
      return [{ content: { stack: joined(blocks, width), pageBreak: 'before' } }]
    }
  }
}

function headingOf({ tag, children }: Element): Content {
  const fontSize = HEADINGS[tag]
  const heading: ContentText = {
    text: textOf(children, place(fontSize), { bold: true, fontSize }),
    margin: [0, tag === 'h2' ? 7 : 3, 0, 3],
  }
  if (tag !== 'h2') return heading
  return { ...heading, outline: true, outlineText: children.map(wordsIn).join('') }
}

function paragraphOf(element: Element, width: number): Content {
  if (hasClass(element, 'simulated')) {
    const text = {
      text: textOf(element.children, place(FONT_SIZE), { bold: true, fontSize: 10 }),
      alignment: 'center' as const,
    }
    return { table: { widths: ['*'], body: [[text]] }, margin: [0, 0, 0, 5] }
  }
  if (elementsIn(element, 'svg').length > 1 && hasClass(element, 'legend')) return legendOf(element, width)
  if (hasClass(element, 'because'))
    return paragraph(element.children, { fontSize: 7.5, color: COLOURS.quiet }, [0, 0, 0, 1])
  return paragraph(element.children, {}, [0, 0, 0, hasClass(element, 'next') ? 0 : 3])
}

/** A finding, or the head of the page: a bar at its left, thick for a fault, thin for a note. */
function barred(content: Content[], verdict: keyof typeof COLOURS, fillColor?: string): Content {
  return {
    table: { widths: ['*'], body: [[{ stack: content, ...(fillColor ? { fillColor } : {}) }]], dontBreakRows: true },
    layout: {
      hLineWidth: () => 0.4,
      hLineColor: () => COLOURS.line,
      vLineWidth: (i: number) => (i === 0 ? (verdict === 'fail' ? 5 : verdict === 'unsure' ? 3 : 1.5) : 0.4),
      vLineColor: (i: number) => (i === 0 ? COLOURS[verdict] : COLOURS.line),
      paddingLeft: () => 6,
      paddingRight: () => 4,
      paddingTop: () => 1.5,
      paddingBottom: () => 1.5,
    },
    margin: [0, 0, 0, 3],
  }
}

const FACT_COLUMNS = 4

function factsOf(list: Element): Content {
  const facts = list.children.filter(isElement).map((fact) => {
    const [term, says] = fact.children.filter(isElement)
    const [small, long] = [
      { ...place(7), wordMax: 24 },
      { ...place(8), wordMax: 22 },
    ]
    return {
      stack: [
        { text: textOf(term.children, small), fontSize: 7, color: COLOURS.quiet },
        { text: textOf(says.children, long, { bold: true }), fontSize: 8 },
      ],
    }
  })
  const rows = Array.from({ length: Math.ceil(facts.length / FACT_COLUMNS) }, (_, i) => {
    const row: Content[] = facts.slice(i * FACT_COLUMNS, (i + 1) * FACT_COLUMNS)
    while (row.length < FACT_COLUMNS) row.push('')
    return row
  })
  const layout = {
    hLineWidth: () => 0,
    vLineWidth: () => 0,
    paddingLeft: () => 0,
    paddingRight: () => 6,
    paddingTop: () => 1,
    paddingBottom: () => 1,
  }
  return {
    table: { widths: Array.from({ length: FACT_COLUMNS }, () => '*'), body: rows },
    layout,
    margin: [0, 2, 0, 3],
  }
}

function listOf(list: Element): Content {
  const items = list.children.filter(isElement).map(({ children }) => ({
    text: textOf(children, place(8)),
    fontSize: 8,
    margin: [0, 0, 0, 1] as [number, number, number, number],
  }))
  return hasClass(list, 'plainly') ? { stack: items, margin: [0, 0, 0, 4] } : { ul: items, margin: [0, 0, 0, 4] }
}

/** Pairs stand side by side and stay together. */
function pairsOf(pair: Element, width: number): Block[] {
  const half = (width - GAP) / 2
  const parts = pair.children
    .filter(isElement)
    .map((one) => contentOf([one], half))
    .filter((part) => part.length > 0)
  const rows = Array.from({ length: Math.ceil(parts.length / 2) }, (_, i) => parts.slice(2 * i, 2 * i + 2))
  return rows.map((row) => ({
    content: {
      columns: row.map((stack) => ({ stack, width: half })),
      columnGap: GAP,
      unbreakable: true,
      margin: [0, 0, 0, 4],
    },
  }))
}

function figureOf(figure: Element, width: number): Content {
  const caption = elementsIn(figure, 'figcaption')[0]
  const drawing = figure.children.filter(isElement).find(({ tag }) => tag === 'svg')
  const parts: Content[] = drawing
    ? [{ svg: drawn(drawing), width }]
    : contentOf(
        figure.children.filter((one) => one !== caption),
        width,
      )
  if (caption) parts.push(paragraph(caption.children, { fontSize: 7 }, [0, 1, 0, 4]))
  return { stack: parts, unbreakable: true }
}

/** A drawing with the rules of its classes inside; there the drawing itself is no ancestor that a rule could name. */
const RULES = `text{font-family:${FONT};font-size:12px}${CHART_STYLE.replaceAll('svg ', '')}`

const drawn = ({ source }: Element): string => source.replace('>', `><style>${RULES}</style>`)

/** Small drawings and their words, which text alone cannot hold: a row of them for each few. */
function legendOf(legend: Element, width: number): Content {
  const swatches = elementsIn(legend, 'span').filter((span) => hasClass(span, 'swatch'))
  const said = legend.children.filter((one) => !isElement(one) || !hasClass(one, 'swatch'))
  const cells = swatches.map((swatch) => {
    const [svg] = elementsIn(swatch, 'svg')
    const text = swatch.children.filter((one) => one !== svg)
    return {
      columns: [
        { svg: drawn(svg), width: 20 },
        { text: textOf(text, place(7)), fontSize: 7, width: '*' },
      ],
      columnGap: 3,
      width: width / LEGEND_COLUMNS - 4,
    }
  })
  const rows = Array.from({ length: Math.ceil(cells.length / LEGEND_COLUMNS) }, (_, i) => ({
    columns: cells.slice(i * LEGEND_COLUMNS, (i + 1) * LEGEND_COLUMNS),
  }))
  return { stack: [paragraph(said, { fontSize: 7, color: COLOURS.quiet }), ...rows], margin: [0, 0, 0, 4] }
}

function signsOf(signs: Element): Content {
  const box = (sign: Element): Content => ({
    stack: sign.children.filter(isElement).map((line) =>
      hasClass(line, 'rule')
        ? {
            stack: [
              { canvas: [{ type: 'line' as const, x1: 0, y1: 0, x2: 230, y2: 0, lineWidth: 0.7 }] },
              paragraph(line.children, { fontSize: 7, color: COLOURS.quiet }),
            ],
            margin: [0, 28, 0, 0] as [number, number, number, number],
          }
        : paragraph(line.children),
    ),
  })
  return { columns: signs.children.filter(isElement).map(box), columnGap: GAP, unbreakable: true }
}
