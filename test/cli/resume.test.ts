/** Which run a command goes on with, and what of it counts. Truth: folders made here, with takes of a few samples. */
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import type { RunIdentity } from '../../src/archive/run-journal.js'
import { hashOf, type OpenRun, openRun, type RunRequest } from '../../src/cli/resume.js'
import { RunStore } from '../../src/cli/run-store.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import { plannedTakes } from '../../src/stages/planned-takes.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { StopError } from '../../src/units/stop.js'
import { JOB, RIG } from './two-takes.js'

const job = parseJob(JOB.replace(/^rig:.*\n/m, ''), 'job.yaml')
const rig = parseRig(RIG, 'rig.yaml')
const patches = planPatches(job, rig)
const plan = plannedTakes(job, patches)
const FORMAT = { sampleRateHz: 44_100, channelCount: 1, bits: 24 } as const

let folder: string
const open: OpenRun[] = []
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-resume-'))
})
afterEach(async () => {
  for (const run of open.splice(0)) await run.close()
  rmSync(folder, { recursive: true, force: true })
})

const OF: RunIdentity = { job: hashOf(JOB), rig: hashOf(RIG), calibration: null, faults: null, stages: 'outputs' }
const at = (minute: number): Date => new Date(Date.UTC(2026, 3, 1, 10, minute))
async function begin(more: Partial<RunRequest> = {}): Promise<OpenRun> {
  const request: RunRequest = {
    parent: folder,
    out: undefined,
    isFresh: false,
    of: OF,
    program: 'linetrue 1',
    patches,
    plan,
    jobText: JOB,
    rigText: RIG,
    now: at(0),
    ...more,
  }
  const run = await openRun(request)
  open.push(run)
  return run
}

const storeOf = (run: OpenRun): RunStore => new RunStore(run.journal, 24, async () => false)

/** A finished take of ten samples. */
async function make(run: OpenRun, index: number): Promise<string> {
  const [store, take] = [storeOf(run), plan[index]]
  const name = store.freeName(take)
  const sink = await store.open(name, FORMAT, take, () => {})
  sink.append([new Float32Array(10).fill(0.25 * (index + 1))])
  await sink.finish([])
  await store.settle(take, name)
  return join(run.journal.folder, name)
}

const messageOf = (running: Promise<unknown>): Promise<string> =>
  running.then(
    () => Promise.reject(new Error('no stop was thrown')),
    (error) => (error instanceof StopError ? error.message : Promise.reject(error)),
  )
const namesOf = ({ left }: OpenRun): string[] => left.map(({ patch }) => patch.name)

test('a run that was left goes on with what was finished, and takes only what is left', async () => {
  const first = await begin()
  await make(first, 0)
  await first.close()
  const second = await begin({ now: at(30) })
  expect(second.journal.folder).toBe(first.journal.folder)
  expect(second.says).toEqual([
    `Goes on with ${basename(first.journal.folder)}: kept 1 of 2 takes (patch 1); 1 of 2 takes is left. For a new run add --fresh.`,
  ])
  expect(namesOf(second)).toEqual(['patch 2'])
  expect(second.startedAt).toEqual(at(0))
  expect(second.journal.state.notes).toEqual([
    'Begun at 2026-04-01 10:00 UTC, gone on at 2026-04-01 10:30 UTC: kept 1 of 2 takes (patch 1).',
  ])
  const take = await storeOf(second).earlier(plan[0])
  expect(take).toMatchObject({ patchName: 'patch 1', setting: 'reference', source: 'takes/patch-1.wav', faults: [] })
  expect([...take!.audio.channels[0]]).toEqual(Array(10).fill(0.25))
})

test('a run in which nothing was finished leaves nothing behind', async () => {
  await (await begin()).close()
  expect(readdirSync(folder)).toEqual([])
})

