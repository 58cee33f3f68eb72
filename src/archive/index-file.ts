/**
 * Opens the index of an archive. It lies in the user's cache folder, outside the archive, and is only a help: when it is
 * missing, broken or of another version it is made anew from the folders, and nothing is lost with it.
 *
 * One command at a time uses it. Where another one keeps it for long, the folders are read into memory instead.
 */
import { createHash } from 'node:crypto'
import { mkdir, rename, rm } from 'node:fs/promises'
import { homedir, platform } from 'node:os'
import { join, resolve } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import type { Database } from 'node-sqlite3-wasm'
import { StopError } from '../units/stop.js'
import { type OnRuns, refresh } from './index-refresh.js'
import { finishTables, isDatabaseError, isOfThisVersion, makeTables, openDatabase } from './index-tables.js'
import { lockRun, type RunLock } from './run-lock.js'

const WAIT_S = 2
const STEP_S = 0.05
const INDEX_FILE = 'index.db'

export interface OpenIndex {
  readonly db: Database
  /** Runs that were read to bring it up to date; all of them where it was made anew. */
  readonly readCount: number
  /** What a person should know of how it was come by. */
  readonly says: readonly string[]
  close(): Promise<void>
}

/** Folder of the indexes of this user. */
export function cacheFolder(environment: NodeJS.ProcessEnv = process.env): string {
  const own = environment['LINETRUE_CACHE']
  if (own) return resolve(own)
  if (platform() === 'win32')
    return join(environment['LOCALAPPDATA'] ?? join(homedir(), 'AppData', 'Local'), 'linetrue')
  if (platform() === 'darwin') return join(homedir(), 'Library', 'Caches', 'linetrue')
  // XDG Base Directory Specification: a relative path counts as none.
  const xdg = environment['XDG_CACHE_HOME']
  return join(xdg?.startsWith('/') ? xdg : join(homedir(), '.cache'), 'linetrue')
}

/** Pages of a file cost far more than memory does here. */
const LARGE_CACHE = 'PRAGMA cache_size = -65536'

export const indexFolderOf = (root: string): string =>
  join(cacheFolder(), `archive-${createHash('sha256').update(resolve(root)).digest('hex').slice(0, 16)}`)

export interface OpenOptions {
  /** Make it anew, whatever is there. */
  readonly isNew?: boolean
  readonly onRuns?: OnRuns
  readonly signal?: AbortSignal
}

/** An index that is up to date. */
export async function openIndex(root: string, options: OpenOptions = {}): Promise<OpenIndex> {
  const folder = indexFolderOf(root)
  let lock: RunLock | null = null
  try {
    await mkdir(folder, { recursive: true })
    lock = await lockPatiently(folder)
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code
    if (!(error instanceof StopError) && code === undefined) throw error
    const why =
      code === undefined ? 'The index is in use by another command' : `There can be no index at ${folder} (${code})`
    return inMemory(root, `${why}: all folders are read instead, which takes longer.`, options)
  }
  const path = join(folder, INDEX_FILE)
  // With the lock above in hand, one of the database itself was left by a command that was killed.
  await rm(`${path}.lock`, { recursive: true, force: true })
  try {
    const { db, ...how } = await openLocked(root, path, options)
    return { db, ...how, close: async () => close(db, lock!) }
  } catch (error) {
    await lock.release()
    if (!isDatabaseError(error)) throw error
    return inMemory(
      root,
      `The index at ${path} cannot be used (${(error as Error).message}): all folders are read instead.`,
      options,
    )
  }
}

async function close(db: Database, lock: RunLock): Promise<void> {
  db.close()
  await lock.release()
}

async function lockPatiently(folder: string): Promise<RunLock> {
  for (let waitedS = 0; ; waitedS += STEP_S) {
    try {
      return await lockRun(folder)
    } catch (error) {
      const isHeld = error instanceof StopError && error.cause === undefined
      if (!isHeld || waitedS >= WAIT_S) throw isHeld ? error : ((error as StopError).cause ?? error)
      await sleep(1000 * STEP_S)
    }
  }
}

async function openLocked(root: string, path: string, options: OpenOptions): Promise<Omit<OpenIndex, 'close'>> {
  let why = options.isNew === true ? null : ''
  if (why !== null) {
    const opened = await openOld(root, path, options)
    if (typeof opened !== 'string') return opened
    why = opened
  }
  const part = `${path}.part`
  for (const old of [part, `${part}-journal`, `${part}.lock`]) await rm(old, { recursive: true, force: true })
  const db = openDatabase(part)
  let readCount: number
  try {
    // Half of it is worth nothing after a kill, so there is nothing to guard while it is made.
    db.exec('PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -16384')
    makeTables(db)
    readCount = await refresh(db, root, options.onRuns, options.signal)
    finishTables(db)
  } finally {
    db.close()
  }
  for (const old of [path, `${path}-journal`]) await rm(old, { recursive: true, force: true })
  await rename(part, path)
  return { db: openDatabase(path), readCount, says: why ? [why] : [] }
}

/** @returns why it has to be made anew; empty where there is none yet */
async function openOld(root: string, path: string, options: OpenOptions): Promise<Omit<OpenIndex, 'close'> | string> {
  let db: Database | null = null
  try {
    db = openDatabase(path)
    db.exec(LARGE_CACHE)
    if (db.get('SELECT count(*) AS n FROM sqlite_master')?.['n'] === 0) return drop(db, '')
    if (!isOfThisVersion(db)) return drop(db, 'The index was of another version: it was made anew.')
    const readCount = await refresh(db, root, options.onRuns, options.signal)
    return { db, readCount, says: [] }
  } catch (error) {
    if (!isDatabaseError(error)) {
      db?.close()
      throw error
    }
    return drop(db, `The index was broken (${(error as Error).message}): it was made anew, nothing is lost.`)
  }
}

function drop(db: Database | null, why: string): string {
  db?.close()
  return why
}

async function inMemory(root: string, says: string, options: OpenOptions): Promise<OpenIndex> {
  const db = openDatabase(':memory:')
  makeTables(db)
  const readCount = await refresh(db, root, options.onRuns, options.signal)
  finishTables(db)
  return { db, readCount, says: [says], close: async () => db.close() }
}
