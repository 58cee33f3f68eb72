/** The tables of an archive's index: one row for each run, its findings, its words, and the folders that were looked into. */
import sqlite, { type Database, type Statement } from 'node-sqlite3-wasm'
import type { RunState } from './scan.js'
import type { RunSummary } from './summary.js'

/** Raised with every change of the tables or of what stands in them: an index of another version is made anew. */
export const INDEX_VERSION = 1

export interface RunRow {
  /** Relative to the archive, with slashes. */
  readonly path: string
  readonly state: RunState | 'unreadable'
  /** When it began, in seconds that sort like the clock of the place. */
  readonly startS: number
  readonly summary: RunSummary | null
  /** Why there is no more of it. */
  readonly why: string
}

/** What is asked for by name, each a column of words. */
export const ASKED = ['vin', 'plate', 'jobNumber', 'platform', 'technician', 'customer'] as const
/** These are found by their end too: so they stand there once more, backwards. */
export const BY_END = ['vin', 'plate', 'jobNumber'] as const
const WORD_COLUMNS = [...ASKED, ...BY_END.map((name) => `${name}End`), 'state', 'verdict', 'kinds', 'others']

/**
 * A run's number is its start: so the newest are read first without sorting, and words that very many runs hold cost little.
 */
const TABLES = `
CREATE TABLE run (id INTEGER PRIMARY KEY, path TEXT UNIQUE, folder TEXT, state TEXT, why TEXT);
CREATE TABLE brief (run INTEGER PRIMARY KEY, summary TEXT);
CREATE TABLE folders (times TEXT);
CREATE VIRTUAL TABLE words USING fts5(${WORD_COLUMNS.join()}, content='', contentless_delete=1,
  tokenize='unicode61 remove_diacritics 2');
`
/** Made after the rows, which is faster. */
const INDEXES = `
CREATE INDEX runFolder ON run (folder);
CREATE INDEX runState ON run (state);
`
/** So many runs may begin in one second. */
const IN_ONE_SECOND = 2 ** 20
export const firstIdAt = (startS: number): number => startS * IN_ONE_SECOND

/** Large pages: each costs a call of the system. */
export const makeTables = (db: Database): void => db.exec(`PRAGMA page_size = 16384; ${TABLES}`)

/** When each folder that was looked into had changed last, by its path; in one piece, since all of them are asked for each time. */
export function readFolders(db: Database): Map<string, number> {
  const times = db.get('SELECT times FROM folders')?.['times']
  return new Map(typeof times === 'string' ? Object.entries(JSON.parse(times) as Record<string, number>) : [])
}

export function writeFolders(db: Database, folders: ReadonlyMap<string, number>): void {
  db.run('DELETE FROM folders')
  db.run('INSERT INTO folders VALUES (?)', JSON.stringify(Object.fromEntries(folders)))
}

/** Ends a new index: only now it counts as one. */
export function finishTables(db: Database): void {
  db.exec(INDEXES)
  db.exec(`ANALYZE; PRAGMA user_version = ${INDEX_VERSION}`)
}

export const isOfThisVersion = (db: Database): boolean =>
  db.get('PRAGMA user_version')?.['user_version'] === INDEX_VERSION

export const openDatabase = (path: string): Database => new sqlite.Database(path)
export const isDatabaseError = (error: unknown): boolean => error instanceof sqlite.SQLite3Error

/** Letters and digits alone, in lower case: 'LT 0010' is found as lt0010. */
export const keyOf = (text: string): string =>
  text
    .normalize('NFC')
    .toLowerCase()
    .replace(/[^\p{L}\p{N}]/gu, '')

export const backwards = (text: string): string => [...text].reverse().join('')

/** Writes rows; statements are prepared once. */
export class RowWriter {
  private readonly lastOfSecond
  private readonly insertRun
  private readonly insertBrief
  private readonly insertWords

  constructor(private readonly db: Database) {
    const insert = (table: string, names: readonly string[]): Statement =>
      db.prepare(`INSERT INTO ${table} (${names.join()}) VALUES (${names.map(() => '?').join()})`)
    this.lastOfSecond = db.prepare('SELECT max(id) AS id FROM run WHERE id >= ? AND id < ?')
    this.insertRun = insert('run', ['id', 'path', 'folder', 'state', 'why'])
    this.insertBrief = insert('brief', ['run', 'summary'])
    this.insertWords = insert('words', ['rowid', ...WORD_COLUMNS])
  }

  put(row: RunRow): void {
    const { path, state, startS, summary, why } = row
    const last = this.lastOfSecond.get([firstIdAt(startS), firstIdAt(startS + 1)])?.['id'] ?? null
    const id = last === null ? firstIdAt(startS) : Number(last) + 1
    this.insertRun.run([id, path, folderOf(path), state, why])
    this.insertWords.run([id, ...wordsOf(row)])
    if (summary !== null) this.insertBrief.run([id, JSON.stringify(summary)])
  }

  /** Takes out the run of this path, if there is one. */
  drop(path: string): void {
    const id = this.db.get('SELECT id FROM run WHERE path = ?', path)?.['id'] as number | undefined
    if (id === undefined) return
    this.db.run('DELETE FROM words WHERE rowid = ?', id)
    this.db.run('DELETE FROM brief WHERE run = ?', id)
    this.db.run('DELETE FROM run WHERE id = ?', id)
  }

  close(): void {
    for (const statement of [this.lastOfSecond, this.insertRun, this.insertBrief, this.insertWords])
      statement.finalize()
  }
}

export const folderOf = (path: string): string => (path.includes('/') ? path.slice(0, path.lastIndexOf('/')) : '')

/** As written, and without what stands between letters and digits. */
const withKey = (text: string | null): string => (text === null ? '' : `${text} ${keyOf(text)}`)

function wordsOf({ path, state, summary }: RunRow): string[] {
  const { job, findings = [], outputs = [] } = summary ?? {}
  const others = [path, summary?.summary, job?.name, job?.vehicle]
  return [
    ...ASKED.map((name) => withKey(job?.[name] ?? null)),
    ...BY_END.map((name) => backwards(keyOf(job?.[name] ?? ''))),
    state,
    summary?.verdict ?? '',
    findings.map(({ kind }) => keyOf(kind)).join(' '),
    [...others, ...findings.map(({ title }) => title), ...outputs.map(({ label }) => label)].filter(Boolean).join('\n'),
  ]
}