describe('a kept take is made again when', () => {
  const cases: [what: string, spoil: (path: string) => void, says: RegExp][] = [
    [
      'a byte of it has changed',
      (path) => {
        const bytes = readFileSync(path)
        bytes[bytes.length - 1] ^= 1
        writeFileSync(path, bytes)
      },
      /^takes\/patch-1\.wav has changed since it was made \(its checksum is another one\): it is taken again\.$/,
    ],
    ['it is gone', (path) => rmSync(path), /^takes\/patch-1\.wav is gone: it is taken again\.$/],
    [
      'it is no WAV file any more',
      (path) => writeFileSync(path, 'x'),
      /^takes\/patch-1\.wav cannot be used \(.*\): it is taken again\.$/,
    ],
  ]
  test.each(cases)('%s', async (_, spoil, says) => {
    const first = await begin()
    const path = await make(first, 0)
    await storeOf(first).sealed('takes/patch-1.wav', await storeOf(first).sha256('takes/patch-1.wav'))
    await make(first, 1)
    await first.close()
    spoil(path)
    const second = await begin({ now: at(30) })
    expect(second.says[0]).toContain('kept 1 of 2 takes (patch 2); 1 of 2 takes is left.')
    expect(second.says[1]).toMatch(says)
    expect(second.journal.state.notes[0]).toMatch(says)
    expect(namesOf(second)).toEqual(['patch 1'])
    // What is there stays as it is: the new one gets a name of its own.
    const again = await make(second, 0)
    expect(basename(again)).toBe(existsSync(path) && again !== path ? 'patch-1.2.wav' : 'patch-1.wav')
  })

  test('it was cut short before anybody had read its checksum', async () => {
    const first = await begin()
    const path = await make(first, 0)
    await first.close()
    writeFileSync(path, readFileSync(path).subarray(0, -3))
    const second = await begin({ now: at(30) })
    expect(second.says[1]).toBe('takes/patch-1.wav is not what was captured: it is taken again.')
    expect(namesOf(second)).toEqual(['patch 1', 'patch 2'])
  })

  test('there is no track in it', async () => {
    const first = await begin()
    await make(first, 0)
    await storeOf(first).refuse('takes/patch-1.wav', 'no track was found')
    await first.close()
    const second = await begin({ now: at(30) })
    expect(second.says[1]).toBe('takes/patch-1.wav could not be measured: it is taken again.')
    await make(second, 0)
    await second.close()
    expect((await begin({ now: at(40) })).says).toHaveLength(1)
  })
})

test('a kill between the journal and the file leaves a part, which is said and not used', async () => {
  const first = await begin()
  const path = await make(first, 0)
  renameSync(path, `${path}.part`)
  await first.close()
  const second = await begin({ now: at(30) })
  expect(second.says).toEqual([
    expect.stringMatching(/nothing in it was finished; 2 of 2 takes are left/),
    'takes/patch-1.wav.part is the first 0.0 s of a take that did not end: it is not used, and goes when that take has been made.',
  ])
  // Nothing of the earlier day is in it: it begins now.
  expect(second.startedAt).toEqual(at(30))
  await make(second, 0)
  expect(readdirSync(join(second.journal.folder, 'takes'))).toEqual(['patch-1.wav'])
})

