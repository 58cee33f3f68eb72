/** Looks at every run of an archive: whether it is as it was sealed, can be read, and is what its name says. */
import { existsSync } from 'node:fs'
import { dirname, join, resolve } from 'node:path'
import { keyOf } from './index-tables.js'
import { readResult } from './read-result.js'
import { RESULT_FILE } from './run-folder.js'
import { runsBelow, stateOf } from './scan.js'
import { checkSeal, readSeal } from './seal.js'
import { type RunSummary, readSummary } from './summary.js'

export interface RunTrouble {
  /** Relative to the archive. */
  readonly path: string
  readonly says: string
}

export interface ArchiveCheck {
  readonly sealedCount: number
  /** Finished before seals were made, or stopped in the moment before: readable, and nothing tells whether it changed. */
  readonly unsealed: readonly string[]
  readonly unfinished: readonly string[]
  readonly troubles: readonly RunTrouble[]
}

/** What is kept of each run until all were seen. */
interface Seen {
  readonly path: string
  readonly resultSha256: string | null
  readonly jobNumber: string | null
  readonly vehicle: string
}

/** @param onRun told before each run */
export async function checkArchive(
  root: string,
  onRun: (path: string, count: number) => void = () => {},
  signal?: AbortSignal,
): Promise<ArchiveCheck> {
  const unsealed: string[] = []
  const unfinished: string[] = []
  const troubles: RunTrouble[] = []
  const all: Seen[] = []
  let sealedCount = 0
  let count = 0
  for (const path of runsBelow(root)) {
    signal?.throwIfAborted()
    onRun(path, count++)
    const folder = join(root, path)
    const state = stateOf(folder)
    const seal = await readSeal(folder)
    if (state === 'unfinished' && seal === null) {
      unfinished.push(path)
      continue
    }
    if (seal === null) unsealed.push(path)
    else sealedCount++
    const { summary, says } = await checkRun(folder, seal, signal)
    for (const one of says) troubles.push({ path, says: one })
    all.push({
      path,
      resultSha256: seal?.get(RESULT_FILE) ?? null,
      jobNumber: summary?.job.jobNumber ? keyOf(summary.job.jobNumber) : null,
      vehicle: keyOf(summary?.job.vin ?? summary?.job.plate ?? '') || dirname(path),
    })
  }
  return { sealedCount, unsealed, unfinished, troubles: [...troubles, ...twice(all), ...sharedNumbers(all)] }
}

/** One run by itself: what is wrong with it, a line each. */
export async function checkRun(
  folder: string,
  seal: ReadonlyMap<string, string> | null,
  signal?: AbortSignal,
): Promise<{ summary: RunSummary | null; says: readonly string[] }> {
  const says: string[] = []
  if (seal !== null) {
    if (seal.size === 0) says.push('the seal cannot be understood')
    const { changed, missing, additional } = await checkSeal(folder, seal, signal)
    for (const name of changed) says.push(`${name} has changed since the run ended`)
    for (const name of missing) says.push(`${name} is missing`)
    for (const name of additional) says.push(`${name} is not of this run: it was added later`)
  }
  const { summary, why } = existsSync(join(folder, RESULT_FILE)) ? await readResult(folder) : { summary: null, why: '' }
  if (why !== '') says.push(why)
  const brief = readSummary(folder)
  if (brief !== null && summary !== null && JSON.stringify(brief) !== JSON.stringify(summary)) {
    says.push('summary.json says something else than the result')
  }
  const { retestOf } = summary ?? {}
  if (retestOf && !existsSync(resolve(dirname(folder), retestOf))) {
    says.push(`the run that it follows is gone: ${retestOf}`)
  }
  return { summary, says }
}

/** The same result in two places: one of the folders is a copy. */
function twice(all: readonly Seen[]): RunTrouble[] {
  return groups(all, ({ resultSha256 }) => resultSha256).map(([first, ...others]) => ({
    path: first.path,
    says: `the same run lies in ${others.map(({ path }) => path).join(', ')} too: keep one of them`,
  }))
}

/** One job number for several vehicles. Runs in one folder are of one vehicle. */
function sharedNumbers(all: readonly Seen[]): RunTrouble[] {
  return groups(all, ({ jobNumber }) => jobNumber).flatMap(([first, ...others]) => {
    const strange = others.filter(
      ({ vehicle, path }) => vehicle !== first.vehicle && dirname(path) !== dirname(first.path),
    )
    if (strange.length === 0) return []
    const names = [...new Set(strange.map(({ path }) => path))]
    return [{ path: first.path, says: `its job number is that of another vehicle too: ${names.join(', ')}` }]
  })
}

function groups(all: readonly Seen[], keyOfRun: (run: Seen) => string | null): Seen[][] {
  const byKey = new Map<string, Seen[]>()
  for (const run of all) {
    const key = keyOfRun(run)
    if (key === null) continue
    if (!byKey.has(key)) byKey.set(key, [])
    byKey.get(key)!.push(run)
  }
  return [...byKey.values()].filter((group) => group.length > 1)
}
