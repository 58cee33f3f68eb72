/** The live bench against the vehicle in real time: what a run sees is what the description says. */
import { afterAll, beforeAll, expect, test, vi } from 'vitest'
import { liveBench } from '../../src/instruments/bench.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Bench, Block } from '../../src/rig/roles.js'
import { vrms } from '../../src/units/level.js'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { type LiveWorld, startLiveWorld } from './world.js'

const TOOLS: Tool[] = ['pulseaudio', 'parec', 'pacat', 'pactl', 'socat']
const RATE_HZ = 48_000
const FULL_SCALE_VRMS = 4
const LEFT_HZ = 1000
const RIGHT_HZ = 3000
vi.setConfig({ testTimeout: 20_000 })

const never = new AbortController().signal

let world: LiveWorld
let bench: Bench
const asked: string[] = []
const envBefore = { ...process.env }

beforeAll(async () => {
  if (missingTools(...TOOLS).length > 0) return
  world = await startLiveWorld({
    vehicle: {
      fullScaleVrms: FULL_SCALE_VRMS,
      outputs: [
        { leftGain: 1, rightGain: 0, levelVrms: 2, faderGroup: 'front' },
        { leftGain: 0, rightGain: 1, levelVrms: 1, faderGroup: 'front', polarity: -1 },
        { leftGain: 1, rightGain: 0, levelVrms: 2, faderGroup: 'rear', delayS: 0.01 },
        { leftGain: 0.5, rightGain: 0.5, levelVrms: 3, filters: [{ type: 'lowpass', freqHz: LEFT_HZ }] },
      ],
    },
    meterAcrossOutput: 1,
  })
  Object.assign(process.env, world.env)
  const input = { fullScaleVrms: vrms(FULL_SCALE_VRMS), padDb: 0, levelUncertaintyDb: 0.1 }
  const rig: Rig = {
    name: 'live test rig',
    capture: { driver: 'pulse', device: world.captureDevice, sampleRateHz: RATE_HZ, bits: 24 },
    player: { driver: 'computer', device: world.playerDevice },
    meter: {
      driver: 'scpi',
      port: world.meterPort,
      baudRate: 9600,
      inputNumber: 1,
      accuracyPct: 1,
      accuracyVrms: 0.002,
    },
    inputs: [input, input, input, input],
    patches: null,
    faultsPath: null,
  }
  const patch = { name: 'all', leads: [1, 2, 3, 4].map((number) => ({ inputNumber: number, outputNumber: number })) }
  bench = await liveBench(rig, [patch], async (prompt) => {
    asked.push(prompt)
  })
}, 60_000)
afterAll(async () => {
  await bench?.close()
  await world?.stop()
  process.env = envBefore
})

const tone = (freqHz: number, durationS: number, peakFs: number): Float32Array =>
  Float32Array.from({ length: durationS * RATE_HZ }, (_, n) => peakFs * Math.sin((2 * Math.PI * freqHz * n) / RATE_HZ))

/** Complex amplitude over a whole number of periods (1 s), by projection: peak and phase of the sine. */
function toneIn(samples: Float32Array, freqHz: number): { peakFs: number; phaseRad: number } {
  let [re, im] = [0, 0]
  for (let n = 0; n < RATE_HZ; n++) {
    const phase = (2 * Math.PI * freqHz * n) / RATE_HZ
    re += (2 / RATE_HZ) * samples[n] * Math.sin(phase)
    im += (2 / RATE_HZ) * samples[n] * Math.cos(phase)
  }
  return { peakFs: Math.hypot(re, im), phaseRad: Math.atan2(im, re) }
}

