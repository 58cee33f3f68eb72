/**
 * The seal of a finished run: SHA-256 of every file in its folder, as `sha256sum -c checksums.sha256` reads it too.
 *
 * It is written last. A run that has one is finished and never changes again; names are relative to the folder, with slashes.
 */
import { existsSync } from 'node:fs'
import { lstat, readdir, readFile } from 'node:fs/promises'
import { dirname, join, resolve } from 'node:path'
import { StopError } from '../units/stop.js'
import { RESULT_FILE, sha256Of } from './run-folder.js'
import { writeAside } from './safe-write.js'

export const SEAL_FILE = 'checksums.sha256'
/** sha256sum skips lines that begin so. */
const HEAD = '# linetrue seal 1: SHA-256 of every file of this run'
/** Comes and goes while a command works on a run, or is what a system leaves in any folder that was looked at. */
const NOT_OF_THE_RUN: readonly string[] = [
  SEAL_FILE,
  `.${SEAL_FILE}.part`,
  '.lock',
  '.DS_Store',
  'Thumbs.db',
  'desktop.ini',
]

export interface SealTroubles {
  readonly changed: readonly string[]
  readonly missing: readonly string[]
  readonly additional: readonly string[]
}

/**
 * Writes the seal.
 * @param known checksums that were read from disk just now, by name: large takes need not be read twice
 * @throws StopError when it cannot be written
 */
export async function sealRun(folder: string, known: ReadonlyMap<string, string> = new Map()): Promise<void> {
  const checksums: [name: string, sha256: string][] = []
  for (const name of await filesIn(folder)) {
    checksums.push([name, known.get(name) ?? (await sha256Of(join(folder, name)))])
  }
  await writeAside(folder, SEAL_FILE, sealText(checksums))
}

export const sealText = (checksums: readonly (readonly [name: string, sha256: string])[]): string =>
  `${[HEAD, ...checksums.map(([name, sha256]) => sealLine(sha256, name))].join('\n')}\n`

/** @returns checksums by name; null where there is no seal, an empty map where nothing in it can be understood */
export async function readSeal(folder: string): Promise<ReadonlyMap<string, string> | null> {
  const text = await readFile(join(folder, SEAL_FILE), 'utf8').catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'ENOENT' || error.code === 'ENOTDIR') return null
    throw error
  })
  if (text === null) return null
  const lines = text.split('\n').flatMap((line) => parsedLine(line) ?? [])
  return new Map(lines.map(({ name, sha256 }) => [name, sha256]))
}

export type ResultDoubt = 'changed' | 'unsealed'

export const DOUBT_WORDS: Readonly<Record<ResultDoubt, string>> = {
  changed: 'This result was changed after it was sealed: do not trust it. See linetrue archive check.',
  unsealed: 'It is not sealed: nothing tells whether it is as it was.',
}

/** Whether the result is as it was when the run was sealed; null where it is. */
export async function resultDoubt(folder: string): Promise<ResultDoubt | null> {
  const wanted = (await readSeal(folder))?.get(RESULT_FILE)
  if (wanted === undefined) return 'unsealed'
  const isSame = (await sha256Of(join(folder, RESULT_FILE)).catch(() => '')) === wanted
  return isSame ? null : 'changed'
}

/**
 * A run is never written to after its end, not even beside its files.
 * @throws StopError when the path lies in the folder of a run
 */
export function checkOutsideRuns(path: string): void {
  for (let folder = resolve(path); ; folder = dirname(folder)) {
    if ([SEAL_FILE, RESULT_FILE].some((name) => existsSync(join(folder, name)))) {
      throw new StopError('a run is never changed after its end', path, 'Name another place with --out.')
    }
    if (folder === dirname(folder)) return
  }
}

/** Holds every file against the seal. */
export async function checkSeal(
  folder: string,
  seal: ReadonlyMap<string, string>,
  signal?: AbortSignal,
): Promise<SealTroubles> {
  const there = await filesIn(folder)
  const changed: string[] = []
  for (const name of there) {
    signal?.throwIfAborted()
    const wanted = seal.get(name)
    if (wanted === undefined) continue
    const path = join(folder, name)
    // A link may lead to the same bytes today and to others tomorrow.
    const isFile = (await lstat(path)).isFile()
    if (!isFile || (await sha256Of(path).catch(() => '')) !== wanted) changed.push(name)
  }
  return {
    changed,
    missing: [...seal.keys()].filter((name) => !there.includes(name)),
    additional: there.filter((name) => !seal.has(name)),
  }
}

/** Everything in a folder that is no folder, sorted. */
async function filesIn(folder: string): Promise<string[]> {
  const names: string[] = []
  const walk = async (below: string): Promise<void> => {
    for (const entry of await readdir(join(folder, below), { withFileTypes: true })) {
      const name = below === '' ? entry.name : `${below}/${entry.name}`
      if (entry.isDirectory()) await walk(name)
      else if (!NOT_OF_THE_RUN.includes(entry.name)) names.push(name)
    }
  }
  await walk('')
  return names.sort()
}

/** GNU coreutils, "md5sum output": a name with a backslash or a line break is escaped, and the line begins with a backslash. */
function sealLine(sha256: string, name: string): string {
  const escaped = name.replaceAll('\\', '\\\\').replaceAll('\n', '\\n').replaceAll('\r', '\\r')
  return `${escaped === name ? '' : '\\'}${sha256}  ${escaped}`
}

const UNESCAPED: Readonly<Record<string, string>> = { '\\\\': '\\', '\\n': '\n', '\\r': '\r' }

function parsedLine(line: string): { name: string; sha256: string } | null {
  const match = /^(\\?)([0-9a-f]{64}) [ *](.+)$/.exec(line)
  if (!match) return null
  const [, isEscaped, sha256, name] = match
  return { sha256, name: isEscaped ? name.replace(/\\[\\nr]/g, (pair) => UNESCAPED[pair]) : name }
}
