/**
 * Runs that are killed, stopped by Ctrl-C, or lose the room on their disk, at every step after the other, and each time go
 * on by the same command. Truth: the same vehicle verified in one go; its chance hangs on what is played where.
 */

import { execFileSync, spawn, spawnSync } from 'node:child_process'
import { closeSync, mkdirSync, mkdtempSync, openSync, readdirSync, rmSync, writeFileSync, writeSync } from 'node:fs'
import { hostname } from 'node:os'
import { join, resolve } from 'node:path'
import { createInterface } from 'node:readline'
import { afterAll, beforeAll, expect, test, vi } from 'vitest'
import { isLong } from '../long.js'
import { Campaign, figuresIn, filesIn, journalIn, keptIn, resultIn, runsIn, STEPS } from './campaign.js'

/** Two takes of 5.5 MB, and what is asked for beside them. */
const DISK = 'size=20m'

// Each takes half a minute of computing, on a busy computer some of them.
vi.setConfig({ testTimeout: 600_000 })

/** On a busy computer the blow may come late, when the run is past the step: then all of it begins anew. */
const AGAIN = { retry: 1 }

let campaign: Campaign
let whole: { code: number | null; figures: ReturnType<typeof figuresIn> }
let disk: string | null = null
let whyNot = ''
beforeAll(async () => {
  campaign = new Campaign()
  const home = campaign.jobFolder('whole')
  const { code } = await campaign.verify(home)
  whole = { code, figures: figuresIn(runsIn(home)[0]) }
  const folder = join(campaign.root, 'disk')
  mkdirSync(folder)
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', DISK, 'linetrue-test', folder], { stdio: 'pipe' })
    disk = folder
  } catch (error) {
    whyNot = `needs the right to mount a tmpfs: ${String((error as { stderr?: Buffer }).stderr).trim()}`
  }
})
afterAll(() => {
  if (disk !== null) execFileSync('umount', [disk])
  campaign?.close()
})

