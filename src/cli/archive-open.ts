/** Finds the archive, its index, and the run that a person names. */
import { existsSync, statSync } from 'node:fs'
import { basename, dirname, join, relative, resolve, sep } from 'node:path'
import { ARCHIVE_NAME, archiveAbove } from '../archive/earlier-run.js'
import { findRuns, type Hit, wordsIn } from '../archive/find.js'
import { type OpenIndex, openIndex } from '../archive/index-file.js'
import { keyOf } from '../archive/index-tables.js'
import { RESULT_FILE, runNamesNewestFirst } from '../archive/run-folder.js'
import { JOURNAL_FILE } from '../archive/run-journal.js'
import { isRunName, listFolder } from '../archive/scan.js'
import { StopError } from '../units/stop.js'
import type { QueryOptions } from './archive-query.js'
import { shown } from './files.js'
import { Screen } from './screen.js'

/** More hits than this are never asked for at once. */
const NAMES_MAX = 5

/** @throws StopError when there is no such folder */
export function archiveRoot(given: string | undefined): string {
  const here = given ?? (existsSync(ARCHIVE_NAME) ? ARCHIVE_NAME : archiveAbove(process.cwd()))
  const remedy = 'Give --archive FOLDER: the one in which the folders of the jobs lie.'
  if (here === null) throw new StopError(`there is no folder "${ARCHIVE_NAME}" here or above`, process.cwd(), remedy)
  if (!(statSync(here, { throwIfNoEntry: false })?.isDirectory() ?? false)) {
    throw new StopError('there is no such folder', here, remedy)
  }
  return resolve(here)
}

/** Opens the index, and says what a person should know of it. */
export async function openShown(root: string, signal: AbortSignal, isNew = false): Promise<OpenIndex> {
  const screen = new Screen()
  const onRuns = (doneCount: number, runCount: number): void =>
    screen.progress({ step: 'reading', detail: `${doneCount} of ${runCount} runs`, doneS: null, totalS: null })
  try {
    const index = await openIndex(root, { isNew, onRuns, signal })
    for (const line of index.says) screen.say(line)
    return index
  } finally {
    screen.clear()
  }
}

/**
 * The folder of the run that is meant: by its path, by the folder of its job (then the newest that is finished), by its name, or
 * by its job number.
 * @throws StopError when there is none, or several
 */
export async function runNamed(name: string, options: QueryOptions, signal: AbortSignal): Promise<string> {
  const direct = runAtPath(resolve(name))
  if (direct !== null) return direct
  const root = archiveRoot(options.archive)
  const inside = runAtPath(join(root, name))
  if (inside !== null) return inside
  const index = await openShown(root, signal)
  let hits: readonly Hit[] = []
  try {
    const isMeant = ({ path, summary }: Hit): boolean =>
      basename(path) === name || (keyOf(name) !== '' && keyOf(summary?.job.jobNumber ?? '') === keyOf(name))
    if (wordsIn(name).length > 0) hits = findRuns(index.db, { words: name }, 1000).filter(isMeant)
  } finally {
    await index.close()
  }
  // Runs of one job lie in one folder: then the newest is meant.
  const folders = new Set(hits.map(({ path }) => dirname(path)))
  if (hits.length > 0 && (hits.length === 1 || (folders.size === 1 && !isRunName(name))))
    return join(root, hits[0].path)
  if (hits.length === 0) {
    throw new StopError(`there is no run "${name}"`, shown(root), 'Look for it with linetrue archive find.')
  }
  const paths = hits.slice(0, NAMES_MAX).map(({ path }) => path)
  throw new StopError(
    `"${name}" may be any of ${hits.length} runs: ${paths.join(', ')}`,
    shown(root),
    'Name its folder.',
  )
}

function runAtPath(path: string): string | null {
  if (existsSync(join(path, RESULT_FILE)) || existsSync(join(path, JOURNAL_FILE))) return path
  const runs = runNamesNewestFirst(listFolder(path)?.runs ?? [])
  const newest = runs.find((run) => existsSync(join(path, run, RESULT_FILE)))
  return newest === undefined ? null : join(path, newest)
}

/** A run's folder as it is named in lists: relative to the archive where it lies in it, with slashes. */
export function pathInArchive(folder: string): string {
  const archive = archiveAbove(folder)
  return archive === null ? shown(folder) : relative(archive, folder).split(sep).join('/')
}

export const textOptions = (): { isColour: boolean; columnCount: number } => {
  const { isColour, columnCount } = new Screen()
  return { isColour, columnCount }
}
