/**
 * Reads a file that a person wrote, and checks it: job, rig, faults.
 *
 * Every problem becomes one line that names file, line, field, value found and what is allowed. The first in the file
 * is thrown, with the count of the others, because a person cures them one by one.
 */
import { distance } from 'fastest-levenshtein'
import type { z } from 'zod'
import { StopError } from '../units/stop.js'
import { allowedWords, listed } from './allowed-words.js'
import { bareJsonSchemaOf, homesOf, type JsonSchema, nodesAt } from './json-schema.js'
import { oneLine, type Path, type Place, type Problem, placeKey, printable, type Tree, treeOf } from './tree.js'

type Issue = z.core.$ZodIssue
type FoundProblem = Problem & { readonly isMissing?: boolean; readonly meantPath?: Path }
type Fields = Record<PropertyKey, unknown>

/**
 * Checks YAML text against a schema of strict objects and returns its values with defaults filled in.
 *
 * Text may stand without quotes even where YAML would take it for a number: a plate 0042 stays 0042.
 * Checks between fields belong into the schema, by `complain` of `fields.ts`.
 *
 * @param fileName as the person named it, for messages
 * @throws StopError naming the first problem
 */
export function readDocument<T>(schema: z.ZodType<T>, text: string, fileName: string): T {
  const tree = treeOf(text, fileName)
  if (tree.problems.length > 0) throw stopFor(tree.problems, fileName)
  let parsed = schema.safeParse(tree.value)
  // Each round can only turn numbers and truth values into text, so it ends; a union may bring up a second round.
  while (!parsed.success && keepAsText(tree, parsed.error.issues)) parsed = schema.safeParse(tree.value)
  if (parsed.success) return parsed.data
  const json = bareJsonSchemaOf(schema)
  const found = leavesOf(parsed.error.issues).flatMap((issue) => problemsOf(issue, tree, json))
  // A misspelt field leaves the right one missing; that is one problem, and the misspelling is the one to show.
  const misspelt = new Set(found.map((problem) => problem.meantPath && placeKey(problem.meantPath)))
  throw stopFor(
    found.filter((problem) => !problem.isMissing || !misspelt.has(placeKey(problem.path))),
    fileName,
  )
}

/** outputs[3].polarity: lists count from 1 for people. */
export const pathWords = (path: Path): string =>
  path.reduce<string>((text, step) => {
    if (typeof step === 'number') return `${text}[${step + 1}]`
    const name = /^[\w -]{1,60}$/.test(String(step)) ? String(step) : printable(String(step))
    return text === '' ? name : `${text}.${name}`
  }, '')

function stopFor(problems: readonly Problem[], fileName: string): StopError {
  const [first, ...others] = [...problems].sort((a, b) => a.line - b.line)
  const at = pathWords(first.path)
  const more = others.length === 0 ? '' : ` ${others.length} more problem${others.length > 1 ? 's' : ''} in this file.`
  return new StopError(oneLine(first.what), `${fileName}:${first.line}${at && `, ${at}`}`, oneLine(first.remedy) + more)
}

/** Takes plain scalars as text where text is wanted; false when there was none. */
function keepAsText(tree: Tree, issues: readonly Issue[]): boolean {
  let isChanged = false
  for (const issue of leavesOf(issues)) {
    const plain = tree.placeOf(issue.path)?.plain
    if (issue.code !== 'invalid_type' || issue.expected !== 'string' || plain == null || issue.path.length === 0)
      continue
    const parent = issue.path.slice(0, -1).reduce<Fields>((node, step) => node[step] as Fields, tree.value as Fields)
    const last = issue.path.at(-1)!
    if (typeof parent[last] === 'string') continue
    parent[last] = plain
    isChanged = true
  }
  return isChanged
}

/** Issues with unions resolved to the alternative that the writer most likely meant, and paths from the root. */
function leavesOf(issues: readonly Issue[], base: Path = []): Issue[] {
  return issues.flatMap((issue): Issue[] => {
    const path = [...base, ...issue.path]
    if (issue.code !== 'invalid_union') return [{ ...issue, path } as Issue]
    // An alternative of another kind (a list for a map) was not meant; of the others, the one that fits best.
    const meant = issue.errors
      .filter((errors) => !errors.some((error) => error.path.length === 0 && error.code.startsWith('invalid_')))
      .sort((a, b) => a.length - b.length)[0]
    return meant ? leavesOf(meant, path) : [{ ...issue, errors: [], path } as Issue]
  })
}

