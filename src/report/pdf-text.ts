/** Words of the page as words of the PDF: bold, small, badges; long words may break anywhere, or they would cut off a table. */
import type { ContentText } from 'pdfmake/interfaces.js'
import { type Element, hasClass, isElement, type Node, wordsIn } from './markup-tree.js'

export interface TextStyle {
  readonly bold?: boolean
  readonly fontSize?: number
  readonly color?: string
}

export interface TextPlace {
  readonly fontSize: number
  /** Longer words than this many characters may be broken anywhere. */
  readonly wordMax: number
  /** Small text stands on a line of its own, as it does in narrow cells. */
  readonly isCell: boolean
}

export const COLOURS = {
  ink: '#14181d',
  quiet: '#4a545f',
  line: '#c3cad2',
  pale: '#f3f5f7',
  pass: '#14602f',
  fail: '#a31515',
  unsure: '#7a4b00',
  note: '#4a545f',
} as const

export const verdictIn = (element: Element): 'pass' | 'fail' | 'unsure' | 'note' =>
  (['fail', 'unsure', 'note', 'pass'] as const).find((name) => hasClass(element, name)) ?? 'note'

/** What only a screen or a screen reader shows. */
export const isUnprinted = (element: Element): boolean =>
  element.tag === 'nav' || ['screen', 'unseen', 'more', 'places'].some((name) => hasClass(element, name))

const SMALL = 1.2
/** Where a word may end within a long one. */
const LONG = /\S+/g

export function textOf(nodes: readonly Node[], place: TextPlace, style: TextStyle = {}): ContentText[] {
  return nodes.flatMap((node) => (isElement(node) ? elementText(node, place, style) : wordsOf(node, place, style)))
}

function elementText(element: Element, place: TextPlace, style: TextStyle): ContentText[] {
  const { tag, children } = element
  if (isUnprinted(element)) return []
  if (tag === 'svg') return dashName(element, style)
  if (tag === 'br') return [{ text: '\n' }]
  if (hasClass(element, 'badge')) return [badgeText(element)]
  if (hasClass(element, 'mark'))
    return textOf(children, place, { ...style, bold: true, color: COLOURS[verdictIn(element)] })
  if (tag === 'b' || tag === 'strong') return textOf(children, place, { ...style, bold: true })
  if (tag === 'small' || hasClass(element, 'gist') || hasClass(element, 'unit')) {
    const its = { ...style, bold: false, fontSize: (style.fontSize ?? place.fontSize) - SMALL, color: COLOURS.quiet }
    const isBelow = tag === 'small' && place.isCell && !hasClass(element, 'aside')
    return [...(isBelow ? [{ text: '\n' }] : []), ...textOf(children, place, its)]
  }
  return textOf(children, place, style)
}

function badgeText(element: Element): ContentText {
  const verdict = verdictIn(element)
  const isFilled = verdict === 'fail'
  return {
    text: `\u00a0${wordsIn(element)}\u00a0`,
    bold: true,
    color: isFilled ? '#ffffff' : COLOURS[verdict],
    background: isFilled ? COLOURS.fail : verdict === 'unsure' ? '#fff0c2' : '#ffffff',
  }
}

/** A curve is named by its dashes, where the page draws them into the text. */
function dashName(svg: Element, style: TextStyle): ContentText[] {
  const dash = ['dashed', 'dotted', 'dashdot'].find((name) => svg.source.includes(`curve ${name}`)) ?? 'solid'
  return [{ text: `${dash}: `, ...style, bold: true }]
}

function wordsOf(text: string, { wordMax }: TextPlace, style: TextStyle): ContentText[] {
  const flat = text.replace(/[ \n\t]+/g, ' ')
  if (flat === '') return []
  const pieces: ContentText[] = []
  let from = 0
  for (const { 0: word, index } of flat.matchAll(LONG)) {
    if (word.length <= wordMax) continue
    if (index > from) pieces.push({ text: flat.slice(from, index), ...style })
    pieces.push({ text: word, wordBreak: 'break-all', ...style })
    from = index + word.length
  }
  return from < flat.length ? [...pieces, { text: flat.slice(from), ...style }] : pieces
}
