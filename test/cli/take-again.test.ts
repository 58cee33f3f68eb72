/**
 * Takes that were not whole, through a bench whose capture has faults as they are planted here: what is taken again, what
 * is kept, and what is on disk. Truth: the plan of faults.
 */

import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { JOURNAL_VERSION, RunJournal } from '../../src/archive/run-journal.js'
import { RunStore } from '../../src/cli/run-store.js'
import { isToBeTakenAgain } from '../../src/cli/take-again.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Bench, CaptureFault } from '../../src/rig/roles.js'
import { benchTakes, NO_WITNESS } from '../../src/stages/bench-takes.js'
import type { Take } from '../../src/stages/verify.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { StopError } from '../../src/units/stop.js'
import { STILL } from '../kit/still.js'
import { JOB, RIG } from './two-takes.js'

const GO_ON = new AbortController().signal
const job = parseJob(JOB.replace(/^rig:.*\n/m, ''), 'job.yaml')
const rig = parseRig(RIG.replace(/^meter:.*\n/m, ''), 'rig.yaml')
const NONE = '0'.repeat(64)

let folder: string
let said: string[]
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-again-'))
  mkdirSync(join(folder, 'takes'))
  said = []
})
afterEach(() => rmSync(folder, { recursive: true }))

const begin = (): Promise<RunJournal> =>
  RunJournal.begin(folder, {
    format: 'linetrue-run',
    version: JOURNAL_VERSION,
    program: 'test',
    startedAt: '2026-04-01T10:00:00Z',
    goneOnAt: [],
    of: { job: NONE, rig: NONE, calibration: null, faults: null, stages: 'outputs' },
    patches: [],
    notes: [],
    instruments: null,
    meter: null,
    takes: [],
    settings: [],
    stages: [],
  })

/** What happens to each take in turn; a take that fails at once never hears the end of its sound. */
interface Planned {
  readonly faults?: readonly CaptureFault['kind'][]
  readonly failsAtOnce?: boolean
}

function bench(plan: readonly Planned[]): Bench {
  let takeCount = 0
  let isTrack = false
  let breakOff = (): void => {}
  const fault = (kind: CaptureFault['kind']): CaptureFault => ({ kind, says: `planted ${kind}`, atS: null })
  return {
    says: 'planted',
    ...STILL,
    isSimulated: true,
    capture: {
      where: 'card',
      start: async (onBlock) => {
        // Long enough that longer takes are told apart; a probe that hears nothing is quiet enough.
        onBlock([new Float32Array(48_000 + takeCount)])
        const failed = new Promise<CaptureFault>((done) => {
          breakOff = () => done(fault('vanished'))
        })
        return {
          sampleRateHz: 44_100,
          inputCount: 1,
          failed,
          stop: async () => (isTrack ? (plan[takeCount - 1]?.faults ?? []).map(fault) : []),
        }
      },
    },
    player: {
      where: 'player',
      play: async ({ channels, sampleRateHz }, signal) => {
        isTrack = channels[0].length / sampleRateHz > 20
        if (!isTrack) return
        takeCount++
        said.push(`take ${takeCount}`)
        if (plan[takeCount - 1]?.failsAtOnce) breakOff()
        await new Promise<void>((done, fail) => {
          const timer = setTimeout(done, plan[takeCount - 1]?.failsAtOnce ? 10_000 : 20)
          signal.addEventListener('abort', () => {
            clearTimeout(timer)
            said.push('silenced')
            fail(signal.reason)
          })
        })
      },
    },
    meter: null,
    connect: async () => {},
    set: async () => {},
    close: async () => {},
  }
}

async function run(plan: readonly Planned[], answers: readonly string[] | null = null): Promise<Take[]> {
  const journal = await begin()
  const left = [...(answers ?? [])]
  const person = {
    isAttended: answers !== null,
    say: (text: string) => void said.push(text),
    choose: async (prompt: string) => {
      said.push(prompt)
      return left.shift() ?? ''
    },
  }
  const store = new RunStore(journal, 24, (tainted, signal) => isToBeTakenAgain(tainted, person, signal))
  const patches = planPatches(job, rig).slice(0, 1)
  const takes: Take[] = []
  const nobody = (): void => {}
  for await (const take of benchTakes(bench(plan), job, rig, patches, store, NO_WITNESS, nobody, GO_ON, store)) {
    takes.push(take)
  }
  return takes
}

const filesThere = (): string[] => readdirSync(join(folder, 'takes')).sort()
const statesNow = async (): Promise<string[]> =>
  (await RunJournal.read(folder))!.state.takes.map(({ file, state }) => `${file} ${state}`).sort()

