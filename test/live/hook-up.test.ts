/** Moving leads, live: the probe plays through a real sound server and a vehicle in real time while a person would be asked. */
import { readFileSync } from 'node:fs'
import { afterAll, beforeAll, expect, test, vi } from 'vitest'
import { liveBench } from '../../src/instruments/bench.js'
import { parseJob } from '../../src/job/parse.js'
import type { PatchSpec, Rig } from '../../src/rig/rig.js'
import type { Bench } from '../../src/rig/roles.js'
import { connectLeads, type Person } from '../../src/stages/hook-up.js'
import { softStart } from '../../src/stages/soft-start.js'
import { rigWith } from '../measure/lead-probe-world.js'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { type FilterDescription, type LiveWorld, startLiveWorld } from './world.js'

const TOOLS: Tool[] = ['pulseaudio', 'parec', 'pacat', 'pactl']
const JOB = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const GO_ON = new AbortController().signal
vi.setConfig({ testTimeout: 120_000 })

const linkwitzRiley = (type: 'lowpass' | 'highpass'): FilterDescription[] =>
  [Math.SQRT1_2, Math.SQRT1_2].map((q) => ({ type, freqHz: 3000, q }))
const fronts = (['highpass', 'lowpass'] as const).flatMap((type) =>
  [1, 0].map((leftGain) => ({
    leftGain,
    rightGain: 1 - leftGain,
    levelVrms: 2,
    filters: linkwitzRiley(type),
    noiseVrms: 1e-5,
  })),
)
const patchOf = (name: string, ...outputNumbers: number[]): PatchSpec => ({
  name,
  leads: outputNumbers.map((outputNumber, k) => ({ inputNumber: k + 1, outputNumber })),
})
/** Leads are on outputs 1 to 4 in this order; only the second patch has them so. */
const PATCHES = [patchOf('exchanged', 1, 2, 4, 3), patchOf('right', 1, 2, 3, 4)]

let world: LiveWorld | null = null
let rig: Rig
const envBefore = { ...process.env }
beforeAll(async () => {
  if (missingTools(...TOOLS).length > 0) return
  world = await startLiveWorld({ vehicle: { fullScaleVrms: 4, outputs: fronts }, meterAcrossOutput: null })
  Object.assign(process.env, world.env)
  const base = rigWith(12)
  rig = {
    ...base,
    capture: { ...base.capture, driver: 'pulse', device: world.captureDevice },
    player: { ...base.player, driver: 'computer', device: world.playerDevice },
  }
}, 60_000)
afterAll(async () => {
  await world?.stop()
  process.env = envBefore
})

/** A bench whose person never answers. */
const unanswered = (): Promise<Bench> =>
  liveBench(
    rig,
    PATCHES,
    (_, signal) => new Promise((_resolve, reject) => signal.addEventListener('abort', () => reject(signal.reason))),
  )

test('exchanged leads are told by the probe, and no others', async (context) => {
  needsTool(context, ...TOOLS)
  const bench = await unanswered()
  const verdicts = await softStart(bench, JOB, rig, PATCHES[0], () => {}, GO_ON)
  await bench.close()
  expect(verdicts.map(({ kind, mayBe }) => [kind, mayBe[0]])).toEqual([
    ['agrees', 1],
    ['agrees', 2],
    ['other', 3],
    ['other', 4],
  ])
})

test('a run goes on by itself when all leads are right, and the sound has ended by then', async (context) => {
  needsTool(context, ...TOOLS)
  const said: string[] = []
  const person: Person = { isAttended: true, say: (text) => void said.push(text), choose: async () => '' }
  const bench = await unanswered()
  await connectLeads(bench, JOB, rig, PATCHES[1], new Map(), person, GO_ON)
  await bench.close()
  expect(said.at(-1)).toBe('All inputs hear what right should give, 3 times in a row: going on.')
})
