/** Finds runs in an index. All that is asked for has to hold; the beginning of a word will do, and the end of a number. */
import type { Database } from 'node-sqlite3-wasm'
import type { FINDING_KINDS, Verdict } from '../verdict/parts.js'
import { ASKED, BY_END, backwards, firstIdAt, keyOf, type RunRow } from './index-tables.js'
import { startOf } from './scan.js'
import type { RunSummary } from './summary.js'

export interface Query {
  readonly vin?: string
  readonly plate?: string
  readonly jobNumber?: string
  readonly platform?: string
  readonly technician?: string
  readonly customer?: string
  /** First and last day, both included: 2026-04-01. */
  readonly from?: string
  readonly to?: string
  readonly verdict?: Verdict
  readonly finding?: (typeof FINDING_KINDS)[number]
  readonly state?: RunRow['state']
  readonly words?: string
}

export type Hit = Omit<RunRow, 'startS'>

/** The newest first, at most so many. */
export const findRuns = (db: Database, query: Query, hitCountMax: number): Hit[] =>
  db.all(sqlOf(query, 'DESC', hitCountMax), valuesOf(query)).map(hitOf)

/** All of them one after the other, the oldest first: an archive need not fit into memory. */
export function* eachRun(db: Database, query: Query): Generator<Hit> {
  const statement = db.prepare(sqlOf(query, 'ASC', -1))
  try {
    for (const row of statement.iterate(valuesOf(query))) yield hitOf(row)
  } finally {
    statement.finalize()
  }
}

/** Runs of one job's folder, or the one that lies there itself. */
export const runsAt = (db: Database, path: string): Hit[] =>
  db
    .all(
      'SELECT run.*, summary FROM run LEFT JOIN brief ON brief.run = id WHERE folder = ? OR path = ? ORDER BY id DESC',
      [path, path],
    )
    .map(hitOf)

function hitOf(row: Record<string, unknown>): Hit {
  const summary = row['summary']
  return {
    path: String(row['path']),
    state: row['state'] as Hit['state'],
    why: String(row['why']),
    summary: typeof summary === 'string' ? (JSON.parse(summary) as RunSummary) : null,
  }
}

/** Words come first and in the order of the runs' numbers, so that reading ends as soon as enough are found. */
function sqlOf(query: Query, order: 'ASC' | 'DESC', limit: number): string {
  const isWords = matchOf(query) !== ''
  const id = isWords ? 'words.rowid' : 'run.id'
  const parts = [
    ...(isWords ? ['words MATCH :match'] : []),
    ...(query.from ? [`${id} >= :from`] : []),
    ...(query.to ? [`${id} < :to`] : []),
  ]
  const where = parts.length === 0 ? '' : `WHERE ${parts.join(' AND ')}`
  return `SELECT run.*, summary FROM ${isWords ? 'words CROSS JOIN run ON run.id = words.rowid' : 'run'}
    LEFT JOIN brief ON brief.run = run.id ${where} ORDER BY ${id} ${order} LIMIT ${Math.floor(limit)}`
}

const DAY_S = 86_400

function valuesOf(query: Query): Record<string, string | number> {
  const match = matchOf(query)
  const dayOf = (text: string): number => startOf('', `${text}T00:00:00`)
  return {
    ...(match === '' ? {} : { ':match': match }),
    ...(query.from ? { ':from': firstIdAt(dayOf(query.from)) } : {}),
    ...(query.to ? { ':to': firstIdAt(dayOf(query.to) + DAY_S) } : {}),
  }
}

/** In the language of FTS5: phrases whose last word only has to begin so. They hold letters and digits alone. */
function matchOf(query: Query): string {
  const parts = ASKED.flatMap((name) => {
    const text = query[name]
    if (text === undefined) return []
    const ways = new Set([`${name} : "${keyOf(text)}" *`, `${name} : "${wordsIn(text).join(' ')}" *`])
    if (BY_END.some((one) => one === name)) ways.add(`${name}End : "${backwards(keyOf(text))}" *`)
    return [`(${[...ways].join(' OR ')})`]
  })
  for (const [column, word] of Object.entries({ verdict: query.verdict, kinds: query.finding, state: query.state })) {
    if (word !== undefined) parts.push(`${column} : "${keyOf(word)}"`)
  }
  const words = wordsIn(query.words ?? '').map((word) => `"${word}" *`)
  return [...parts, ...words].join(' AND ')
}

/** What can be looked for in a text: its letters and digits. */
export const wordsIn = (text: string): string[] =>
  text
    .normalize('NFC')
    .split(/[^\p{L}\p{N}]+/u)
    .filter((word) => word !== '')
