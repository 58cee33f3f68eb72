import { describe, expect, test } from 'vitest'
import { applyCalibration } from '../../src/rig/apply-calibration.js'
import { emptyCalibration, type VoltsPart } from '../../src/rig/calibration.js'
import { fullScaleAtLead, type Rig } from '../../src/rig/rig.js'
import type { Bench } from '../../src/rig/roles.js'
import { calibrateVolts } from '../../src/stages/rig-calibrate.js'
import { toneOf, tonesFor } from '../../src/stages/rig-sound.js'
import { takeOnce } from '../../src/stages/take.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { vrms } from '../../src/units/level.js'
import { StopError } from '../../src/units/stop.js'
import { simulatedBench } from '../../src/vehicle/bench.js'
import { parseFaults } from '../../src/vehicle/faults.js'
import { some } from '../long.js'
import { jobOf } from '../vehicle/scene.js'
import { cardOf, GO_ON, hearing, MADE, rigOf } from './rig-card.js'

const calibrate = (bench: Bench, rig: Rig, feed: 'all' | 'each' = 'all', othersHz: readonly number[] = []) =>
  calibrateVolts(bench, { rig, feed, othersHz, readingCount: 3, made: MADE }, () => {}, GO_ON)
const stopOf = (bench: Bench, rig: Rig): Promise<StopError> =>
  calibrate(bench, rig).then(
    () => Promise.reject(new Error('no stop was thrown')),
    (error) => (error instanceof StopError ? error : Promise.reject(error)),
  )
/** How far each found full scale is from the truth, in expanded uncertainties. */
const missOf = ({ inputs }: VoltsPart, truthVrms: readonly number[]): number[] =>
  inputs.map(({ fullScaleVrms, expandedDb }, k) => (20 * Math.log10(fullScaleVrms / truthVrms[k])) / expandedDb)
const within = (misses: readonly number[]): boolean => misses.every((miss) => Math.abs(miss) <= 1)

// Truth: what was planted. A card that reads 0.7 dB more reaches full scale 0.7 dB earlier.
describe('an input that is 0.7 dB off', () => {
  const rig = rigOf()
  const truth = 4 * 10 ** (-0.7 / 20)

  test.each(some([1, 2, 3], 1))('is found within the stated uncertainty, seed %d', async (seed) => {
    const volts = await calibrate(cardOf(rig, 'level_error_db: 0.7', seed), rig)
    expect(volts.inputs.map(({ inputNumber }) => inputNumber)).toEqual([1, 2, 3])
    expect(within(missOf(volts, [truth, truth, truth]))).toBe(true)
    for (const { expandedDb, differenceDb } of volts.inputs) {
      // The meter's 0.5 % + 2 mV of 2 V alone: 2 / √3 × 0.6 % are 0.060 dB.
      expect(expandedDb).toBeGreaterThan(0.05)
      expect(expandedDb).toBeLessThan(0.1)
      expect(Math.abs(differenceDb + 0.7)).toBeLessThan(expandedDb)
    }
  })

  test('counts as calibrated when the rig is used', async () => {
    const volts = await calibrate(cardOf(rig, 'inputs: { 3: { gain_db: 0.7 } }'), rig)
    const { rig: calibrated, messages } = applyCalibration(
      rig,
      { ...emptyCalibration(rig.name), volts },
      '2026-04-02T10:00:00Z',
      365,
    )
    expect(messages).toEqual([])
    const [first, , third] = calibrated.inputs.map(fullScaleAtLead)
    expect(20 * Math.log10(first / third)).toBeCloseTo(0.7, 3)
  })
})

test('a vehicle measured on the calibrated rig has its true volts again', async () => {
  const rig = rigOf()
  const job = jobOf('{ number: 1, label: left, left: 1, right: 0, level_vrms: 2 }')
  const patches = planPatches(job, rig)
  const benchOf = (levelErrorDb: number): Bench =>
    simulatedBench(job, rig, parseFaults(`capture: { level_error_db: ${levelErrorDb} }`, 'faults.yaml'), patches)
  const voltsOn = async (bench: Bench, by: Rig): Promise<number> => {
    await bench.connect('patch 1', GO_ON)
    const sound = await tonesFor(1.2, [{ freqHz: 997, peakFs: 0.5 }])
    const { audio } = await takeOnce(bench, sound, null, { step: '', detail: '' }, () => {}, GO_ON)
    return toneOf(audio.channels[0], 997, audio.sampleRateHz).tone.peakFs * fullScaleAtLead(by.inputs[0])
  }
  const off = benchOf(0.7)
  const calibration = { ...emptyCalibration(rig.name), volts: await calibrate(off, rig) }
  const { rig: calibrated } = applyCalibration(rig, calibration, '2026-04-02T10:00:00Z', 365)
  // Truth: the same vehicle on a card that is right.
  const truth = await voltsOn(benchOf(0), rig)
  expect(20 * Math.log10((await voltsOn(off, rig)) / truth)).toBeCloseTo(0.7, 3)
  const leftDb = 20 * Math.log10((await voltsOn(off, calibrated)) / truth)
  expect(Math.abs(leftDb)).toBeLessThan(calibrated.inputs[0].levelUncertaintyDb)
})