function problemsOf(issue: Issue, tree: Tree, json: JsonSchema): FoundProblem[] {
  const { path } = issue
  if (issue.code === 'unrecognized_keys') {
    return issue.keys.map((key) => {
      const known = [...new Set(nodesAt(json, path).flatMap((node) => Object.keys(node.properties ?? {})))]
      // A field that is there already was not meant.
      const open = known.filter((name) => !tree.placeOf([...path, name]))
      const near = nearest(key, open) ?? nearest(key, known)
      return {
        line: tree.placeOf([...path, key])?.keyLine ?? nearestPlace(tree, path).line,
        path: [...path, key],
        what: `unknown field ${printable(key)}`,
        remedy: near === null ? unknownRemedy(key, known, json) : `Did you mean "${near}"?`,
        ...(near === null ? {} : { meantPath: [...path, near] }),
      }
    })
  }
  const place = tree.placeOf(path)
  const line = place?.line ?? nearestPlace(tree, path).line
  if (issue.code === 'custom') {
    const remedy = issue.params?.['remedy']
    return [{ line, path, what: issue.message, remedy: typeof remedy === 'string' ? remedy : 'Correct it.' }]
  }
  const name = path.length === 0 ? 'file' : nameWords(path)
  if (issue.code === 'invalid_key') {
    const why = issue.issues[0]?.message
    return [
      {
        line: place?.keyLine ?? line,
        path,
        what: `field ${printable(String(path.at(-1)))} is not allowed`,
        remedy: `Allowed: ${why ?? 'another name'}.`,
      },
    ]
  }
  const nodes = nodesAt(json, path)
  const says = nodes.map((node) => node.description).find((description) => description !== undefined)
  if (!place) {
    const remedy = says === undefined ? `Add it: ${allowedWords(nodes)}.` : `Add it: ${sentence(says)}`
    return [{ line, path, what: `field "${String(path.at(-1))}" is missing`, remedy, isMissing: true }]
  }
  if (!place.hasValue) {
    return [{ line, path, what: `${name} has no value`, remedy: `Allowed: ${allowedWords(nodes)}.` }]
  }
  return [{ line, path, what: `${name} ${isWords(issue, place)}`, remedy: remedyFor(place, nodes) }]
}

function isWords(issue: Issue, place: Place): string {
  if (issue.code !== 'too_big' && issue.code !== 'too_small') return `is ${place.found}`
  if (issue.origin === 'array') return `has too ${issue.code === 'too_big' ? 'many' : 'few'} entries`
  if (issue.origin === 'string') return `is ${place.found}, too ${issue.code === 'too_big' ? 'long' : 'short'}`
  return `is ${place.found}, too ${issue.code === 'too_big' ? 'high' : 'low'}`
}

function remedyFor(place: Place, nodes: readonly JsonSchema[]): string {
  const allowed = `Allowed: ${allowedWords(nodes)}.`
  const wantsNumber = nodes.some((node) => node.type === 'number' || node.type === 'integer')
  if (wantsNumber && /^"[+-]?\d+,\d+"$/.test(place.found)) return `Write decimals with a point. ${allowed}`
  if (wantsNumber && /^"[+-]?[\d.]+ *[%\p{L}]+"$/u.test(place.found)) {
    return `Leave the unit out, the field's name says it. ${allowed}`
  }
  if (place.plain !== null && /^[^\s:]+:[^\s]/.test(place.plain)) {
    return `Write fields as name: value, with a space after the colon. ${allowed}`
  }
  return allowed
}

function unknownRemedy(key: string, known: readonly string[], json: JsonSchema): string {
  if (/^\d+$/.test(key)) return 'Write decimals with a point (2.5), and put text that holds a comma in quotes.'
  const home = homesOf(json, key)[0]
  const elsewhere = home === undefined ? '' : `; ${key} is a field of ${home === '' ? 'the whole file' : home}`
  return `Allowed here: ${listed(known, 'and')}${elsewhere}.`
}

/** The known name that a writer most likely meant: another style or few letters of it changed, or its unit forgotten. */
function nearest(name: string, known: readonly string[]): string | null {
  const snake = name
    .replace(/([a-z0-9])([A-Z])/g, '$1_$2')
    .replace(/[-\s.]+/g, '_')
    .toLowerCase()
  const [best] = known
    .map((candidate) => ({ candidate, cost: distance(snake, candidate) }))
    .sort((a, b) => a.cost - b.cost)
  if (!best) return null
  if (best.cost <= 1) return best.candidate
  const longer = known.filter((candidate) => candidate.startsWith(`${snake}_`))
  if (longer.length === 1) return longer[0]
  // Two letters that changed places cost 2; a name of three letters has no room for that.
  return snake.length > 3 && best.cost <= Math.max(2, Math.floor(snake.length / 3)) ? best.candidate : null
}

/** Name of the last field of a path; with what it stands in where it is only a number: outputs[3], leads.1. */
const nameWords = (path: Path): string => {
  const from = path.findLastIndex((step) => typeof step !== 'number' && !/^\d+$/.test(String(step)))
  return pathWords(path.slice(Math.max(0, from)))
}

function nearestPlace(tree: Tree, path: Path): Place {
  for (let length = path.length; length >= 0; length--) {
    const place = tree.placeOf(path.slice(0, length))
    if (place) return place
  }
  throw new RangeError('nearestPlace: a tree without a root')
}

const sentence = (text: string): string => (text.endsWith('.') ? text : `${text}.`)
