import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { checkRoom, roomFor } from '../../src/archive/disk-room.js'
import { makeNewRunFolder, makeRunFolder, runFolderName, runNamesNewestFirst } from '../../src/archive/run-folder.js'
import { writeAside } from '../../src/archive/safe-write.js'

let folder: string
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-folder-'))
})
afterEach(() => rmSync(folder, { recursive: true, force: true }))
const AT = new Date(2026, 3, 1, 14, 30, 5)

test('runs of one second get folders of their own', async () => {
  const made = []
  for (let n = 0; n < 3; n++) made.push(await makeNewRunFolder(folder, AT))
  expect(made.map(({ path }) => basename(path))).toEqual([
    'run-20260401-143005',
    'run-20260401-143005-2',
    'run-20260401-143005-3',
  ])
  for (const one of made) await one.dropIfEmpty()
  expect(readdirSync(folder)).toEqual([])
})

test('names of runs are told from others, and put in order with the newest first', () => {
  const names = [
    'run-20260401-143005',
    'run-20260401-143005-10',
    'run-20260401-143005-2',
    'run-20251231-235959',
    'run-old',
  ]
  expect(runNamesNewestFirst([...names, 'takes'])).toEqual([
    'run-20260401-143005-10',
    'run-20260401-143005-2',
    'run-20260401-143005',
    'run-20251231-235959',
  ])
  expect(runNamesNewestFirst([runFolderName(AT)])).toEqual([runFolderName(AT)])
})

test('a folder that cannot be made is said with what to do', async () => {
  const file = join(folder, 'file')
  writeFileSync(file, '')
  await expect(makeNewRunFolder(file, AT)).rejects.toThrow('the folder for this run cannot be made')
  await expect(makeRunFolder(file)).rejects.toThrow('this is a file, not a folder')
})

test('a file that is written aside takes the place of the old one, and a failure leaves the old one', async () => {
  await writeAside(folder, 'a.json', 'one')
  await writeAside(folder, 'a.json', 'two')
  expect(readFileSync(join(folder, 'a.json'), 'utf8')).toBe('two')
  // A folder in the way of the part makes the writing fail.
  mkdirSync(join(folder, '.a.json.part'))
  await expect(writeAside(folder, 'a.json', 'three')).rejects.toThrow(
    /^a\.json cannot be written: .* Make room on the disk/,
  )
  expect(readFileSync(join(folder, 'a.json'), 'utf8')).toBe('two')
})

test('the room that a run needs is told with its figures', async () => {
  const need = { takeCount: 5, inputCount: 32, sampleRateHz: 192_000, bits: 32, trackS: 40 }
  // Closed form: 32 inputs, 192 kHz, 4 bytes, 40 s and 8 s beside, five times, and 4 MB.
  expect(roomFor(need)).toBe(5 * 32 * 192_000 * 4 * 48 + 4e6)
  await expect(checkRoom(folder, { ...need, takeCount: 1e9 }, ['takes/a.wav.part'])).rejects.toThrow(
    /^the disk has room for \d+ MB; the run, with its 1000000000 takes of 32 inputs \(32 bits, 192 kHz, 48 s each\) and the result, takes up to \d+ MB \(.*\)\. Make room on the disk, then give the same command again\. takes\/a\.wav\.part may go: no finished take\.$/,
  )
  await checkRoom(folder, { ...need, takeCount: 0 })
  // A folder that is not there has no room to tell: what writes to it says so.
  await checkRoom(join(folder, 'none'), need)
})
