import { describe, expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { MeterOverload } from '../../src/rig/overload.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Bench } from '../../src/rig/roles.js'
import { planPatches } from '../../src/stimulus/plan.js'
import type { Audio } from '../../src/units/audio.js'
import { simulatedBench } from '../../src/vehicle/bench.js'
import { NO_FAULTS, parseFaults } from '../../src/vehicle/faults.js'
import { dB, isSame, jobOf, rmsOf, silenceOf, toneOn } from './scene.js'

const GO_ON = new AbortController().signal
const JOB = jobOf(
  '{ number: 1, label: left, left: 1, right: 0, level_vrms: 2, fader: front }',
  '{ number: 2, label: right, left: 0, right: 1, level_vrms: 1, fader: rear }',
  '{ number: 3, label: woofer, left: 0.5, right: 0.5, level_vrms: 1, band: { high_hz: 80 } }',
)

const rigWith = (inputCount: number, meter = ''): Rig =>
  parseRig(
    `name: test
capture: { driver: simulated }
player: { driver: simulated }
${meter}
inputs: { count: ${inputCount}, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
`,
    'rig',
  )

const benchOf = (faults = '{}', rig = rigWith(4), job: Job = JOB): Bench =>
  simulatedBench(job, rig, parseFaults(faults, 'faults.yaml'), planPatches(job, rig))

/** What a capture gets while a sound is played: inputs joined from their blocks. */
async function take(bench: Bench, sound: Audio, signal = GO_ON): Promise<Float32Array[]> {
  const blocks: (readonly Float32Array[])[] = []
  const run = await bench.capture.start((block) => blocks.push(block), signal)
  await bench.player.play(sound, signal)
  expect(await run.stop()).toEqual([])
  for (const block of blocks) {
    expect(block).toHaveLength(run.inputCount)
    expect(new Set(block.map(({ length }) => length)).size).toBe(1)
  }
  return Array.from({ length: run.inputCount }, (_, k) => joined(blocks.map((block) => block[k])))
}

function joined(parts: readonly Float32Array[]): Float32Array {
  const whole = new Float32Array(parts.reduce((sum, { length }) => sum + length, 0))
  let at = 0
  for (const part of parts) {
    whole.set(part, at)
    at += part.length
  }
  return whole
}

const hasTone = (samples: Float32Array): boolean => rmsOf(samples) > 0.01

test('names itself, so that nobody takes it for hardware', () => {
  const { says, isSimulated, capture } = benchOf()
  expect([says, isSimulated, capture.where]).toEqual(['simulated vehicle', true, 'simulated vehicle'])
})

describe('a capture', () => {
  test('has lead-in, sound and trail on all inputs, on its own clock', async () => {
    const bench = benchOf('capture: { lead_in_s: 0.5, trail_s: 0.25, clock_offset_ppm: 1000 }')
    await bench.connect('patch 1', GO_ON)
    const inputs = await take(bench, toneOn('both', 50, 0.5, 1))
    expect(inputs).toHaveLength(4)
    // 0.5 + 0.0032 of latency + 1 + 0.25 s at 48 048 samples for each of the player's seconds.
    for (const input of inputs) expect(input).toHaveLength(Math.ceil(1.7532 * 48_048))
    // The sound begins 0.5032 s after the start; before it, only noise stands on the leads.
    const first = inputs[0].findIndex((sample) => Math.abs(sample) > 0.001)
    expect(first / 48_048).toBeGreaterThan(0.5031)
    expect(first / 48_048).toBeLessThan(0.5042)
  })

  test('has the leads of the patch, and only noise of the card on an input without one', async () => {
    const bench = benchOf('capture: { noise_dbfs: -100 }')
    await bench.connect('patch 1', GO_ON)
    const inputs = await take(bench, toneOn('left', 50, 0.5, 1))
    expect(inputs.map(hasTone)).toEqual([true, false, true, false])
    // White noise of -100 dBFS in 19 980 Hz; its rms over 150 000 samples spreads by 0.016 dB, four times that.
    const wideDb = dB(rmsOf(inputs[3]) * Math.SQRT2) - 10 * Math.log10(24_000 / 19_980)
    expect(Math.abs(wideDb + 100)).toBeLessThan(0.064)
  })

  test('of a second patch has the other outputs', async () => {
    const bench = benchOf('{}', rigWith(2))
    await bench.connect('patch 2', GO_ON)
    // Only the woofer is in the second patch, and 1 kHz does not reach it.
    expect((await take(bench, toneOn('both', 1000, 0.5, 0.5))).map(hasTone)).toEqual([false, false])
    await bench.connect('patch 1', GO_ON)
    expect((await take(bench, toneOn('both', 1000, 0.5, 0.5))).map(hasTone)).toEqual([true, true])
  })

  test('before any lead is connected has noise alone', async () => {
    expect((await take(benchOf(), toneOn('both', 50, 0.5, 0.5))).some(hasTone)).toBe(false)
  })

  test('has the exchanged output on a lead whose pins are exchanged', async () => {
    const bench = benchOf('outputs: { 1: { swapped_with: 2 } }')
    await bench.connect('patch 1', GO_ON)
    expect((await take(bench, toneOn('left', 1000, 0.5, 0.5))).map(hasTone)).toEqual([false, true, false, false])
  })

  test('that was stopped gets nothing of what is played later', async () => {
    const bench = benchOf()
    let blockCount = 0
    const run = await bench.capture.start(() => blockCount++, GO_ON)
    await run.stop()
    await bench.player.play(silenceOf(0.1), GO_ON)
    expect(blockCount).toBe(0)
  })

  test('runs once at a time', async () => {
    const bench = benchOf()
    await bench.capture.start(() => {}, GO_ON)
    await expect(bench.capture.start(() => {}, GO_ON)).rejects.toThrow(RangeError)
  })
})

describe('samples', () => {
  const sound = toneOn('both', 50, 0.5, 0.5)
  const takesOf = async (seed: number): Promise<Float32Array[][]> => {
    const bench = benchOf(`seed: ${seed}`)
    await bench.connect('patch 1', GO_ON)
    return [await take(bench, sound), await take(bench, sound)]
  }

  test('are the same again for the same seed, take by take', async () => {
    const [first, again] = [(await takesOf(5)).flat(), (await takesOf(5)).flat()]
    expect(first).toHaveLength(8)
    first.forEach((input, k) => {
      expect(isSame(input, again[k])).toBe(true)
    })
  })

  test('have new noise in each take and with each seed', async () => {
    const [[first, second], [other]] = [await takesOf(5), await takesOf(6)]
    expect(isSame(second[3], first[3])).toBe(false)
    expect(isSame(other[3], first[3])).toBe(false)
  })
})

test('the fader at its front end leaves 60 dB less of the rear', async () => {
  const bench = benchOf('capture: { noise_dbfs: -140 }')
  await bench.connect('patch 1', GO_ON)
  const sound = toneOn('both', 1000, 0.9, 1)
  const levels = async (): Promise<number[]> =>
    (await take(bench, sound)).map((samples) => dB(rmsOf(samples.subarray(60_000, 90_000))))
  const before = await levels()
  await bench.set('fader_front', GO_ON)
  const after = await levels()
  await bench.set('reference', GO_ON)
  const again = await levels()
  expect(after[0] - before[0]).toBeCloseTo(0, 3)
  // The output's noise, 33 dB below what is left, adds 0.002 dB.
  expect(after[1] - before[1]).toBeCloseTo(-60, 1)
  expect(again[1] - before[1]).toBeCloseTo(0, 3)
})

describe('the meter', () => {
  const METER = 'meter: { driver: simulated, across_input: 2, accuracy_pct: 0.9, accuracy_vrms: 0.003 }'
  const metered = async (sound: Audio, faults = '{}'): Promise<number> => {
    const bench = benchOf(faults, rigWith(4, METER))
    await bench.connect('patch 1', GO_ON)
    await bench.player.play(sound, GO_ON)
    return bench.meter!.readAcVrms(GO_ON)
  }

  // Closed form: a sine of 0.5 of full scale on the right is half of the output's 1 V, at 1 kHz, where its level is told.
  test.each([1, 2, 3, 4, 5])('reads the volts on its lead within a third of its accuracy, seed %d', async (seed) => {
    const reading = await metered(toneOn('right', 1000, 0.5, 1.2), `seed: ${seed}`)
    const deviation = 10 ** (0.1 / 20) - 1
    expect(Math.abs(reading - 0.5)).toBeLessThan(0.5 * deviation + (0.009 * 0.5 + 0.003) / 3)
    expect(reading).not.toBe(0.5)
  })

  test('reads the loudest second of what was played', async () => {
    const loud = toneOn('right', 1000, 0.5, 1.2)
    const quiet = toneOn('right', 1000, 0.05, 3)
    const channels = quiet.channels.map((channel, side) => joined([channel, loud.channels[side]]))
    const [alone, inside] = [await metered(loud), await metered({ sampleRateHz: 48_000, channels })]
    // A window that moves in tenths of a second misses at most a tenth of it, but the tone lasts two tenths longer.
    expect(inside / alone).toBeCloseTo(1, 4)
  })

  test('sees the rms of noise and hum too', async () => {
    const reading = await metered(silenceOf(1), 'outputs: { 2: { hum: { freq_hz: 50, level_dbv: -20 } } }')
    expect(Math.abs(reading - 0.1)).toBeLessThan((0.009 * 0.1 + 0.003) / 3)
  })

  test('reads next to nothing before anything was played, and says who it is', async () => {
    const bench = benchOf('{}', rigWith(1, METER.replace('across_input: 2', 'across_input: 1')))
    expect(await bench.meter!.readAcVrms(GO_ON)).toBeLessThanOrEqual(0.001)
    // IEEE 488.2, 10.14: four fields, maker, model, serial number, firmware.
    expect((await bench.meter!.identify(GO_ON)).split(',')).toHaveLength(4)
  })

  test('gives the same reading in either way, and shows overload in ohms on a lead', async () => {
    const bench = benchOf('{}', rigWith(1, METER.replace('across_input: 2', 'across_input: 1')))
    const { value, unit } = await bench.meter!.read('acVolts', GO_ON)
    expect([value <= 0.001, unit]).toEqual([true, 'V'])
    await expect(bench.meter!.readOnce('ohms', GO_ON)).rejects.toThrow(MeterOverload)
  })

  test('is missing where the rig has none', () => {
    expect(benchOf().meter).toBeNull()
  })
})

describe('an interrupt', () => {
  test.each([0, 30])('after %d ms of a long sound ends it with its reason', async (waitMs) => {
    const bench = benchOf()
    await bench.connect('patch 1', GO_ON)
    const stopping = new AbortController()
    const reason = new Error('Ctrl-C')
    // A timer fires only if the rendering lets it: otherwise the take would end whole.
    setTimeout(() => stopping.abort(reason), waitMs)
    await expect(bench.player.play(toneOn('both', 50, 0.5, 20), stopping.signal)).rejects.toBe(reason)
    // The bench is good for another take.
    expect((await take(bench, toneOn('both', 50, 0.5, 0.5))).map(hasTone)).toEqual([true, true, true, false])
  })

  test('that came before is heard at every call', async () => {
    const bench = benchOf('{}', rigWith(1, 'meter: { driver: simulated, accuracy_pct: 1 }'))
    const reason = new Error('Ctrl-C')
    const stopped = AbortSignal.abort(reason)
    for (const call of [
      () => bench.capture.start(() => {}, stopped),
      () => bench.player.play(silenceOf(0.1), stopped),
      () => bench.connect('patch 1', stopped),
      () => bench.set('reference', stopped),
      () => bench.meter!.identify(stopped),
      () => bench.meter!.readAcVrms(stopped),
    ]) {
      await expect(call()).rejects.toBe(reason)
    }
  })
})

test('a patch that was not planned is a fault of the caller', async () => {
  await expect(benchOf().connect('patch 9', GO_ON)).rejects.toThrow('no patch "patch 9"')
})

test('closing it twice does no harm', async () => {
  const bench = simulatedBench(JOB, rigWith(4), NO_FAULTS, planPatches(JOB, rigWith(4)))
  await bench.close()
  await bench.close()
})
