/**
 * Brings an index up to date with its folders.
 *
 * What was sealed never changes, so a look at the folders around the runs is enough: one whose time of change is still the
 * same holds the same runs. A time that is hardly past when it was read may hide a later change, and is not kept.
 */
import { existsSync, statSync } from 'node:fs'
import { join } from 'node:path'
import type { Database } from 'node-sqlite3-wasm'
import { folderOf, RowWriter, type RunRow, readFolders, writeFolders } from './index-tables.js'
import { readResult } from './read-result.js'
import { DEPTH_MAX, joined, listFolder, startOf, stateOf } from './scan.js'
import { readSummary } from './summary.js'

/** Times on some disks and shares have steps of two seconds. */
const TIME_STEP_MS = 3000
/** Rows between two commits: a journal of so many stays small, and a kill costs little. */
const BATCH = 5000

export type OnRuns = (doneCount: number, runCount: number) => void

/** One run as it goes into the index. */
export async function rowOf(root: string, path: string): Promise<RunRow> {
  const folder = join(root, path)
  const state = stateOf(folder)
  if (state === 'unfinished') return { path, state, startS: startOf(path, null), summary: null, why: 'not finished' }
  const brief = readSummary(folder)
  const { summary, why } = brief === null ? await readResult(folder) : { summary: brief, why: '' }
  const startS = startOf(path, summary?.startedAt ?? null)
  return { path, state: why === '' ? state : 'unreadable', startS, summary, why }
}

/**
 * @param onRuns told how many runs were read so far, and of how many
 * @returns how many runs were read
 */
export async function refresh(
  db: Database,
  root: string,
  onRuns: OnRuns = () => {},
  signal?: AbortSignal,
): Promise<number> {
  const { fresh, gone, folders, isOther } = lookAround(db, root)
  if (!isOther) return 0
  const writer = new RowWriter(db)
  db.exec('BEGIN')
  try {
    for (const path of gone) writer.drop(path)
    // By their start: words are added quickly only in the order of their runs.
    const inOrder = [...fresh].sort((a, b) => startOf(a, null) - startOf(b, null))
    for (const [k, path] of inOrder.entries()) {
      signal?.throwIfAborted()
      writer.put(await rowOf(root, path))
      if ((k + 1) % BATCH > 0) continue
      db.exec('COMMIT; BEGIN')
      onRuns(k + 1, fresh.size)
    }
    // Last: a folder that is known holds no run that is not.
    writeFolders(db, folders)
    db.exec('COMMIT')
  } catch (error) {
    if (db.inTransaction) db.exec('ROLLBACK')
    throw error
  } finally {
    writer.close()
  }
  return fresh.size
}

interface Look {
  /** Runs that are to be read, for the first time or again. */
  readonly fresh: ReadonlySet<string>
  /** Runs of the index that are there no longer, or are to be read again. */
  readonly gone: ReadonlySet<string>
  readonly folders: ReadonlyMap<string, number>
  /** Anything is other than the index says. */
  readonly isOther: boolean
}

function lookAround(db: Database, root: string): Look {
  const known = readFolders(db)
  const children = childrenOf([...known.keys()])
  const folders = new Map<string, number>()
  const fresh = new Set<string>()
  const gone = new Set<string>()
  const look = (folder: string, depth: number): void => {
    const path = join(root, folder)
    const changedMs = statSync(path, { throwIfNoEntry: false })?.mtimeMs ?? 0
    const isInside = depth + 1 < DEPTH_MAX
    if (known.get(folder) === changedMs && changedMs > 0) {
      folders.set(folder, changedMs)
      if (isInside) for (const child of children.get(folder) ?? []) look(child, depth + 1)
      return
    }
    const listing = listFolder(path)
    if (listing === null) return
    folders.set(folder, Date.now() - changedMs > TIME_STEP_MS ? changedMs : 0)
    const runs = listing.isRun ? [folder] : listing.runs.map((name) => joined(folder, name))
    const inside = new Set([...runs, ...listing.folders.map((name) => joined(folder, name))])
    const before = new Set(known.size === 0 ? [] : runsOf(db, folder))
    for (const run of before) if (!inside.has(run)) gone.add(run)
    for (const run of runs) if (!before.has(run)) fresh.add(run)
    if (!listing.isRun && isInside) for (const name of listing.folders) look(joined(folder, name), depth + 1)
  }
  look('', 0)
  for (const folder of known.keys()) if (!folders.has(folder)) for (const run of runsOf(db, folder)) gone.add(run)
  // What was not sealed when it was read may be by now.
  for (const { path, state } of openRuns(db)) {
    if (gone.has(path) || stateOf(join(root, path)) === state) continue
    gone.add(path)
    if (existsSync(join(root, path))) fresh.add(path)
  }
  const isSame = folders.size === known.size && [...folders].every(([path, ms]) => known.get(path) === ms)
  return { fresh, gone, folders, isOther: !isSame || fresh.size > 0 || gone.size > 0 }
}

const openRuns = (db: Database): { path: string; state: string }[] =>
  db
    .all("SELECT path, state FROM run WHERE state IN ('unsealed', 'unfinished', 'unreadable')")
    .map(({ path, state }) => ({ path: String(path), state: String(state) }))

/** The folders right below each. */
function childrenOf(folders: readonly string[]): Map<string, string[]> {
  const children = new Map<string, string[]>()
  for (const folder of folders) {
    if (folder === '') continue
    const parent = folderOf(folder)
    if (!children.has(parent)) children.set(parent, [])
    children.get(parent)!.push(folder)
  }
  return children
}

const runsOf = (db: Database, folder: string): string[] =>
  db.all('SELECT path FROM run WHERE folder = ? OR path = ?', [folder, folder]).map((row) => String(row['path']))