test('pads and ranges that differ from input to input come out each at its own lead', async () => {
  const rig = rigOf(
    '[{ full_scale_vrms: 2, pad_db: 6, level_uncertainty_db: 0.1 }, { full_scale_vrms: 4, level_uncertainty_db: 0.1 }, { full_scale_vrms: 0.5, pad_db: 20, level_uncertainty_db: 0.1 }]',
  )
  const volts = await calibrate(cardOf(rig), rig)
  expect(within(missOf(volts, [2 * 10 ** (6 / 20), 4, 5]))).toBe(true)
})

test('all in parallel take one hook-up and say what they were made with, each by itself takes the meter along', async () => {
  const rig = rigOf()
  const [all, each] = [hearing(cardOf(rig)), hearing(cardOf(rig, 'inputs: { 2: { gain_db: -0.3 } }'))]
  const { inputs, ...made } = await calibrate(all.bench, rig)
  expect(all.wired).toEqual(['1,2,3 meter 2'])
  expect(made).toEqual({
    ...MADE,
    feed: 'all',
    capture: { driver: 'simulated', device: null, sampleRateHz: 48_000, bits: 24, says: 'simulated card' },
    meter: { says: 'Ostrevan,AC1 simulated,0001,1.0', accuracyPct: 0.5, accuracyVrms: 0.002 },
  })
  expect(inputs[0].points.map(({ readingCount }) => readingCount)).toEqual([3, 5])
  const volts = await calibrate(each.bench, rig, 'each')
  expect(each.wired).toEqual(['1 meter 1', '2 meter 2', '3 meter 3'])
  expect(within(missOf(volts, [4, 4 * 10 ** (0.3 / 20), 4]))).toBe(true)
})

test('another frequency shows what the card does there, and adds it to the uncertainty', async () => {
  const rig = rigOf()
  // Closed form: a first-order corner at 20 Hz takes 10 lg(1 + (20/60)²) = 0.4576 dB off 60 Hz, and 0.0017 dB off 997 Hz.
  const volts = await calibrate(cardOf(rig, 'low_hz: 20'), rig, 'all', [60])
  const [{ points, budget }] = volts.inputs
  expect(points.map(({ freqHz }) => freqHz)).toEqual([997, 997, 60])
  // Two readings of the meter differ by a few thousandths of a decibel.
  expect(Math.abs(20 * Math.log10(points[2].fullScaleVrms / points[0].fullScaleVrms) - 0.4559)).toBeLessThan(0.01)
  const part = budget.find(({ source }) => source === 'response between frequencies')
  expect(Math.abs(part!.u - 0.4559 / Math.sqrt(3))).toBeLessThan(0.006)
})

describe('stops with one line when', () => {
  const rig = rigOf()

  test.each([
    [
      'the meter answers in millivolts',
      'meter_factor: 1000',
      'the meter reads a thousand times too much',
      'millivolts',
    ],
    ['the meter reads a thousandth', 'meter_factor: 0.001', 'a thousandth of what it should', 'kilovolts'],
    [
      'the meter is on nothing',
      'meter_factor: 0.000001',
      'while the tone plays',
      'across the lead of one of the inputs',
    ],
    ['an input hears nothing', 'inputs: { 2: { dead: true } }', 'input 2 hears nothing of the quiet tone', 'turned up'],
    [
      'two hear nothing',
      'inputs: { 1: { dead: true }, 2: { dead: true } }',
      'inputs 1 and 2 hear nothing',
      'turned up',
    ],
    [
      'a speaker level comes in',
      'loop_vrms: 99, level_error_db: 6, inputs: { 1: { gain_db: 20 } }',
      'input 1 clips on the quiet probe; nothing louder was played',
      'Turn down',
    ],
    [
      'a pad is not in the rig file',
      'inputs: { 3: { gain_db: -12 } }',
      'input 3 comes out at 15.9 V for full scale, the rig file says 4.00 V (+12.0 dB)',
      'Check its pad and full scale',
    ],
  ])('%s', async (_, faults, what, remedy) => {
    const { message } = await stopOf(cardOf(rig, faults), rig)
    expect(message).toContain(what)
    expect(message).toContain(remedy)
    expect(message).not.toContain('\n')
  })

  test('there is no meter', async () => {
    const bare = rigOf(undefined, '')
    expect((await stopOf(cardOf(bare), bare)).message).toBe(
      'this rig has no meter to calibrate against (rig "bench"). Add meter: to the rig file.',
    )
  })

  test('the capture loses samples', async () => {
    const bench = cardOf(rig)
    const torn: Bench = {
      ...bench,
      capture: {
        ...bench.capture,
        start: async (onBlock, signal) => {
          const run = await bench.capture.start(onBlock, signal)
          const fault = { kind: 'overrun' as const, says: '512 samples are missing', atS: 0.5 }
          return { ...run, stop: async () => [...(await run.stop()), fault] }
        },
      },
    }
    expect((await stopOf(torn, rig)).message).toContain('the capture is not whole: 512 samples are missing')
  })

  test('a meter fails, or a person stops it, in the midst of it', async () => {
    const bench = cardOf(rig)
    const stopping = new AbortController()
    const reason = new StopError('stopped by Ctrl-C', 'this run', 'Give it again.', 'instrument')
    let readings = 0
    const meter = {
      ...bench.meter!,
      readAcVrms: async (signal: AbortSignal) => {
        if (++readings === 2) stopping.abort(reason)
        signal.throwIfAborted()
        return vrms(1.9)
      },
    }
    const request = { rig, feed: 'all' as const, othersHz: [], readingCount: 3, made: MADE }
    await expect(calibrateVolts({ ...bench, meter }, request, () => {}, stopping.signal)).rejects.toBe(reason)
  })
})