/** Plays 2.5 s of tones at half of full scale and gives one second from their middle, and the meter's reading then. */
async function takeMiddle(): Promise<{ middle: Float32Array[]; meterVrms: number }> {
  const blocks: Block[] = []
  const run = await bench.capture.start((block) => blocks.push(block), never)
  const playing = bench.player.play(
    { sampleRateHz: RATE_HZ, channels: [tone(LEFT_HZ, 3, 0.5), tone(RIGHT_HZ, 3, 0.5)] },
    never,
  )
  await new Promise((resolve) => setTimeout(resolve, 2500))
  const meterVrms = await bench.meter!.readAcVrms(never)
  await playing
  await new Promise((resolve) => setTimeout(resolve, 700))
  expect(await run.stop()).toEqual([])
  const all = Array.from({ length: 4 }, (_, c) => Float32Array.from(blocks.flatMap((block) => [...block[c]])))
  const start = all[1].findIndex((sample) => sample !== 0) + RATE_HZ
  return { middle: all.map((samples) => samples.subarray(start, start + RATE_HZ)), meterVrms }
}

// Truth: the description. A full-scale sine gives levelVrms at the lead, 4 V rms is full scale of the capture, and half
// of full scale is played: output 1 has 0.5 * 2 / 4 = 0.25 of full scale and 1 V rms. The low-pass is at its corner,
// where the cookbook's second-order section has a gain of exactly Q = 0.7071. Samples are 32-bit floats on their way:
// 2^-24 each, and far less in a sum over a second.
test('each output has its level, polarity, delay and band, and the meter reads the same volts', async (context) => {
  needsTool(context, ...TOOLS)
  await world.setFader('middle')
  const { middle, meterVrms } = await takeMiddle()
  expect(world.glitches()).toEqual([])
  const [first, second, third, fourth] = middle
  expect(toneIn(first, LEFT_HZ).peakFs).toBeCloseTo(0.25, 6)
  expect(toneIn(first, RIGHT_HZ).peakFs).toBeCloseTo(0, 6)
  expect(toneIn(second, RIGHT_HZ).peakFs).toBeCloseTo(0.125, 6)
  expect(toneIn(third, LEFT_HZ).peakFs).toBeCloseTo(0.25, 6)
  expect(toneIn(fourth, LEFT_HZ).peakFs).toBeCloseTo(0.5 * 0.5 * 0.75 * Math.SQRT1_2, 6)
  // Ten milliseconds are ten whole periods, so outputs 1 and 3 agree sample by sample in the middle of the tones.
  expect(third).toEqual(first)
  // Both tones start in phase, and a second holds whole periods of both: output 2 is the other way round.
  const turn = toneIn(second, RIGHT_HZ).phaseRad - 3 * toneIn(first, LEFT_HZ).phaseRad
  expect(Math.cos(turn)).toBeCloseTo(-1, 6)
  // The vehicle keeps a running mean over 0.3 s and half a period of ripple: within a hundredth.
  expect(meterVrms / 1).toBeGreaterThan(0.99)
  expect(meterVrms / 1).toBeLessThan(1.01)
})

test('the fader to the front silences the rear outputs', async (context) => {
  needsTool(context, ...TOOLS)
  await world.setFader('front')
  const { middle } = await takeMiddle()
  expect(toneIn(middle[0], LEFT_HZ).peakFs).toBeCloseTo(0.25, 6)
  expect(middle[2].every((sample) => sample === 0)).toBe(true)
})

test('leads and knobs are asked of the person', async (context) => {
  needsTool(context, ...TOOLS)
  asked.length = 0
  await bench.connect('all', never)
  await bench.set('fader_front', never)
  expect(asked).toEqual([
    'Connect input 1 to output 1, input 2 to output 2, input 3 to output 3, input 4 to output 4. Amplifiers stay unplugged or their gains down.',
    'Turn the fader fully to the front. Change nothing else.',
  ])
  expect(await bench.meter!.identify(never)).toBe('Example Works,BM-1,0001,1.0')
})

test('closing the bench ends what still runs', async (context) => {
  needsTool(context, ...TOOLS)
  const playing = bench.player.play(
    { sampleRateHz: RATE_HZ, channels: [tone(LEFT_HZ, 5, 0.1), tone(LEFT_HZ, 5, 0.1)] },
    never,
  )
  const ending = playing.catch((reason: unknown) => String(reason))
  await new Promise((resolve) => setTimeout(resolve, 500))
  await bench.close()
  expect(await ending).toBe('StopError: the bench was closed (live test rig). Start the run again.')
})
