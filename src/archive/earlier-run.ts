/** Which earlier run a new one follows: the newest finished one of the same vehicle. */
import { existsSync } from 'node:fs'
import { readdir } from 'node:fs/promises'
import { basename, dirname, join, resolve } from 'node:path'
import { keyOf } from './index-tables.js'
import { RESULT_FILE, runNamesNewestFirst } from './run-folder.js'
import { startOf } from './scan.js'
import { readSummary } from './summary.js'

/** The folder that archives have where nobody names another. */
export const ARCHIVE_NAME = 'captures'

/** The nearest folder above a job that is named as archives are; null where there is none. */
export function archiveAbove(jobFolder: string): string | null {
  for (let at = resolve(jobFolder); dirname(at) !== at; at = dirname(at)) {
    if (basename(at) === ARCHIVE_NAME) return at
  }
  return null
}

/**
 * @param jobFolder of the new run; earlier ones lie in it, or under another name of the same vehicle beside it
 * @param vin null where nobody wrote it down: then only the job's own folder counts
 * @param ownFolder of the new run
 * @returns the folder's name, with that of its job (../NAME/run-…) where it is another one; null for a first run
 */
export async function earlierRun(jobFolder: string, vin: string | null, ownFolder: string): Promise<string | null> {
  const own = await newestIn(jobFolder, ownFolder)
  if (own !== null) return own
  const archive = archiveAbove(jobFolder)
  if (vin === null || archive === null || resolve(archive) === resolve(jobFolder)) return null
  const beside = dirname(resolve(jobFolder))
  const found: string[] = []
  for (const name of await namesIn(beside)) {
    if (resolve(beside, name) === resolve(jobFolder)) continue
    const run = await newestIn(join(beside, name), ownFolder)
    const summary = run === null ? null : readSummary(join(beside, name, run))
    if (summary?.job.vin && keyOf(summary.job.vin) === keyOf(vin)) found.push(`../${name}/${run}`)
  }
  return found.sort((a, b) => startOf(b, null) - startOf(a, null))[0] ?? null
}

async function newestIn(folder: string, ownFolder: string): Promise<string | null> {
  const runs = runNamesNewestFirst(await namesIn(folder)).filter((name) => resolve(folder, name) !== resolve(ownFolder))
  return runs.find((name) => existsSync(join(folder, name, RESULT_FILE))) ?? null
}

const namesIn = (folder: string): Promise<string[]> => readdir(folder).catch(() => [])