test('a take with an overrun is taken again by itself, and the whole one counts', async () => {
  const [take] = await run([{ faults: ['overrun'] }, {}])
  expect(said).toEqual([
    'take 1',
    'The take of patch 1 is not whole: planted overrun. It is taken again, 2 of 3.',
    'take 2',
  ])
  expect(take).toMatchObject({ source: 'takes/patch-1.2.wav', faults: [] })
  expect(await statesNow()).toEqual(['takes/patch-1.2.wav kept', 'takes/patch-1.wav tainted'])
  expect(filesThere()).toEqual(['patch-1.2.wav', 'patch-1.wav'])
})

test('of three takes that are not whole the best is kept, and its fault stays in the result', async () => {
  const [take] = await run([
    { faults: ['overrun', 'short'] },
    { faults: ['overrun'] },
    { faults: ['overrun', 'short'] },
  ])
  expect(said.at(-1)).toBe('The take of patch 1 is not whole: planted overrun; planted short. The best of 3 is kept.')
  expect(take).toMatchObject({ source: 'takes/patch-1.2.wav', faults: ['planted overrun'] })
  expect(await statesNow()).toEqual([
    'takes/patch-1.2.wav kept',
    'takes/patch-1.3.wav tainted',
    'takes/patch-1.wav tainted',
  ])
})

test('a person is asked, and may keep it as it is', async () => {
  const [take] = await run([{ faults: ['short'] }, { faults: ['short'] }], ['', 'k'])
  expect(said).toEqual([
    'take 1',
    'The take of patch 1 is not whole: planted short.\nPress Enter to take it again; or type k and Enter to keep it as it is.',
    'take 2',
    'The take of patch 1 is not whole: planted short.\nPress Enter to take it again; or type k and Enter to keep the best.',
  ])
  // The later capture is longer by a sample.
  expect(take).toMatchObject({ source: 'takes/patch-1.2.wav', faults: ['planted short'] })
})

test('an input that clips or is silent is no reason to take it again by itself, and it is said', async () => {
  const [take] = await run([{ faults: ['clipped', 'silent'] }])
  expect(said).toEqual([
    'take 1',
    'The take of patch 1 is doubtful: planted clipped; planted silent. It is kept, and the result says so.',
  ])
  expect(take.faults).toEqual(['planted clipped', 'planted silent'])
  expect(await statesNow()).toEqual(['takes/patch-1.wav kept'])
})

test('a person is asked whether to take it again where it clips, and the one without a fault counts', async () => {
  const [take] = await run([{ faults: ['clipped'] }, {}], [''])
  expect(said).toEqual([
    'take 1',
    'The take of patch 1 is doubtful: planted clipped.\nMend it and press Enter to take it again; or type k and Enter to keep it as it is.',
    'take 2',
  ])
  expect(take).toMatchObject({ source: 'takes/patch-1.2.wav', faults: [] })
  expect(await statesNow()).toEqual(['takes/patch-1.2.wav kept', 'takes/patch-1.wav tainted'])
})

test('a capture that breaks off silences the player at once, and its take is made again', async () => {
  const [take] = await run([{ failsAtOnce: true }, {}])
  expect(said).toEqual([
    'take 1',
    'silenced',
    'The take of patch 1 is not whole: planted vanished. It is taken again, 2 of 3.',
    'take 2',
  ])
  expect(take.source).toBe('takes/patch-1.2.wav')
})

test('a capture that breaks off every time ends the run with one line, and no take of it counts', async () => {
  const failing = { failsAtOnce: true }
  const error = await run([failing, failing, failing]).catch((reason: unknown) => reason)
  expect(error).toBeInstanceOf(StopError)
  expect((error as StopError).message).toBe(
    'the capture broke off before the track had ended, 3 times: planted vanished (card). Check the card and its cable, then give the same command again.',
  )
  expect((await statesNow()).some((line) => line.endsWith('kept'))).toBe(false)
})

test('a part that a kill left goes only when its take has been made whole', async () => {
  const [part, aside] = ['takes/patch-1.wav.part', 'takes/patch-1.wav.part-1'].map((name) => join(folder, name))
  writeFileSync(part, 'left by a kill')
  const failing = { failsAtOnce: true }
  await run([failing, failing, failing]).catch(() => {})
  expect([existsSync(part), existsSync(aside)]).toEqual([false, true])
  await run([{}])
  expect(filesThere().filter((name) => name.includes('part'))).toEqual([])
})
