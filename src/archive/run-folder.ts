/**
 * A run's folder: job and rig as they were, takes, result and report. Nothing in it is ever overwritten.
 *
 * Files are written aside and renamed, so that a reader never meets half a file.
 */
import { createHash } from 'node:crypto'
import { createReadStream } from 'node:fs'
import { mkdir, readdir, rename, rm, rmdir, writeFile } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { StopError } from '../units/stop.js'

export const RESULT_FILE = 'result.json'
export const REPORT_FILE = 'report.html'

/** Name of a run's folder from its start, in local time: run-20260401-143005. */
export function runFolderName(startedAt: Date): string {
  const two = (value: number): string => String(value).padStart(2, '0')
  const day = `${startedAt.getFullYear()}${two(startedAt.getMonth() + 1)}${two(startedAt.getDate())}`
  return `run-${day}-${two(startedAt.getHours())}${two(startedAt.getMinutes())}${two(startedAt.getSeconds())}`
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
  if (names.length > 0) {
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

/** @throws StopError when the disk is full or the folder is gone */
export async function writeAside(folder: string, name: string, text: string): Promise<void> {
  const aside = join(folder, `.${name}.part`)
  try {
    await writeFile(aside, text)
    await rename(aside, join(folder, name))
  } catch (cause) {
    await rm(aside, { force: true }).catch(() => {})
    throw new StopError(
      `${name} cannot be written: ${(cause as Error).message}`,
      folder,
      'Make room on the disk, then give the same command again.',
      'instrument',
      { cause },
    )
  }
}

/** SHA-256 of a file, in hex. */
export async function sha256Of(path: string): Promise<string> {
  const hash = createHash('sha256')
  for await (const piece of createReadStream(path)) hash.update(piece as Uint8Array)
  return hash.digest('hex')
}
