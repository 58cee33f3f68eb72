/**
 * A run's folder: job and rig as they were, takes, result and report. Nothing in it is ever overwritten.
 *
 * Files are written aside and renamed, so that a reader never meets half a file.
 */
import { createHash } from 'node:crypto'
import { createReadStream } from 'node:fs'
import { access, mkdir, readdir, rename, rm, rmdir, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { StopError } from '../units/stop.js'

export const RESULT_FILE = 'result.json'
export const REPORT_FILE = 'report.html'

/** Name of a run's folder from its start, in local time: run-20260401-143005. */
export function runFolderName(startedAt: Date): string {
  const two = (value: number): string => String(value).padStart(2, '0')
  const day = `${startedAt.getFullYear()}${two(startedAt.getMonth() + 1)}${two(startedAt.getDate())}`
  return `run-${day}-${two(startedAt.getHours())}${two(startedAt.getMinutes())}${two(startedAt.getSeconds())}`
}

/**
 * Makes the folder, with room for takes.
 * @throws StopError when it holds a result already, or cannot be made
 */
export async function makeRunFolder(folder: string): Promise<void> {
  if (await exists(join(folder, RESULT_FILE))) {
    throw new StopError(
      'this folder already holds a result',
      folder,
      'Name another folder with --out; earlier runs are kept as they are.',
    )
  }
  try {
    await mkdir(join(folder, 'takes'), { recursive: true })
  } catch (cause) {
    throw new StopError(
      'the folder for this run cannot be made',
      folder,
      'Name another with --out, on a disk that can be written.',
      'instrument',
      { cause },
    )
  }
}

/** Takes away a run's folder that nothing was put into. */
export async function dropEmptyRunFolder(folder: string): Promise<void> {
  for (const path of [join(folder, 'takes'), folder]) {
    const names = await readdir(path).catch(() => null)
    if (names?.length === 0) await rmdir(path)
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

const exists = (path: string): Promise<boolean> =>
  access(path).then(
    () => true,
    () => false,
  )