describe('it is another run, and the old one is left alone, when', () => {
  test.each([
    ['the job file', { of: { ...OF, job: hashOf('x') } }, 'the job file changed since'],
    ['the rig file', { of: { ...OF, rig: hashOf('x') } }, 'the rig file changed since'],
    ['calibration', { of: { ...OF, calibration: hashOf('x') } }, "the rig's calibration changed since"],
    ['faults file', { of: { ...OF, faults: hashOf('x') } }, "the rig's faults file changed since"],
    ['program', { program: 'linetrue 2' }, 'it was begun by linetrue 1, this is linetrue 2'],
  ])('%s is another one', async (_, more, says) => {
    const first = await begin()
    await make(first, 0)
    await first.close()
    const before = readFileSync(join(first.journal.folder, 'run.json'), 'utf8')
    const second = await begin({ now: at(30), ...more })
    expect(second.journal.folder).not.toBe(first.journal.folder)
    expect(second.says).toEqual([
      `${basename(first.journal.folder)} was not finished, but ${says}: it is left as it is, this is another run.`,
    ])
    expect(namesOf(second)).toEqual(['patch 1', 'patch 2'])
    expect(readFileSync(join(first.journal.folder, 'run.json'), 'utf8')).toBe(before)
    await second.close()
    const named = begin({ out: first.journal.folder, now: at(30), ...more })
    expect(await messageOf(named)).toBe(
      `this folder holds another run that was not finished: ${says} (${first.journal.folder}). Name a new folder with --out; what is in this one is kept as it is.`,
    )
  })

  test('--fresh asks for one', async () => {
    const first = await begin()
    await make(first, 0)
    await first.close()
    const second = await begin({ isFresh: true })
    // The same second: the name gets a number.
    expect(second.journal.folder).toBe(`${first.journal.folder}-2`)
    expect(second.says).toEqual([])
    const named = begin({ out: first.journal.folder, isFresh: true })
    expect(await messageOf(named)).toContain('this folder holds a run that was not finished (')
  })

  test('its journal cannot be read', async () => {
    const first = await begin()
    await make(first, 0)
    await first.close()
    writeFileSync(join(first.journal.folder, 'run.json'), '{')
    const second = await begin({ now: at(30) })
    expect(second.says).toEqual([
      `${basename(first.journal.folder)} was not finished, and its run.json cannot be read: it is left as it is.`,
    ])
    expect(await messageOf(begin({ out: first.journal.folder }))).toContain('and its run.json cannot be read (')
  })

  test('the newest run is finished', async () => {
    const old = await begin()
    await make(old, 0)
    await old.close()
    const finished = await begin({ isFresh: true, now: at(10) })
    await make(finished, 0)
    writeFileSync(join(finished.journal.folder, 'result.json'), '{}')
    await finished.close()
    const next = await begin({ now: at(20) })
    expect(namesOf(next)).toEqual(['patch 1', 'patch 2'])
    expect(next.says).toEqual([])
    expect(await messageOf(begin({ out: finished.journal.folder }))).toContain('this folder already holds a result')
  })
})

test('with --out the run in that folder goes on, and no other', async () => {
  const beside = await begin()
  await make(beside, 0)
  await beside.close()
  const out = join(folder, 'mine')
  const first = await begin({ out, now: at(5) })
  await make(first, 1)
  await first.close()
  const second = await begin({ out, now: at(30) })
  expect(second.journal.folder).toBe(out)
  expect(namesOf(second)).toEqual(['patch 1'])
})

test('a kill before the journal leaves a folder that the same --out may use', async () => {
  const out = join(folder, 'mine')
  mkdirSync(join(out, 'takes'), { recursive: true })
  writeFileSync(join(out, '.run.json.part'), '{')
  expect(namesOf(await begin({ out }))).toEqual(['patch 1', 'patch 2'])
  const foreign = join(folder, 'foreign')
  mkdirSync(join(foreign, 'takes'), { recursive: true })
  writeFileSync(join(foreign, 'takes', 'a.wav'), '')
  expect(await messageOf(begin({ out: foreign }))).toContain('this folder is not empty')
})

test('two commands at once do not work on one run', async () => {
  const first = await begin()
  await make(first, 0)
  expect(await messageOf(begin({ now: at(1) }))).toBe(
    `another command works on this run: process ${process.pid} (${first.journal.folder}). Wait until it has ended, or name another folder with --out.`,
  )
})

describe('a clock that cannot be right is said in the result', () => {
  test('when it stands before 2024', async () => {
    const run = await begin({ now: new Date(Date.UTC(1970, 0, 1, 12)) })
    expect(run.journal.state.notes).toEqual([
      'The clock of this computer says 1970-01-01 12:00 UTC, which cannot be: dates in this result are wrong.',
    ])
    await make(run, 0)
    await run.close()
    // Though a finished run of a later day is there.
    const later = join(folder, 'run-20260401-100000')
    mkdirSync(later)
    writeFileSync(join(later, 'result.json'), '{}')
    const again = await begin({ now: new Date(Date.UTC(1970, 0, 1, 13)) })
    expect(again.journal.folder).toBe(run.journal.folder)
  })

  test('when it stands before the newest run of the folder', async () => {
    const first = await begin({ now: at(30) })
    await make(first, 0)
    await first.close()
    const name = basename(first.journal.folder)
    const says = `The clock of this computer says 2026-04-01 10:00 UTC, before the start of ${name}: dates in one of them are wrong.`
    expect((await begin({ now: at(0), isFresh: true })).journal.state.notes).toEqual([says])
    expect((await begin({ now: at(0) })).journal.state.notes).toContain(says)
  })
})
