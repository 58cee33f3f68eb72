/**
 * Writing so that a kill, a power cut or a full disk leaves either the old file or the new one, never half of one.
 */
import { open, rename, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { StopError } from '../units/stop.js'

/** @throws StopError when the disk is full or the folder is gone; the old file, if there was one, is as it was */
export async function writeAside(folder: string, name: string, content: string | Uint8Array): Promise<void> {
  const aside = join(folder, `.${name}.part`)
  try {
    await writeFile(aside, content, { flush: true })
    await rename(aside, join(folder, name))
    await syncFolder(folder)
  } catch (cause) {
    await rm(aside, { force: true }).catch(() => {})
    const { code, message } = cause as NodeJS.ErrnoException
    throw new StopError(
      `${name} cannot be written: ${SAYINGS[code ?? ''] ?? message}`,
      folder,
      'Make room on the disk, then give the same command again.',
      'instrument',
      { cause },
    )
  }
}

const SAYINGS: Readonly<Record<string, string>> = {
  ENOSPC: 'the disk is full',
  EDQUOT: 'the disk quota is used up',
  EROFS: 'the disk is read-only',
}

/** Whether what was thrown comes from a disk without room. */
export function isFullDisk(error: unknown): boolean {
  const cause = error instanceof StopError ? error.cause : error
  return ['ENOSPC', 'EDQUOT'].includes((cause as NodeJS.ErrnoException | undefined)?.code ?? '')
}

/** Makes a rename outlast a power cut; where the system has no such call, the rename has to do. */
export async function syncFolder(folder: string): Promise<void> {
  const handle = await open(folder, 'r').catch(() => null)
  await handle?.sync().catch(() => {})
  await handle?.close()
}
