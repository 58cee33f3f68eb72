import { spawn } from 'node:child_process'
import { existsSync, mkdtempSync, readFileSync, rmSync, utimesSync, writeFileSync } from 'node:fs'
import { hostname, tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { lockRun } from '../../src/archive/run-lock.js'

let folder: string
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-lock-'))
})
afterEach(() => rmSync(folder, { recursive: true, force: true }))
const path = (): string => join(folder, '.lock')
const write = (pid: number, host = hostname(), began: string | null = null): void =>
  writeFileSync(path(), JSON.stringify({ pid, host, began }))

/** The number of a process that has ended. */
const deadPid = (): Promise<number> =>
  new Promise((done) => {
    const child = spawn(process.execPath, ['-e', ''])
    child.on('close', () => done(child.pid!))
  })

test('a lock keeps others out until it is released', async () => {
  const lock = await lockRun(folder)
  await expect(lockRun(folder)).rejects.toThrow(`another command works on this run: process ${process.pid} (${folder})`)
  await lock.release()
  expect(existsSync(path())).toBe(false)
  await (await lockRun(folder)).release()
})

test('a lock of a process that is gone is taken over', async () => {
  write(await deadPid())
  const lock = await lockRun(folder)
  expect(JSON.parse(readFileSync(path(), 'utf8'))).toMatchObject({ pid: process.pid })
  await lock.release()
})

test.skipIf(!existsSync('/proc/self/stat'))(
  'a lock whose number belongs to another process now is taken over',
  async () => {
    write(process.pid, hostname(), 'an earlier start of the system 1')
    await (await lockRun(folder)).release()
  },
)

test('a lock of another computer is left, with what to do', async () => {
  write(1, 'bench-two')
  await expect(lockRun(folder)).rejects.toThrow(
    `another command works on this run: process 1 on bench-two (${folder}). Wait until it has ended; if that computer no longer runs it, delete ${path()}.`,
  )
})

test('a lock that a kill left half written is taken over', async () => {
  writeFileSync(path(), '{"pi')
  utimesSync(path(), new Date(1e12), new Date(1e12))
  await (await lockRun(folder)).release()
})

test('a release leaves the lock of somebody else', async () => {
  const lock = await lockRun(folder)
  write(1, 'bench-two')
  await lock.release()
  expect(existsSync(path())).toBe(true)
})
