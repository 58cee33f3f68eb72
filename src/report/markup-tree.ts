/**
 * Our own markup read back as a tree, so that the PDF is made from the very page: no content is written twice.
 *
 * It reads what the template tag writes, no other HTML: attributes stand in double quotes, every element but the empty ones
 * is closed.
 */

export interface Element {
  readonly tag: string
  readonly attributes: Readonly<Record<string, string>>
  readonly children: readonly Node[]
  /** As it was written, for a drawing that is passed on whole. */
  readonly source: string
}

export type Node = Element | string

const EMPTY: ReadonlySet<string> = new Set(['br', 'col', 'hr', 'img', 'link', 'meta'])
const PIECE = /<(\/?)([A-Za-z][A-Za-z0-9]*)((?:\s+[\w:-]+(?:="[^"]*")?)*)\s*(\/?)>|[^<]+/g
const ATTRIBUTE = /([\w:-]+)(?:="([^"]*)")?/g
const ENTITY = /&(?:#(\d+)|(amp|lt|gt|quot));/g
const NAMED: Readonly<Record<string, string>> = { amp: '&', lt: '<', gt: '>', quot: '"' }

const textOf = (source: string): string =>
  source.replace(ENTITY, (_, code: string | undefined, name: string) =>
    code === undefined ? NAMED[name] : String.fromCodePoint(Number(code)),
  )

interface Open {
  readonly tag: string
  readonly attributes: Record<string, string>
  readonly children: Node[]
  readonly from: number
}

/** @throws RangeError when an element is not closed where it has to be */
export function markupTree(source: string): readonly Node[] {
  const root: Open = { tag: '', attributes: {}, children: [], from: 0 }
  const open: Open[] = [root]
  for (const match of source.matchAll(PIECE)) {
    const [piece, closing, tag, attributes, empty] = match
    const top = open.at(-1)!
    if (tag === undefined) top.children.push(textOf(piece))
    else if (closing === '/') {
      if (top.tag !== tag) throw new RangeError(`</${tag}> closes <${top.tag}>`)
      open.pop()
      const { from, children } = top
      const whole = source.slice(from, match.index + piece.length)
      open.at(-1)!.children.push({ tag, attributes: top.attributes, children, source: whole })
    } else {
      const its = Object.fromEntries(
        Array.from(attributes.matchAll(ATTRIBUTE), ([, name, value]) => [name, textOf(value ?? '')]),
      )
      if (empty === '/' || EMPTY.has(tag)) top.children.push({ tag, attributes: its, children: [], source: piece })
      else open.push({ tag, attributes: its, children: [], from: match.index })
    }
  }
  if (open.length > 1) throw new RangeError(`<${open.at(-1)!.tag}> is not closed`)
  return root.children
}

export const isElement = (node: Node): node is Element => typeof node !== 'string'

export const hasClass = ({ attributes }: Element, name: string): boolean =>
  (attributes['class'] ?? '').split(' ').includes(name)

/** All text inside, as it stands. */
export const wordsIn = (node: Node): string => (isElement(node) ? node.children.map(wordsIn).join('') : node)

/** Elements of a tag anywhere inside, in order. */
export const elementsIn = (node: Element, tag: string): Element[] =>
  node.children.filter(isElement).flatMap((child) => [...(child.tag === tag ? [child] : []), ...elementsIn(child, tag)])
