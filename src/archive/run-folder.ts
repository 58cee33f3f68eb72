/**
 * A run's folder: job and rig as they were, journal, takes, result and report. A run that has ended is never changed again;
 * one that was stopped goes on in the same folder.
 */
import { createHash } from 'node:crypto'
import { createReadStream } from 'node:fs'
import { mkdir, readdir, rmdir } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { StopError } from '../units/stop.js'

export const RESULT_FILE = 'result.json'
export const REPORT_FILE = 'report.html'
/** The rig's calibration as it was, where it has one. */
export const CALIBRATION_FILE = 'calibration.yaml'

/** Name of a run's folder from its start, in local time: run-20260401-143005. */
export function runFolderName(startedAt: Date): string {
  const two = (value: number): string => String(value).padStart(2, '0')
  const day = `${startedAt.getFullYear()}${two(startedAt.getMonth() + 1)}${two(startedAt.getDate())}`
  return `run-${day}-${two(startedAt.getHours())}${two(startedAt.getMinutes())}${two(startedAt.getSeconds())}`
}

const NAME_PATTERN = /^run-(\d{8})-(\d{6})(?:-(\d+))?$/

/** The names that are names of runs, the newest first; those of one second by their number. */
export function runNamesNewestFirst(names: readonly string[]): string[] {
  return names
    .flatMap((name) => {
      const match = NAME_PATTERN.exec(name)
      return match ? [{ name, at: match[1] + match[2], number: Number(match[3] ?? 1) }] : []
    })
    .sort((a, b) => (a.at === b.at ? b.number - a.number : a.at < b.at ? 1 : -1))
    .map(({ name }) => name)
}

/** A run's folder, and how to take back what was made of it. */
export interface RunFolder {
  readonly path: string
  /** Takes away what was made, as far as nothing was put into it; a folder that was there before stays. */
  dropIfEmpty(): Promise<void>
}

/**
 * Makes the folder, with room for takes.
 * @throws StopError when there is something in it already, or it cannot be made
 */
export async function makeRunFolder(path: string): Promise<RunFolder> {
  const names = await readdir(path).catch((error: NodeJS.ErrnoException): string[] => {
    if (error.code === 'ENOENT') return []
    if (error.code === 'ENOTDIR')
      throw new StopError('this is a file, not a folder', path, 'Name a new folder with --out.')
    throw cannotMake(path, error)
  })
  if (names.length > 0 && !(await isBarelyBegun(path, names))) {
    throw new StopError(
      names.includes(RESULT_FILE) ? 'this folder already holds a result' : 'this folder is not empty',
      path,
      'Name a new folder with --out; earlier runs are kept as they are.',
    )
  }
  try {
    const first = await makeAll(join(path, 'takes'))
    return { path, dropIfEmpty: () => dropUpTo(join(path, 'takes'), first) }
  } catch (error) {
    throw cannotMake(path, error)
  }
}

/** What a run makes before its journal: a kill in that moment leaves no more than this. */
const BEFORE_JOURNAL = ['takes', '.lock', '.reserve', '.run.json.part']

async function isBarelyBegun(path: string, names: readonly string[]): Promise<boolean> {
  if (!names.every((name) => BEFORE_JOURNAL.includes(name)) || !names.includes('takes')) return false
  return (await readdir(join(path, 'takes')).catch(() => ['?'])).length === 0
}

/**
 * Makes a new folder for a run that starts now; the second one of the same second gets -2 after its name.
 * @throws StopError when it cannot be made
 */
export async function makeNewRunFolder(parent: string, startedAt: Date): Promise<RunFolder> {
  const first = join(parent, runFolderName(startedAt))
  for (let number = 1; ; number++) {
    const path = number === 1 ? first : `${first}-${number}`
    try {
      await mkdir(path)
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === 'EEXIST') continue
      throw cannotMake(path, error)
    }
    await mkdir(join(path, 'takes')).catch(async (error) => {
      await rmdir(path).catch(() => {})
      throw cannotMake(path, error)
    })
    return { path, dropIfEmpty: () => dropUpTo(join(path, 'takes'), path) }
  }
}

const cannotMake = (path: string, cause: unknown): StopError =>
  new StopError(
    'the folder for this run cannot be made',
    path,
    'Name another with --out, on a disk that can be written.',
    'instrument',
    { cause },
  )

/**
 * Makes a folder and those above it that are missing; not by mkdir's own way, which never ends in some system folders.
 * @returns the first that had to be made; undefined where all were there
 */
async function makeAll(path: string): Promise<string | undefined> {
  try {
    await mkdir(path)
    return path
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException
    if (code === 'EEXIST') return undefined
    if (code !== 'ENOENT' || dirname(path) === path) throw error
  }
  const first = await makeAll(dirname(path))
  // The parent is there now, or it cannot be written to after all: then this throws.
  await mkdir(path)
  return first ?? path
}

/** Removes empty folders from one upwards to the first that was made. */
async function dropUpTo(path: string, first: string | undefined): Promise<void> {
  if (first === undefined) return
  for (let at = path; at.startsWith(first); at = dirname(at)) {
    const names = await readdir(at).catch(() => null)
    if (names === null || names.length > 0) return
    await rmdir(at)
  }
}

/** SHA-256 of a file, in hex. */
export async function sha256Of(path: string): Promise<string> {
  const hash = createHash('sha256')
  for await (const piece of createReadStream(path)) hash.update(piece as Uint8Array)
  return hash.digest('hex')
}
