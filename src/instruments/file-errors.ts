/**
 * Turns what the operating system says about a file into one line for the person at the bench.
 *
 * A wrong path is bad input; a full or broken disk is the machine's.
 */
import { StopError, type StopKind } from '../units/stop.js'

type Action = 'read' | 'write'

const SAYINGS: Readonly<Record<string, Readonly<Record<Action, readonly [string, string, StopKind]>>>> = {
  ENOENT: {
    read: ['there is no such file', 'Check the path.', 'input'],
    write: ['there is no such folder', 'Make the folder, or name another.', 'input'],
  },
  ENOTDIR: {
    read: ['a part of the path is no folder', 'Check the path.', 'input'],
    write: ['a part of the path is no folder', 'Name another path.', 'input'],
  },
  EISDIR: {
    read: ['this is a folder', 'Name the file in it.', 'input'],
    write: ['this is a folder', 'Name a file.', 'input'],
  },
  EACCES: {
    read: ['no permission to read the file', 'Give yourself the right to read it.', 'input'],
    write: ['no permission to write here', 'Give yourself the right to write, or name another folder.', 'input'],
  },
  ENAMETOOLONG: {
    read: ['the path is too long', 'Check the path.', 'input'],
    write: ['the path is too long', 'Name a shorter path.', 'input'],
  },
  EROFS: {
    read: ['the disk cannot be read', 'Check the disk.', 'instrument'],
    write: ['the disk is read-only', 'Name a folder on another disk.', 'instrument'],
  },
  ENOSPC: {
    read: ['the disk cannot be read', 'Check the disk.', 'instrument'],
    write: ['the disk is full', 'Free some space; finished takes are kept.', 'instrument'],
  },
  EDQUOT: {
    read: ['the disk cannot be read', 'Check the disk.', 'instrument'],
    write: ['the disk quota is used up', 'Free some space; finished takes are kept.', 'instrument'],
  },
}

const OTHERWISE = {
  read: ['the file cannot be read', 'Check the disk, or copy the file again.', 'instrument'],
  write: ['the file cannot be written', 'Check the disk, or name another folder.', 'instrument'],
} as const

/** @param error what a call of the file system threw; anything else is a fault in this program and comes back as it is. */
export function stopFromFileError(error: unknown, path: string, action: Action): unknown {
  if (error instanceof StopError || !(error instanceof Error) || !('code' in error)) return error
  const code = String(error.code)
  if (!('syscall' in error)) return error
  const known = SAYINGS[code]?.[action]
  const [what, remedy, kind] = known ?? OTHERWISE[action]
  return new StopError(known === undefined ? `${what}: ${code}` : what, path, remedy, kind, { cause: error })
}
