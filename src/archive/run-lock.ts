/**
 * One command at a time on one run: a file that names the process. A lock whose process is gone is taken over.
 *
 * A process number is given out again after a restart. Where the system tells when a process began, that is held
 * against the lock too.
 */
import { readFile, rm, stat, writeFile } from 'node:fs/promises'
import { hostname } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { z } from 'zod'
import { StopError } from '../units/stop.js'
import { isFullDisk } from './safe-write.js'

const LOCK_FILE = '.lock'
/** A lock that nobody can read is being written just now, or was left by a kill in that moment. */
const HALF_WRITTEN_S_MAX = 2
const TAKE_OVER_S = 0.05

const Holder = z.object({ pid: z.number().int().positive(), host: z.string(), began: z.string().nullable() })
type Holder = z.infer<typeof Holder>

export interface RunLock {
  /** Safe to call twice. */
  release(): Promise<void>
}

/** @throws StopError when another command works on this run, or the lock cannot be written */
export async function lockRun(folder: string): Promise<RunLock> {
  const path = join(folder, LOCK_FILE)
  const mine = JSON.stringify({
    pid: process.pid,
    host: hostname(),
    began: await beganOf(process.pid),
  } satisfies Holder)
  for (;;) {
    if (await tryWrite(path, mine)) break
    const text = await readFile(path, 'utf8').catch(() => null)
    if (text === null) continue
    await throwIfHeld(path, folder, text)
    // Its process is gone. Two commands may come here at once: the file tells which of them was the last to take it.
    if ((await readFile(path, 'utf8').catch(() => null)) !== text) continue
    await rm(path, { force: true })
    if (!(await tryWrite(path, mine))) continue
    await sleep(1000 * TAKE_OVER_S)
    if ((await readFile(path, 'utf8').catch(() => '')) === mine) break
  }
  return {
    release: async () => {
      if ((await readFile(path, 'utf8').catch(() => '')) === mine) await rm(path, { force: true })
    },
  }
}

async function tryWrite(path: string, text: string): Promise<boolean> {
  try {
    await writeFile(path, text, { flag: 'wx' })
    return true
  } catch (cause) {
    const { code, message } = cause as NodeJS.ErrnoException
    if (code === 'EEXIST') return false
    const isFull = isFullDisk(cause)
    if (isFull) await rm(path, { force: true })
    throw new StopError(
      isFull ? 'the disk is full' : `the folder of this run cannot be written: ${message}`,
      path,
      isFull ? 'Make room on the disk, then give the same command again.' : 'Give yourself the right to write there.',
      'instrument',
      { cause },
    )
  }
}

async function throwIfHeld(path: string, folder: string, text: string): Promise<void> {
  const holder = holderOf(text)
  if (holder === null) {
    const writtenMs = await stat(path).then(
      ({ mtimeMs }) => mtimeMs,
      () => 0,
    )
    if (Math.abs(Date.now() - writtenMs) < 1000 * HALF_WRITTEN_S_MAX) {
      await sleep(1000 * TAKE_OVER_S)
      const again = await readFile(path, 'utf8').catch(() => '')
      if (holderOf(again) !== null) await throwIfHeld(path, folder, again)
    }
    return
  }
  const isElsewhere = holder.host !== hostname()
  if (!isElsewhere && !(await isAlive(holder))) return
  throw new StopError(
    `another command works on this run: process ${holder.pid}${isElsewhere ? ` on ${holder.host}` : ''}`,
    folder,
    isElsewhere
      ? `Wait until it has ended; if that computer no longer runs it, delete ${path}.`
      : 'Wait until it has ended, or name another folder with --out.',
    'instrument',
  )
}

function holderOf(text: string): Holder | null {
  try {
    return Holder.parse(JSON.parse(text))
  } catch {
    return null
  }
}

async function isAlive({ pid, began }: Holder): Promise<boolean> {
  try {
    process.kill(pid, 0)
  } catch (error) {
    // Not allowed to send it anything: then it is there.
    return (error as NodeJS.ErrnoException).code === 'EPERM'
  }
  return began === null || began === (await beganOf(pid))
}

/** Which start of the system, and when in it the process began; null where the system does not tell. */
async function beganOf(pid: number): Promise<string | null> {
  try {
    const boot = (await readFile('/proc/sys/kernel/random/boot_id', 'utf8')).trim()
    const text = await readFile(`/proc/${pid}/stat`, 'utf8')
    // proc(5): the name, field 2, stands in brackets and may hold anything; the start time is field 22.
    return `${boot} ${text.slice(text.lastIndexOf(')') + 2).split(' ')[19]}`
  } catch {
    return null
  }
}
