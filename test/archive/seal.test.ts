/** Seals of runs, held against sha256sum of GNU coreutils. */
import { spawnSync } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { checkSeal, readSeal, SEAL_FILE, sealRun } from '../../src/archive/seal.js'

let folder: string
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-seal-'))
})
afterEach(() => rmSync(folder, { recursive: true, force: true }))

const NAMES = [
  'a.txt',
  'takes/two words.wav',
  'takes/né 🚗 \u202eم.wav',
  'back\\slash',
  'line\nbreak',
  `${'x'.repeat(200)}`,
]
async function sealed(): Promise<void> {
  mkdirSync(join(folder, 'takes'))
  for (const name of NAMES) writeFileSync(join(folder, name), `text of ${name}`)
  await sealRun(folder)
}
const troubles = async (): Promise<unknown> => checkSeal(folder, (await readSeal(folder))!)

test('a seal holds every file, whatever its name, and sha256sum finds the same', async (context) => {
  await sealed()
  expect([...(await readSeal(folder))!.keys()].sort()).toEqual([...NAMES].sort())
  expect(await troubles()).toEqual({ changed: [], missing: [], additional: [] })
  const checked = spawnSync('sha256sum', ['--check', '--strict', '--quiet', SEAL_FILE], {
    cwd: folder,
    encoding: 'utf8',
  })
  if (checked.error) context.skip('needs sha256sum of GNU coreutils')
  expect(checked).toMatchObject({ status: 0, stdout: '', stderr: '' })
})

test('a changed, a missing and an additional file are each told, and so is a link to the same bytes', async () => {
  await sealed()
  writeFileSync(join(folder, 'a.txt'), 'text of b.txt')
  rmSync(join(folder, 'line\nbreak'))
  writeFileSync(join(folder, 'takes', 'new.wav'), '')
  expect(await troubles()).toEqual({ changed: ['a.txt'], missing: ['line\nbreak'], additional: ['takes/new.wav'] })
  writeFileSync(join(folder, '..', 'linetrue-seal-elsewhere'), 'text of a.txt')
  rmSync(join(folder, 'a.txt'))
  symlinkSync('../linetrue-seal-elsewhere', join(folder, 'a.txt'))
  expect(await troubles()).toMatchObject({ changed: ['a.txt'] })
  rmSync(join(folder, '..', 'linetrue-seal-elsewhere'))
})

test('a folder without a seal has none, and one that is broken covers nothing', async () => {
  expect(await readSeal(folder)).toBeNull()
  writeFileSync(join(folder, SEAL_FILE), 'nonsense\n')
  expect(await readSeal(folder)).toEqual(new Map())
})
