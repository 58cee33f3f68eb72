import { execFileSync } from 'node:child_process'
import {
  closeSync,
  existsSync,
  mkdtempSync,
  openSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
  writeSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { JOURNAL_VERSION, RunJournal, type RunState, type TakeEntry } from '../../src/archive/run-journal.js'
import { StopError } from '../../src/units/stop.js'

let folder: string
let isMounted = false
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-journal-'))
})
afterEach(() => {
  if (isMounted) execFileSync('umount', [folder])
  isMounted = false
  rmSync(folder, { recursive: true, force: true })
})

const hash = 'a'.repeat(64)
const STATE: RunState = {
  format: 'linetrue-run',
  version: JOURNAL_VERSION,
  program: 'linetrue 1',
  startedAt: '2026-04-01T10:00:00.000Z',
  goneOnAt: [],
  of: { job: hash, rig: hash, calibration: null, faults: null, stages: 'outputs' },
  patches: [{ name: 'patch 1', leads: [{ inputNumber: 1, outputNumber: 5 }] }],
  notes: [],
  instruments: null,
  meter: null,
  takes: [],
  settings: [],
  stages: [],
}
const TAKE: TakeEntry = {
  patch: 'patch 1',
  setting: 'reference',
  file: 'takes/patch-1.wav',
  sampleRateHz: 48_000,
  inputCount: 1,
  frameCount: 10,
  captureBits: 24,
  faults: [],
  endedAt: '2026-04-01T10:01:00.000Z',
  sha256: null,
  state: 'kept',
  why: '',
}

test('what is noted is on disk at once, and comes back as it was', async () => {
  const journal = await RunJournal.begin(folder, STATE)
  expect(journal.isEmpty).toBe(true)
  await journal.noteTake(TAKE)
  await journal.changeTake(TAKE.file, { sha256: hash })
  const again = await RunJournal.read(folder)
  expect(again?.state).toEqual({ ...STATE, takes: [{ ...TAKE, sha256: hash }] })
  expect(again?.isEmpty).toBe(false)
  await journal.remove()
  expect(readdirSync(folder)).toEqual([])
})

test.each([
  ['nothing', null],
  ['half a file', '{"format":'],
  ['another format', JSON.stringify({ ...STATE, format: 'x' })],
  ['a later version', JSON.stringify({ ...STATE, version: 99 })],
  ['a field that nobody knows', JSON.stringify({ ...STATE, more: 1 })],
])('%s is no journal', async (_, text) => {
  if (text !== null) writeFileSync(join(folder, 'run.json'), text)
  expect(await RunJournal.read(folder)).toBeNull()
})

test('a disk that is full still takes the next word, and beyond that keeps the last one', async (context) => {
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=1m', 'linetrue-test', folder], { stdio: 'pipe' })
    isMounted = true
  } catch (error) {
    context.skip(`needs the right to mount a tmpfs: ${String((error as { stderr?: Buffer }).stderr).trim()}`)
    return
  }
  const journal = await RunJournal.begin(folder, STATE)
  expect(existsSync(join(folder, '.reserve'))).toBe(true)
  fill()
  await journal.noteTake(TAKE)
  expect((await RunJournal.read(folder))?.state.takes).toEqual([TAKE])
  fill()
  const before = readFileSync(join(folder, 'run.json'), 'utf8')
  const error = await journal.note({ notes: ['x'.repeat(10_000)] }).catch((reason: unknown) => reason)
  expect(error).toBeInstanceOf(StopError)
  expect((error as StopError).message).toBe(
    `run.json cannot be written: the disk is full (${folder}). Make room on the disk, then give the same command again.`,
  )
  expect(readFileSync(join(folder, 'run.json'), 'utf8')).toBe(before)
  expect(journal.state.notes).toEqual([])
})

/** Until nothing more goes in. */
function fill(): void {
  const filler = openSync(join(folder, 'filler'), 'a')
  try {
    for (const piece = new Uint8Array(4096); ; ) writeSync(filler, piece)
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'ENOSPC') throw error
  } finally {
    closeSync(filler)
  }
}
