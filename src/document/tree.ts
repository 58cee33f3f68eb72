/**
 * YAML text as plain values that remember where each one stands, so that an error can name its line.
 *
 * A path lists keys and list positions from the root; list positions count from 0 in paths and from 1 in messages, as
 * people count. A field without a value is the same as no field. Anchors, aliases and tags are refused: a file that a
 * person edits needs none, and they are how a small file grows without bound.
 */
import {
  isAlias,
  isMap,
  isScalar,
  isSeq,
  Lexer,
  LineCounter,
  type Node,
  type Pair,
  parseDocument,
  type Scalar,
} from 'yaml'
import { StopError } from '../units/stop.js'
import { syntaxWords } from './syntax-words.js'

export type Path = readonly PropertyKey[]

/** Something wrong at one place: what it is, and one thing to do. */
export interface Problem {
  readonly line: number
  readonly path: Path
  readonly what: string
  readonly remedy: string
}

export interface Place {
  /** Line to look at: that of a short value, and of the key for a list, a map or nothing; the first line is 1. */
  readonly line: number
  readonly keyLine: number
  /** The value in words for a message: "inverse", 2,0 or 'a list'. */
  readonly found: string
  /** What was written, for a plain scalar without quotes. */
  readonly plain: string | null
  readonly hasValue: boolean
}

export interface Tree {
  readonly value: unknown
  readonly problems: readonly Problem[]
  /** The place of a path; undefined where the file has nothing there. */
  placeOf(path: Path): Place | undefined
}

// Far above any file a person writes (32 outputs take about 6000 characters), far below what costs noticeable time.
const CHARACTER_COUNT_MAX = 200_000
// The parser recurses and takes the process down with it when a file nests thousands deep; our files nest 5 deep.
const DEPTH_MAX = 30
const INDENT_MAX = 100

/**
 * Reads YAML into values with places.
 *
 * @throws StopError when the text is no YAML at all; problems that leave a tree standing are listed in it instead
 */
export function treeOf(text: string, fileName: string): Tree {
  refuseUnreadable(text, fileName)
  const lines = new LineCounter()
  const document = parseDocument(text, { lineCounter: lines, prettyErrors: false, uniqueKeys: false })
  const lineAt = (offset: number): number => Math.max(1, lines.linePos(offset).line)
  const first = [...document.errors, ...document.warnings].sort((a, b) => a.pos[0] - b.pos[0])[0]
  if (first) {
    const { what, remedy } = syntaxWords(first.code, first.message)
    const { line, col } = lines.linePos(first.pos[0])
    throw new StopError(what, `${fileName}:${Math.max(1, line)}, column ${Math.max(1, col)}`, remedy)
  }
  if (document.contents === null || (isScalar(document.contents) && document.contents.value === null)) {
    throw new StopError('file is empty', fileName, 'Fill it in; a file that ships with linetrue is a good start.')
  }
  return walk(document.contents as Node, lineAt)
}

export const placeKey = (path: Path): string => JSON.stringify(path)

