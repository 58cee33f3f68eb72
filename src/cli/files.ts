/** Finds and reads the files that a command names. */
import { readFile, stat } from 'node:fs/promises'
import { dirname, join, relative, resolve } from 'node:path'
import type { Job } from '../job/job.js'
import { parseJob } from '../job/parse.js'
import { parseRig } from '../rig/parse.js'
import type { Rig } from '../rig/rig.js'
import { StopError } from '../units/stop.js'

export interface Loaded<T> {
  readonly value: T
  readonly text: string
  /** As a person would type it from here. */
  readonly path: string
}

/** A path as it is shortest from the working folder. */
export const shown = (path: string): string => {
  const near = relative(process.cwd(), path)
  return near !== '' && !near.startsWith('..') ? near : path
}

/** @throws StopError when the file is missing, is a folder without one, or holds something else */
export async function loadJob(given: string): Promise<Loaded<Job>> {
  const isFolder = await stat(given).then(
    (info) => info.isDirectory(),
    () => false,
  )
  const path = isFolder ? join(given, 'job.yaml') : given
  const text = await readText(
    path,
    'job file',
    isFolder ? 'There is no job.yaml in this folder: name the job file.' : 'Check the path of the job file.',
  )
  return { value: parseJob(text, shown(path)), text, path }
}

/**
 * @param given the rig that the command names, or undefined for the one that the job names
 * @throws StopError when there is none, or it cannot be read
 */
export async function loadRig(given: string | undefined, job: Loaded<Job>): Promise<Loaded<Rig>> {
  const named = job.value.rigPath
  if (given === undefined && named === null) {
    throw new StopError('no rig is named', shown(job.path), 'Add --rig FILE, or a line "rig: FILE" to the job file.')
  }
  const path = given ?? resolve(dirname(job.path), named!)
  const text = await readText(
    path,
    'rig file',
    given ? 'Check the path given to --rig.' : `The job file names it: check "rig" in ${shown(job.path)}.`,
  )
  return { value: parseRig(text, shown(path)), text, path }
}

/** Text of a file that another file or the command names. */
export async function readText(path: string, what: string, remedy: string): Promise<string> {
  try {
    return await readFile(path, 'utf8')
  } catch (cause) {
    const code = (cause as NodeJS.ErrnoException).code
    const says: Record<string, string> = {
      ENOENT: `${what} not found`,
      EISDIR: `this is a folder, and the ${what} is wanted`,
      EACCES: `${what} may not be read`,
    }
    throw new StopError(says[code ?? ''] ?? `${what} cannot be read (${code})`, shown(path), remedy, 'input', { cause })
  }
}