const KILLS: [step: string, kept: string[], says: RegExp][] = [
  ['after the first word of the journal', [], /^$/],
  ['during take 1', [], /Goes on with run-\d{8}-\d{6}: nothing in it was finished; 2 of 2 takes are left\./],
  ['after take 1', ['patch 1'], /kept the meter's reading; 2 of 2 takes are left\./],
  ['during take 2', ['patch 1'], /kept 1 of 2 takes \(patch 1\), and the meter's reading; 1 of 2 takes is left\./],
  [
    'before the result',
    ['patch 1', 'patch 2'],
    /kept 1 of 2 takes \(patch 1\), and the meter's reading; 1 of 2 takes is left\./,
  ],
]

test.concurrent(
  'a run that is killed at every step loses no finished take and ends like one in one go',
  AGAIN,
  async () => {
    const folder = campaign.jobFolder('killed')
    for (const [step, kept, says] of KILLS) {
      const { code, err } = await campaign.strike(folder, STEPS[step], (child) => child.kill('SIGKILL'))
      expect([step, code]).toEqual([step, null])
      expect(err.split('\n').find((line) => line.startsWith('Goes on')) ?? '').toMatch(says)
      expect(runsIn(folder)).toHaveLength(1)
      expect([step, keptIn(runsIn(folder)[0])]).toEqual([step, kept])
    }
    const [run] = runsIn(folder)
    // A kill in the middle of a take leaves its part; the next one, made whole, takes the part with it.
    expect(readdirSync(join(run, 'takes')).sort()).toEqual(['patch-1.wav', 'patch-2.wav'])

    const last = await campaign.verify(folder)
    expect(last.err).toContain(
      "kept 2 of 2 takes (patch 1 and patch 2), and the meter's reading; all takes are made, nothing is played.",
    )
    expect(last.err).not.toMatch(/probe|capturing/)
    expect(filesIn(run)).toEqual([
      'checksums.sha256',
      'job.yaml',
      'report.html',
      'result.json',
      'rig.yaml',
      'run.json',
      'summary.json',
      'takes/patch-1.wav',
      'takes/patch-2.wav',
    ])
    expect(last.code).toBe(whole.code)
    expect(figuresIn(run)).toEqual(whole.figures)
    expect(resultIn(run).rig.notes).toContainEqual(
      expect.stringMatching(
        /^Begun at .* UTC, gone on at .* UTC: kept 2 of 2 takes \(patch 1 and patch 2\), and the meter's reading\.$/,
      ),
    )
    // Once with the meter's reading alone, then with one take and with both.
    expect(journalIn(run).goneOnAt).toHaveLength(4)
  },
)

const BEGUN = ['job.yaml', 'rig.yaml', 'run.json']
const ALL_STOPS: [step: string, kept: string[] | null, files: string[]][] = [
  // Nothing was finished: nothing is left.
  ['after the first word of the journal', null, []],
  ['during take 1', [], BEGUN],
  ['after take 1', ['patch 1'], [...BEGUN, 'takes/patch-1.wav']],
  ['during take 2', ['patch 1'], [...BEGUN, 'takes/patch-1.wav']],
  ['before the result', ['patch 1', 'patch 2'], [...BEGUN, 'takes/patch-1.wav', 'takes/patch-2.wav']],
]

/** In their order; a short run takes one that keeps nothing and one that keeps a take. */
const STOPS = isLong ? ALL_STOPS : [ALL_STOPS[0], ALL_STOPS[3]]

test.concurrent(
  'a run that is stopped by Ctrl-C at every step goes on from there and ends like one in one go',
  AGAIN,
  async () => {
    const folder = campaign.jobFolder('stopped')
    for (const [step, kept, files] of STOPS) {
      const { code, err } = await campaign.strike(folder, STEPS[step], (child) => child.kill('SIGINT'))
      expect([step, code]).toEqual([step, 4])
      expect(err.trimEnd().split('\n').at(-1)).toMatch(/^linetrue: stopped by Ctrl-C \(this run\)/)
      const [run] = runsIn(folder)
      if (kept === null) expect(run).toBeUndefined()
      else {
        expect([step, keptIn(run)]).toEqual([step, kept])
        expect(filesIn(run).filter((name) => name !== '.reserve')).toEqual(files)
      }
    }
    expect((await campaign.verify(folder)).code).toBe(whole.code)
    expect(runsIn(folder)).toHaveLength(1)
    expect(figuresIn(runsIn(folder)[0])).toEqual(whole.figures)
  },
)

/** Until nothing more goes in, though the run writes beside it. */
const fill = (): void => {
  const filler = openSync(join(disk!, 'filler'), 'w')
  try {
    for (const piece = new Uint8Array(4096).fill(1); ; ) writeSync(filler, piece)
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'ENOSPC') throw error
  } finally {
    closeSync(filler)
  }
}
const empty = (): void => rmSync(join(disk!, 'filler'), { force: true })

const ALL_FILLS: [step: string, kept: string[] | null, says: RegExp][] = [
  ['after the first word of the journal', null, /the disk (is full|has room for)/],
  ['during take 1', [], /the disk is full \(.*patch-1\.wav\)\. Free some space; finished takes are kept\./],
  ['during take 2', ['patch 1'], /the disk is full \(.*patch-2\.wav\)\. Free some space; finished takes are kept\./],
  [
    'before the result',
    ['patch 1', 'patch 2'],
    /report\.html cannot be written: the disk is full .* Make room on the disk/,
  ],
]

const FILLS = isLong ? ALL_FILLS : ALL_FILLS.slice(2, 3)

test.concurrent(
  'a disk that fills up at every step costs no finished take, and the same command goes on',
  AGAIN,
  async (context) => {
    if (disk === null) {
      context.skip(whyNot)
      return
    }
    empty()
    const folder = join('disk', 'job')
    const home = campaign.jobFolder(folder)
    for (const [step, kept, says] of FILLS) {
      const { code, err } = await campaign.strike(home, STEPS[step], fill)
      expect([step, code, err]).toEqual([step, 4, err])
      const last = err.trimEnd().split('\n').at(-1)
      expect(last).toMatch(/^linetrue: /)
      expect(last).toMatch(says)
      const [run] = runsIn(home)
      if (kept !== null) expect([step, keptIn(run)]).toEqual([step, kept])
      // The same command with the disk still full: one line, nothing lost.
      const again = await campaign.verify(home)
      expect([step, again.code]).toEqual([step, 4])
      expect(again.err.trimEnd().split('\n').at(-1)).toMatch(/^linetrue: .*(the disk is full|the disk has room for)/)
      if (kept !== null) expect([step, keptIn(run)]).toEqual([step, kept])
      empty()
    }
    expect((await campaign.verify(home)).code).toBe(whole.code)
    expect(runsIn(home)).toHaveLength(1)
    expect(figuresIn(runsIn(home)[0])).toEqual(whole.figures)
  },
)

test('a disk without room for the run is said before anything plays, with the figures', async (context) => {
  if (disk === null) {
    context.skip(whyNot)
    return
  }
  const home = campaign.jobFolder('elsewhere')
  const out = join(disk, 'out')
  rmSync(join(disk, 'job'), { recursive: true, force: true })
  writeFileSync(join(disk, 'filler'), new Uint8Array(10e6).fill(1))
  const { code, err } = await campaign.verify(home, ['--out', out])
  empty()
  expect(code).toBe(4)
  // Closed form: 1 input, 44.1 kHz, 3 bytes, track of 40 s and 8 s beside it, twice, and 4 MB.
  expect(err).toMatch(
    /^linetrue: the disk has room for \d+ MB; the run, with its 2 takes of 1 input \(24 bits, 44\.1 kHz, 48 s each\) and the result, takes up to 17 MB \(.*\)\. Make room on the disk, then give the same command again\.$/m,
  )
  expect(err).not.toContain('probe')
})

test('of several commands that meet the lock of a dead one only one gets it', async () => {
  const folder = mkdtempSync(join(campaign.root, 'lock-'))
  const { pid } = spawnSync(process.execPath, ['-e', ''])
  writeFileSync(join(folder, '.lock'), JSON.stringify({ pid, host: hostname(), began: null }))
  const module = JSON.stringify(resolve('dist/archive/run-lock.js'))
  // All at one moment, when they are told to go; the one that has it holds it until it is told to end.
  const script = `
    import { once } from 'node:events'
    const { lockRun } = await import(${module})
    console.log('ready')
    await once(process.stdin, 'data')
    try {
      await lockRun(${JSON.stringify(folder)})
      console.log('has it')
    } catch (error) {
      console.log(error.what.replace(/[0-9]+/, 'N'))
    }
    process.stdin.resume()`
  const tries = Array.from({ length: 5 }, () => {
    const { stdin, stdout } = spawn(process.execPath, ['--input-type=module', '-e', script])
    return { stdin, lines: createInterface(stdout)[Symbol.asyncIterator]() }
  })
  const nextWords = (): Promise<string[]> => Promise.all(tries.map(async ({ lines }) => (await lines.next()).value))
  expect(await nextWords()).toEqual(Array(5).fill('ready'))
  for (const { stdin } of tries) stdin.write('go')
  const words = await nextWords()
  for (const { stdin } of tries) stdin.end()
  expect(words.sort()).toEqual([...Array(4).fill('another command works on this run: process N'), 'has it'])
})