function walk(root: Node, lineAt: (offset: number) => number): Tree {
  const places = new Map<string, Place>()
  const problems: Problem[] = []
  const lineOf = (node: Node | null | undefined, otherwise: number): number =>
    node?.range ? lineAt(node.range[0]) : otherwise

  const take = (node: Node | null, path: Path, keyLine: number): unknown => {
    const hasValue = node !== null && !(isScalar(node) && node.value === null)
    // A list or map below its key, and a value that is not there, are looked for at the key.
    const isAtKey = typeof path.at(-1) === 'string' && (!hasValue || isMap(node) || isSeq(node))
    const line = isAtKey ? keyLine : lineOf(node, keyLine)
    const plain = hasValue && isScalar(node) && node.type === 'PLAIN' ? (node.source ?? null) : null
    places.set(placeKey(path), { line, keyLine, found: foundWords(node), plain, hasValue })
    const complain = (what: string, remedy: string): undefined => {
      problems.push({ line, path, what, remedy })
    }
    if (isAlias(node) || (node && 'anchor' in node && node.anchor)) {
      return complain('anchors (&) and aliases (*) are not allowed', 'Write the value out in full at each place.')
    }
    if (node?.tag) return complain(`the tag ${printable(node.tag)} is not allowed`, 'Write the value without a tag.')
    if (!hasValue) return undefined
    if (isScalar(node)) return node.value
    if (isSeq(node)) return node.items.map((item, index) => take(item as Node, [...path, index], line))
    if (!isMap(node)) return complain('a value that cannot be read', 'Write a text, a number, a list or a map.')
    // Without a prototype a field may be called anything, even __proto__.
    const fields: Record<string, unknown> = Object.create(null)
    for (const pair of node.items as Pair<Node, Node | null>[]) {
      const pairLine = lineOf(pair.key, line)
      const name = nameOf(pair.key)
      if (name === null) {
        problems.push({
          line: pairLine,
          path,
          what: 'a field without a readable name',
          remedy: 'Write fields as name: value.',
        })
      } else if (name in fields) {
        problems.push({
          line: pairLine,
          path: [...path, name],
          what: `field ${printable(name)} stands twice`,
          remedy: `Keep one of them; the other is on line ${places.get(placeKey([...path, name]))!.keyLine}.`,
        })
      } else {
        fields[name] = take(pair.value, [...path, name], pairLine)
      }
    }
    return fields
  }

  const value = take(root, [], lineOf(root, 1))
  return { value, problems, placeOf: (path) => places.get(placeKey(path)) }
}

function refuseUnreadable(text: string, fileName: string): void {
  const stop = (what: string, line: number | null, remedy: string): never => {
    throw new StopError(what, line === null ? fileName : `${fileName}:${line}`, remedy)
  }
  const lineOf = (index: number): number => text.slice(0, index).split('\n').length
  if (text.length > CHARACTER_COUNT_MAX) {
    stop(`file has ${text.length} characters`, null, `Name a file written by hand, up to ${CHARACTER_COUNT_MAX}.`)
  }
  const binary = text.search(/[\0\ufffd]/)
  if (binary >= 0) stop('file is not UTF-8 text', lineOf(binary), 'Name a YAML file, saved as UTF-8.')
  const indent = text.search(new RegExp(`^[ ]{${INDENT_MAX}}[ ]*[^ #\\r\\n]`, 'm'))
  if (indent >= 0) stop('file nests too deep', lineOf(indent), `Indent by less than ${INDENT_MAX} spaces.`)
  let [depth, dashCount, position] = [0, 0, 0]
  for (const token of new Lexer().lex(text)) {
    if (token === '[' || token === '{') depth++
    else if (token === ']' || token === '}') depth--
    else if (token === '-' || token === '?') dashCount++
    else if (token.includes('\n')) dashCount = 0
    if (depth + dashCount > DEPTH_MAX) {
      stop('file nests too deep', lineOf(position), `Nest lists and maps at most ${DEPTH_MAX} deep.`)
    }
    // The lexer adds marks of its own, one control character each, which stand for nothing in the text.
    if (!/^[\x02\x18\x1f]$/.test(token)) position += token.length
  }
}

/** A key as text, as it was written: 007 stays 007. Null for lists, maps and nothing. */
function nameOf(key: Node | null): string | null {
  if (!isScalar(key) || key.value === null || key.anchor || key.tag) return null
  return (key as Scalar).type === 'PLAIN' && key.source !== undefined ? key.source : String(key.value)
}

function foundWords(node: Node | null): string {
  if (isMap(node)) return 'a map of fields'
  if (isSeq(node)) return 'a list'
  if (!isScalar(node) || node.value === null) return 'nothing'
  if (typeof node.value === 'string') return printable(node.value)
  return node.source ?? String(node.value)
}

/** Text in quotes for a message: on one line, without control characters, not endless. */
export function printable(text: string): string {
  const short = text.length > 60 ? `${text.slice(0, 57)}...` : text
  return oneLine(JSON.stringify(short))
}

/** Control characters, line breaks and marks of writing direction as escapes: they would garble a terminal. */
export const oneLine = (text: string): string =>
  text.replace(
    /[\0-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069]/g,
    (character) => `\\u${character.charCodeAt(0).toString(16).padStart(4, '0')}`,
  )
