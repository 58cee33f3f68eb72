import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import type { Setting } from '../../src/rig/roles.js'
import { renderTake, renderVehicle } from '../../src/vehicle/render.js'
import type { Section } from '../../src/vehicle/sections.js'
import { everyNth, half } from '../long.js'
import {
  captureOf,
  dB,
  FULL_SCALE_VRMS,
  isSame,
  jobOf,
  modelOf,
  rigOf,
  rmsOf,
  STILL_CAPTURE,
  silenceOf,
  type Tone,
  toneOn,
  turnRad,
} from './scene.js'

const QUILLON = parseJob(readFileSync('captures/quillon/job.yaml', 'utf8'), 'job.yaml')
const RIG = rigOf(12)
const NUMBERS = QUILLON.outputs.map(({ number }) => number)
const LEFT = '{ number: 1, label: left, left: 1, right: 0, level_vrms: 2, fader: front }'
const RIGHT = '{ number: 2, label: right, left: 0, right: 1, level_vrms: 1.5, fader: rear }'
const MONO = '{ number: 3, label: mono, left: 0.5, right: 0.5, level_vrms: 1 }'
const THREE = jobOf(LEFT, RIGHT, MONO)
const QUIET = (number: number): string => `${number}: { noise_dbv: -140 }`

/** A tone on a side, and what the inputs get of it, in volts. */
async function tonesOf(
  faults: readonly string[],
  freqHz = 997,
  side: 'left' | 'right' | 'both' = 'both',
  setting: Setting = 'reference',
): Promise<Tone[]> {
  const take = await captureOf(modelOf(THREE, ...faults), toneOn(side, freqHz, 1, 1), rigOf(3), [1, 2, 3], setting)
  return [0, 1, 2].map((index) => take.tone(index, freqHz, 0.2, 0.9))
}

// Truth: the channel map. A healthy output is off by up to 0.1 dB, as model.ts says; noise and coupling are far below.
describe('each output of the demo map stands at its level', () => {
  const references = [...new Set(QUILLON.outputs.map(({ referenceHz }) => referenceHz))]
  const places = references.flatMap((freqHz) => (['left', 'right'] as const).map((side) => [freqHz, side] as const))
  // Every third: sides and references take turns.
  test.each(everyNth(places, 3))('at %d Hz on the %s side', async (freqHz, side) => {
    const take = await captureOf(modelOf(QUILLON), toneOn(side, freqHz, 1, 1), RIG, NUMBERS)
    for (const [index, output] of QUILLON.outputs.entries()) {
      if (output.referenceHz !== freqHz) continue
      const gain = side === 'left' ? output.leftGain : output.rightGain
      const { peak } = take.tone(index, freqHz, 0.2, 0.95)
      const expectedV = Math.SQRT2 * output.levelVrms * gain
      if (gain !== 0) expect(Math.abs(dB(peak / expectedV))).toBeLessThan(0.101)
      // What leaks from the other side lies 72 dB down or more.
      else expect(dB(peak / (Math.SQRT2 * output.levelVrms))).toBeLessThan(-71.8)
    }
  })
})

// Closed form: a Butterworth corner lies 3.0103 dB below the pass band, a Linkwitz-Riley corner 6.0206 dB. Level is set at the reference, where both flanks and
// the coupling capacitor are still felt, and their formulas say how much. The capacitor's corner is 1.8 to 2.2 Hz: at 40 Hz
// that is 0.002 dB either way.
const CORNERS = [
  [1, 3000, 'left', -6.02],
  [4, 3000, 'right', -6.02],
  [8, 150, 'left', -3.01],
  [7, 100, 'left', -3.01],
  [10, 80, 'right', -3.01],
  [8, 7000, 'right', -3.01],
] as const
test.each(half(CORNERS))(
  'output %d at its corner of %d Hz on the %s side is %d dB down',
  async (number, cornerHz, side, wantedDb) => {
    const spec = QUILLON.outputs.find((output) => output.number === number)!
    const at = async (freqHz: number): Promise<number> => {
      const take = await captureOf(modelOf(QUILLON), toneOn(side, freqHz, 0.5, 1.2), rigOf(1), [number])
      return take.tone(0, freqHz, 0.3, 1.1).peak
    }
    const tan = (freqHz: number): number => Math.tan((Math.PI * freqHz) / 48_000)
    const { shape, lowHz, highHz } = spec.crossover
    // 1 / sqrt(1 + x^8) for Butterworth, 1 / (1 + x^4) for Linkwitz-Riley.
    const slope = (x: number): number => (shape === 'butterworth' ? 1 / Math.sqrt(1 + x ** 8) : 1 / (1 + x ** 4))
    const flank = (freqHz: number): number =>
      slope(lowHz === null ? 0 : tan(lowHz) / tan(freqHz)) *
      slope(highHz === null ? 0 : tan(freqHz) / tan(highHz)) *
      (1 / Math.hypot(1, 2 / freqHz))
    expect(dB(flank(cornerHz))).toBeCloseTo(wantedDb, 1)
    const found = dB((await at(cornerHz)) / (await at(spec.referenceHz)))
    expect(Math.abs(found - dB(flank(cornerHz) / flank(spec.referenceHz)))).toBeLessThan(0.005)
  },
)

describe('the source matrix', () => {
  test('leaves nothing but a little leakage of the side that an output does not hear', async () => {
    const [left, right, mono] = await tonesOf([STILL_CAPTURE], 997, 'left')
    expect(dB(left.peak / (2 * Math.SQRT2))).toBeGreaterThan(-0.101)
    expect(dB(right.peak / (1.5 * Math.SQRT2))).toBeLessThan(-71.8)
    expect(dB(right.peak / (1.5 * Math.SQRT2))).toBeGreaterThan(-82.2)
    expect(Math.abs(dB(mono.peak / (0.5 * Math.SQRT2)))).toBeLessThan(0.101)
  })

  test('leaks as much as the faults say', async () => {
    const faults = ['outputs: { 2: { side_leak_db: -30 } }', STILL_CAPTURE]
    const ratio = (await tonesOf(faults, 997, 'left'))[1].peak / (await tonesOf(faults, 997, 'right'))[1].peak
    // The soft curve takes up to 3 × 0.0035 % off the loud one; noise at -96 dBV is 3e-6 of 1.5 V.
    expect(Math.abs(dB(ratio) + 30)).toBeLessThan(0.005)
  })

  // Closed form: half of each side is 6.0206 dB below one whole side.
  test('of a summed output hears both sides alike, half of each', async () => {
    const faults = ['outputs: { 1: { summed: true } }', STILL_CAPTURE]
    const whole = (await tonesOf([STILL_CAPTURE], 997, 'left'))[0]
    const [left, right] = [await tonesOf(faults, 997, 'left'), await tonesOf(faults, 997, 'right')].map(
      ([tone]) => tone,
    )
    expect(dB(left.peak / right.peak)).toBeCloseTo(0, 3)
    expect(dB(left.peak / whole.peak)).toBeCloseTo(-6.0206, 2)
    expect(Math.abs(turnRad(left.phaseRad, right.phaseRad))).toBeLessThan(1e-4)
  })

  test('of swapped outputs has each at the other pins, level and all', async () => {
    const tones = await tonesOf(['outputs: { 1: { swapped_with: 2 } }', STILL_CAPTURE], 997, 'right')
    expect(Math.abs(dB(tones[0].peak / (1.5 * Math.SQRT2)))).toBeLessThan(0.101)
    expect(dB(tones[1].peak / (2 * Math.SQRT2))).toBeLessThan(-71)
  })
})

// Closed forms; tolerances from noise at -140 dBV over 34 000 samples (1e-9 of 1 V) and Float32 rounding (1e-7).
describe('polarity and delay', () => {
  test('an inverted output is turned by half a circle, and nothing else', async () => {
    const [healthy, inverted] = [
      (await tonesOf([STILL_CAPTURE]))[1],
      (await tonesOf(['outputs: { 2: { inverted: true } }', STILL_CAPTURE]))[1],
    ]
    expect(Math.abs(Math.abs(turnRad(healthy.phaseRad, inverted.phaseRad)) - Math.PI)).toBeLessThan(1e-4)
    expect(dB(inverted.peak / healthy.peak)).toBeCloseTo(0, 3)
  })

  test('an output that the map has inverted is inverted when it is healthy', async () => {
    const job = jobOf(
      LEFT,
      RIGHT.replace('}', ', polarity: inverted }').replace('left: 0, right: 1', 'left: 1, right: 0'),
    )
    const take = await captureOf(modelOf(job, STILL_CAPTURE), toneOn('left', 997, 1, 1), rigOf(2), [1, 2])
    const [a, b] = [0, 1].map((index) => take.tone(index, 997, 0.2, 0.9).phaseRad)
    // The two coupling capacitors differ by up to 0.4 Hz: 0.4 / 997 rad.
    expect(Math.abs(Math.abs(turnRad(a, b)) - Math.PI)).toBeLessThan(5e-4)
  })

  test.each([
    ['whole', 5],
    ['parts of', 3.3],
    ['less than one, and earlier by', -0.0137],
  ])('a delay of %s samples (%d ms) is exact at every frequency', async (_, delayMs) => {
    for (const freqHz of [60, 997, 6300, 18_000]) {
      const healthy = (await tonesOf([`{ outputs: { ${QUIET(1)} }, ${STILL_CAPTURE} }`], freqHz))[0]
      const late = (
        await tonesOf([`{ outputs: { 1: { delay_ms: ${delayMs}, noise_dbv: -140 } }, ${STILL_CAPTURE} }`], freqHz)
      )[0]
      // 1e-4 of a sample may be left out: 2 ns, 2.4e-4 rad at 18 kHz.
      const wanted = (-2 * Math.PI * freqHz * delayMs) / 1000
      expect(Math.abs(turnRad(healthy.phaseRad + wanted, late.phaseRad))).toBeLessThan(3e-4)
      expect(dB(late.peak / healthy.peak)).toBeCloseTo(0, 3)
    }
  })

  test('the map has its own delay', async () => {
    const take = await captureOf(modelOf(QUILLON, STILL_CAPTURE), toneOn('both', 200, 0.5, 1), rigOf(2), [7, 8])
    const [centre, fill] = [0, 1].map((index) => take.tone(index, 200, 0.3, 0.9).phaseRad)
    // 12 ms of 200 Hz are 2.4 turns; what is left of the turn is between the flanks of two filters, so only its sense is held.
    const earlier = await captureOf(
      modelOf(QUILLON, 'outputs: { 8: { delay_ms: -12 } }', STILL_CAPTURE),
      toneOn('both', 200, 0.5, 1),
      rigOf(2),
      [7, 8],
    )
    const [, atOnce] = [0, 1].map((index) => earlier.tone(index, 200, 0.3, 0.9).phaseRad)
    expect(Math.abs(turnRad(atOnce - 2 * Math.PI * 200 * 0.012, fill))).toBeLessThan(1e-3)
    expect(turnRad(centre, fill)).not.toBeCloseTo(turnRad(centre, atOnce), 1)
  })
})

// Closed form: a tone of f Hz on the player's clock, read with the capture's own samples for each of the player's seconds,
// keeps amplitude and phase from the take's beginning to its end. A ppm missed would turn 997 Hz by 0.0056 rad in 0.9 s.
const CLOCKS: readonly (readonly [ppm: number, trackHz: number, captureHz: number])[] = [
  [-2500, 48_000, 48_000],
  [80, 48_000, 48_000],
  [80, 44_100, 48_000],
  [80, 48_000, 44_100],
  [21, 44_100, 96_000],
]
test.each(half(CLOCKS))(
  'at %d ppm, from %d to %d Hz, a tone keeps its frequency and level',
  async (ppm, trackHz, captureHz) => {
    const model = modelOf(
      THREE,
      `{ outputs: { 1: { noise_dbv: -140 } }, capture: { clock_offset_ppm: ${ppm}, noise_dbfs: -160 } }`,
    )
    for (const freqHz of [997, 15_000]) {
      const take = await captureOf(model, toneOn('left', freqHz, 0.5, 1.2, trackHz), rigOf(1, captureHz), [1])
      expect(take.audio.sampleRateHz).toBe(captureHz)
      const [early, late] = [take.tone(0, freqHz, 0.1, 0.2), take.tone(0, freqHz, 1, 1.1)]
      expect(Math.abs(turnRad(early.phaseRad, late.phaseRad))).toBeLessThan(1e-4)
      expect(dB(late.peak / early.peak)).toBeCloseTo(0, 3)
      expect(Math.abs(dB(late.peak / Math.SQRT2))).toBeLessThan(0.101)
    }
  },
)

describe('levels that are off', () => {
  // The soft curve flattens the healthy one by up to 3 × 0.0035 %, 0.001 dB, the louder one by its square.
  test.each([
    ['outputs: { 1: { gain_db: -4 } }', 0, 'left', -4],
    ['outputs: { 1: { gain_db: 3 } }', 0, 'left', 3],
    ['head_unit: { volume_db: -10 }', 0, 'left', -10],
    ['head_unit: { balance_db: 6 }', 0, 'left', -6],
    ['head_unit: { balance_db: 6 }', 1, 'right', 0],
    ['head_unit: { balance_db: -6 }', 1, 'right', -6],
    ['head_unit: { mono: true }', 0, 'left', -6.0206],
    ['capture: { level_error_db: 0.7, clock_offset_ppm: 0, noise_dbfs: -160 }', 0, 'left', 0.7],
  ] as const)('%s moves input %d on the %s side by %d dB', async (faults, index, side, wantedDb) => {
    const still = faults.startsWith('capture') ? [faults] : [faults, STILL_CAPTURE]
    const [moved, healthy] = [await tonesOf(still, 997, side), await tonesOf([STILL_CAPTURE], 997, side)]
    const found = dB(moved[index].peak / healthy[index].peak)
    expect(Math.abs(found - wantedDb)).toBeLessThan(0.006)
  })

  test('a dead output gives its noise alone', async () => {
    const [dead] = await tonesOf(['outputs: { 1: { dead: true } }', STILL_CAPTURE])
    // -94 dBV over half the rate, in one bin of 0.7 s: far below -100 dBV.
    expect(dB(dead.peak)).toBeLessThan(-100)
  })

  // Closed form: the fader turned to the front leaves 60 dB less at the rear, and front and others as they are.
  test('the fader drops the rear alone', async () => {
    const [middle, front] = [await tonesOf([STILL_CAPTURE]), await tonesOf([STILL_CAPTURE], 997, 'both', 'fader_front')]
    const changes = [0, 1, 2].map((index) => dB(front[index].peak / middle[index].peak))
    expect(changes[0]).toBeCloseTo(0, 4)
    // Noise of -94 dBV over 33 600 samples is 1e-7 V of the 2 mV that are left, 0.0005 dB.
    expect(Math.abs(changes[1] + 60)).toBeLessThan(0.006)
    expect(changes[2]).toBeCloseTo(0, 4)
  })
})

// Truth: the prototypes of the Audio EQ Cookbook through the bilinear transform, here through the library's own filters.
describe('equaliser sections', () => {
  const tan = (freqHz: number): number => Math.tan((Math.PI * freqHz) / 48_000)
  const prototype = ({ kind, freqHz, q, gainDb }: Section, atHz: number): number => {
    const omega = tan(atHz) / tan(freqHz)
    const A = 10 ** (gainDb / 40)
    const side = (Math.sqrt(A) / q) * omega
    const [top, bottom] =
      kind === 'peaking'
        ? [
            [1 - omega ** 2, (A / q) * omega],
            [1 - omega ** 2, omega / (A * q)],
          ]
        : kind === 'low_shelf'
          ? [
              [A * (A - omega ** 2), A * side],
              [1 - A * omega ** 2, side],
            ]
          : [
              [A * (1 - A * omega ** 2), A * side],
              [A - omega ** 2, side],
            ]
    return Math.hypot(...top) / Math.hypot(...bottom)
  }
  const SECTIONS: readonly Section[] = [
    { kind: 'peaking', freqHz: 2500, q: 1.5, gainDb: 5 },
    { kind: 'low_shelf', freqHz: 120, q: 0.9, gainDb: -6 },
    { kind: 'high_shelf', freqHz: 8000, q: 0.5, gainDb: 4 },
  ]
  const yaml = ({ kind, freqHz, q, gainDb }: Section): string =>
    `{ kind: ${kind}, freq_hz: ${freqHz}, q: ${q}, gain_db: ${gainDb} }`

  const LIST = SECTIONS.map(yaml).join(', ')
  test.each([
    ['of an output', [`outputs: { 1: { equaliser: [${LIST}], noise_dbv: -140 } }`]],
    ['of the head unit', [`head_unit: { tone: [${LIST}] }`, `outputs: { ${QUIET(1)} }`]],
  ])('%s give the response of their formulas', async (_, lines) => {
    const plain = modelOf(THREE, `outputs: { ${QUIET(1)} }`, STILL_CAPTURE)
    const shaped = modelOf(THREE, ...lines, STILL_CAPTURE)
    for (const freqHz of [40, 120, 997, 2500, 8000, 17_000]) {
      const [a, b] = [plain, shaped].map((model) => captureOf(model, toneOn('left', freqHz, 0.1, 1), rigOf(1), [1]))
      const found = dB((await b).tone(0, freqHz, 0.3, 0.9).peak / (await a).tone(0, freqHz, 0.3, 0.9).peak)
      const wanted = SECTIONS.reduce((sum, section) => sum + dB(prototype(section, freqHz)), 0)
      expect(Math.abs(found - wanted)).toBeLessThan(0.001)
    }
  })

  // Closed form: a second-order all-pass turns by half a circle at its frequency and changes no level.
  test('an all-pass turns the phase and leaves the level', async () => {
    const [plain] = await tonesOf([STILL_CAPTURE])
    const [turned] = await tonesOf(['outputs: { 1: { all_pass: [{ freq_hz: 997 }] } }', STILL_CAPTURE])
    expect(Math.abs(Math.abs(turnRad(plain.phaseRad, turned.phaseRad)) - Math.PI)).toBeLessThan(1e-4)
    expect(dB(turned.peak / plain.peak)).toBeCloseTo(0, 3)
  })

  test('a band that is full in place of the map lets through what the map keeps out', async () => {
    const at = async (fault: string): Promise<number> => {
      const model = modelOf(QUILLON, `outputs: { 9: { ${fault} } }`, STILL_CAPTURE)
      return (await captureOf(model, toneOn('left', 320, 0.5, 1), rigOf(1), [9])).tone(0, 320, 0.3, 0.9).peak
    }
    const full = await at('band: full')
    // Level is set at 40 Hz through the map's filter: |H(40)| of 80 Hz, fourth order, is 0.998; the coupling adds 0.001.
    expect(Math.abs(dB(full / (0.5 * 2.5 * Math.SQRT2)))).toBeLessThan(0.101 + dB(1 / 0.998) + dB(1 / 0.9987))
    // Closed forms at four times the corner: 1 / sqrt(1 + 4^(2 n)).
    const ratio = (order: number): number => dB(1 / Math.sqrt(1 + (tan(320) / tan(80)) ** (2 * order)))
    expect(Math.abs(dB((await at('dead: false')) / full) - ratio(4))).toBeLessThan(0.005)
    expect(Math.abs(dB((await at('band: { high_hz: 80, order: 1 }')) / full) - ratio(1))).toBeLessThan(0.005)
    expect(Math.abs(dB((await at('band: { high_hz: 80, order: 3 }')) / full) - ratio(3))).toBeLessThan(0.005)
  })
})

describe('distortion', () => {
  const harmonicsOf = async (faults: string): Promise<number[]> => {
    const take = await captureOf(modelOf(THREE, faults, STILL_CAPTURE), toneOn('left', 997, 1, 1.2), rigOf(1), [1])
    return Array.from({ length: 20 }, (_, k) => take.tone(0, 997 * (k + 1), 0.1, 1.1).peak)
  }
  const thdPct = ([first, ...others]: readonly number[]): number => (100 * Math.hypot(...others)) / first

  test('of a healthy output is about 0.005 %', async () => {
    const harmonics = await harmonicsOf('seed: 1')
    // 0.003 to 0.0045 % of second, 0.0015 to 0.0035 % of third harmonic, at full level (off by 0.1 dB at most).
    expect(thdPct(harmonics)).toBeGreaterThan(0.0033)
    expect(thdPct(harmonics)).toBeLessThan(0.0058)
  })

  // Closed form: H2 / H1 = second / (1 - 3 third), H3 / H1 alike, at full level; the output is up to 0.1 dB off it, which
  // changes the second by as much and the third by twice as much.
  test('is what the faults say', async () => {
    const [h1, h2, h3] = await harmonicsOf('outputs: { 1: { distortion: { second_pct: 1, third_pct: 0.5 } } }')
    expect(Math.abs(dB(h2 / h1 / (0.01 / (1 - 0.015))))).toBeLessThan(0.11)
    expect(Math.abs(dB(h3 / h1 / (0.005 / (1 - 0.015))))).toBeLessThan(0.22)
  })

  // Published: a sine clipped at 0.9 of its peak has a THD of 4.215281 % in harmonics 2 to 20. Its level decides how deep
  // it clips, and that is read from the same take's unclipped twin. Output curve switched off.
  test('of a clipped output follows the closed form', async () => {
    const clean = 'distortion: { second_pct: 0 }'
    const [peakV] = await harmonicsOf(`outputs: { 1: { ${clean} } }`)
    const harmonics = await harmonicsOf(`outputs: { 1: { ${clean}, clip_vpk: ${0.9 * peakV} } }`)
    expect(Math.abs(thdPct(harmonics) - 4.215281)).toBeLessThan(0.001)
    expect(harmonics[0] / peakV).toBeCloseTo(0.9626139, 5)
    // Harmonics, re the fundamental: H3 3.28632 %, H5 2.28728 %.
    expect((100 * harmonics[2]) / harmonics[0]).toBeCloseTo(3.28632, 3)
    expect((100 * harmonics[4]) / harmonics[0]).toBeCloseTo(2.28728, 3)
  })

  test('leaves no constant behind the coupling capacitor', async () => {
    const model = modelOf(THREE, 'outputs: { 1: { distortion: { second_pct: 10 } } }', STILL_CAPTURE)
    const take = await captureOf(model, toneOn('left', 997, 1, 3), rigOf(1), [1])
    // 2.4 s behind a corner of 2 Hz: exp(-2 pi 1.8 × 2) is 1.5e-10 of 0.28 V at the start of the last second.
    const last = take.stretch(0, 1.997, 2.994)
    expect(Math.abs(last.reduce((sum, sample) => sum + sample, 0) / last.length)).toBeLessThan(1e-4)
  })
})

// Truth: the levels asked for. Noise of 20 Hz to 20 kHz is sqrt(24 000 / 19 980) times that over the whole band; its rms
// over 96 000 samples spreads by 0.02 dB; five times that.
describe('what an output adds of its own', () => {
  const idleDbv = async (fault: string): Promise<number> => {
    const model = modelOf(THREE, `outputs: { 1: { ${fault} } }`, STILL_CAPTURE)
    const take = await captureOf(model, silenceOf(2), rigOf(1), [1])
    return dB(rmsOf(take.stretch(0, 0, 2)) * Math.SQRT2 * FULL_SCALE_VRMS)
  }
  const WIDE_DB = dB(Math.sqrt(24_000 / 19_980))

  test('healthy noise lies about -95 dBV', async () => {
    expect(Math.abs((await idleDbv('dead: false')) - WIDE_DB + 95)).toBeLessThan(1.1)
  })

  test.each([-60, -85])('noise of %d dBV', async (levelDbv) => {
    expect(Math.abs((await idleDbv(`noise_dbv: ${levelDbv}`)) - WIDE_DB - levelDbv)).toBeLessThan(0.1)
  })

  // A whole number of periods of 50 and of 60 Hz: rms is exact but for the noise 60 dB below.
  test.each([
    [50, 1],
    [60, 6],
  ])('hum of %d Hz with %d lines has the level of the whole series', async (freqHz, count) => {
    const hum = `hum: { freq_hz: ${freqHz}, level_dbv: -60, harmonic_count: ${count} }, noise_dbv: -130`
    expect(Math.abs((await idleDbv(hum)) + 60)).toBeLessThan(0.001)
    const model = modelOf(THREE, `outputs: { 1: { ${hum} } }`, STILL_CAPTURE)
    const take = await captureOf(model, silenceOf(2), rigOf(1), [1])
    const rmsOfLine = (order: number): number => take.tone(0, order * freqHz, 0, 2).peak / Math.SQRT2
    const lines = Array.from({ length: count + 1 }, (_, k) => rmsOfLine(k + 1))
    expect(dB(Math.hypot(...lines.slice(0, count)))).toBeCloseTo(-60, 2)
    expect(dB(lines[count])).toBeLessThan(-120)
    // Lines fall with their order.
    if (count > 1) expect(lines[1] / lines[0]).toBeCloseTo(1 / 2, 3)
  })

  test('a whistle is one line', async () => {
    const whistle = 'whistle: { freq_hz: 3210, level_dbv: -55 }, noise_dbv: -130'
    expect(Math.abs((await idleDbv(whistle)) + 55)).toBeLessThan(0.001)
  })

  test('another output leaks in against its own voltage', async () => {
    const [plain] = await tonesOf([STILL_CAPTURE], 997, 'right')
    const tones = await tonesOf(
      ['outputs: { 1: { leak: { from_output: 2, level_db: -40 } } }', STILL_CAPTURE],
      997,
      'right',
    )
    // Its own leakage of that side, -72 dB of 2 V at most, stands beside -40 dB of 1.5 V: 0.29 dB either way.
    expect(Math.abs(dB(tones[0].peak / tones[1].peak) + 40)).toBeLessThan(0.3)
    expect(dB(tones[0].peak / plain.peak)).toBeGreaterThan(25)
  })
})

describe('dropouts', () => {
  test('silence the outputs that they name, where and as long as they say', async () => {
    const faults = 'dropouts: [{ at_s: 0.5, duration_ms: 20, outputs: [1] }]'
    const take = await captureOf(modelOf(THREE, faults, STILL_CAPTURE), toneOn('both', 997, 1, 1), rigOf(2), [1, 2])
    const volts = take.stretch(0, 0, 1)
    // Below a thousandth of full scale for longer than a zero crossing: the gap. The coupling capacitor leaves a trace of
    // 2 pi 2 Hz × 20 ms at most: a quarter; so what is looked for is the lack of a 997 Hz slope.
    const isFlat = (n: number): boolean => Math.abs(volts[n] - volts[n - 1]) < 5e-4
    const flat = [...volts.keys()].filter((n) => n > 0 && [0, 1, 2, 3, 4, 5].every((k) => isFlat(n + k)))
    expect(Math.abs(flat[0] / 48_000 - 0.5)).toBeLessThan(1 / 24_000)
    expect(Math.abs((flat.at(-1)! + 5) / 48_000 - 0.52)).toBeLessThan(1 / 24_000)
    expect(flat.length).toBe(flat.at(-1)! - flat[0] + 1)
    expect(rmsOf(take.stretch(1, 0.5, 0.52))).toBeGreaterThan(0.2)
  })

  test('without a list silence all', async () => {
    const faults = 'dropouts: [{ at_s: 0.3, duration_ms: 100 }]'
    const take = await captureOf(modelOf(THREE, faults, STILL_CAPTURE), toneOn('both', 997, 1, 1), rigOf(3), [1, 2, 3])
    for (const index of [0, 1, 2]) {
      expect(dB(take.tone(index, 997, 0.31, 0.39).peak)).toBeLessThan(-40)
      expect(dB(take.tone(index, 997, 0.42, 0.5).peak)).toBeGreaterThan(-1)
    }
  })
})

describe('an output that mutes itself', () => {
  const FAULT = 'outputs: { 1: { auto_mute: { below_dbfs: -70, after_s: 0.4 }, noise_dbv: -60 } }'

  test('is shut before the first sound, opens with it, and shuts a while after it', async () => {
    const played = toneOn('left', 997, 0.001, 2)
    played.channels[0].fill(0, 48_000)
    const take = await captureOf(modelOf(THREE, FAULT, STILL_CAPTURE), played, rigOf(1), [1])
    const levelDb = (fromS: number, toS: number): number =>
      dB(rmsOf(take.stretch(0, fromS, toS)) * Math.SQRT2 * FULL_SCALE_VRMS)
    // Noise alone at -60 dBV (+0.8 dB over the whole band) when open, 30 dB less when shut.
    const open = -60 + dB(Math.sqrt(24_000 / 19_980))
    expect(Math.abs(levelDb(-0.5, -0.1) - open + 30)).toBeLessThan(0.3)
    expect(take.tone(0, 997, 0.1, 0.9).peak).toBeCloseTo(0.001 * 2 * Math.SQRT2, 4)
    expect(Math.abs(levelDb(1.05, 1.35) - open)).toBeLessThan(0.3)
    expect(Math.abs(levelDb(1.45, 1.95) - open + 30)).toBeLessThan(0.3)
  })

  test('takes a quiet tone below its threshold for silence', async () => {
    const threshold = 10 ** (-70 / 20)
    const peaks: number[] = []
    for (const peakFs of [0.9 * threshold, 1.1 * threshold]) {
      const model = modelOf(THREE, FAULT.replace('-60', '-140'), STILL_CAPTURE)
      const take = await captureOf(model, toneOn('left', 997, peakFs, 1), rigOf(1), [1])
      peaks.push(take.tone(0, 997, 0.5, 0.9).peak / (peakFs * 2 * Math.SQRT2))
    }
    expect(peaks[0]).toBeLessThan(0.01)
    expect(peaks[1]).toBeGreaterThan(0.98)
  })

  test('hears the source behind the volume', async () => {
    const gains: number[] = []
    for (const volumeDb of [0, -10]) {
      const faults = [FAULT.replace('-60', '-140'), `head_unit: { volume_db: ${volumeDb} }`]
      const played = toneOn('left', 997, 10 ** (-65 / 20), 1)
      const take = await captureOf(modelOf(THREE, ...faults, STILL_CAPTURE), played, rigOf(1), [1])
      gains.push(take.tone(0, 997, 0.5, 0.9).peak / (10 ** ((-65 + volumeDb) / 20) * 2 * Math.SQRT2))
    }
    expect(gains[0]).toBeGreaterThan(0.98)
    expect(gains[1]).toBeLessThan(0.01)
  })
})

describe('a take', () => {
  const played = toneOn('both', 997, 0.5, 0.3)
  const numbers = [1, 2, 3, null]

  test('is the same again for the same seed and number, sample by sample', async () => {
    const [a, b] = [0, 1].map(() => captureOf(modelOf(THREE, 'seed: 4'), played, rigOf(4), numbers))
    const [first, second] = [(await a).audio.channels, (await b).audio.channels]
    expect(first.map((channel, index) => isSame(channel, second[index]))).toEqual([true, true, true, true])
  })

  test('has other noise, and the same signal, when its number is another', async () => {
    const takes = [1, 2].map((n) => captureOf(modelOf(THREE), played, rigOf(4), numbers, 'reference', n))
    const [a, b] = await Promise.all(takes)
    const difference = a.audio.channels[0].map((sample, n) => sample - b.audio.channels[0][n])
    const noiseDbv = dB((rmsOf(difference) * Math.SQRT2 * FULL_SCALE_VRMS) / Math.SQRT2)
    // Output noise -96 to -94 dBV and the card's -112 dBFS (-99.96 dBV) together, over the whole band.
    expect(noiseDbv).toBeGreaterThan(-94.6)
    expect(noiseDbv).toBeLessThan(-92.0)
  })

  test('of another seed is another vehicle', async () => {
    const peaks = [1, 2].map(async (seed) => {
      const take = await captureOf(modelOf(THREE, `seed: ${seed}`), played, rigOf(4), numbers)
      return take.tone(0, 997, 0.1, 0.3).peak
    })
    const [a, b] = await Promise.all(peaks)
    expect(Math.abs(dB(a / b))).toBeGreaterThan(0.001)
  })

  test('has the card alone on an input without a lead', async () => {
    const take = await captureOf(modelOf(THREE), played, rigOf(4), numbers)
    const level = dB(rmsOf(take.audio.channels[3]) * Math.SQRT2)
    // -112 dBFS in the audio band; 0.02 dB of spread over 110 000 samples, five times that.
    expect(Math.abs(level - dB(Math.sqrt(24_000 / 19_980)) + 112)).toBeLessThan(0.1)
  })

  test('begins and ends with noise', async () => {
    const model = modelOf(THREE, 'capture: { lead_in_s: 0.75, trail_s: 0.5, clock_offset_ppm: 0 }')
    const take = await captureOf(model, played, rigOf(1), [1])
    // Lead-in, latency of 4 to 12 ms, 0.3 s of sound, trail.
    const lengthS = take.audio.channels[0].length / 48_000
    expect(lengthS).toBeGreaterThan(0.75 + 0.004 + 0.3 + 0.5 - 0.001)
    expect(lengthS).toBeLessThan(0.75 + 0.012 + 0.3 + 0.5 + 0.001)
    expect(dB(rmsOf(take.audio.channels[0].subarray(0, 0.75 * 48_000)))).toBeLessThan(-100)
    expect(dB(rmsOf(take.audio.channels[0].subarray(-0.3 * 48_000)))).toBeLessThan(-100)
  })

  test('goes on until the latest output has played its last sample', async () => {
    const model = modelOf(
      THREE,
      'outputs: { 1: { delay_ms: 400 } }',
      'capture: { lead_in_s: 0.2, trail_s: 0, clock_offset_ppm: 0 }',
    )
    const take = await captureOf(model, played, rigOf(2), [1, 2])
    const { peak } = take.tone(0, 997, 0.6, 0.69)
    expect(Math.abs(dB(peak / (0.5 * 2 * Math.SQRT2)))).toBeLessThan(0.11)
    expect(rmsOf(take.stretch(0, 0.69, 0.699))).toBeGreaterThan(0.1)
  })

  // Closed form: the rms of a full-scale sine is the map's level, give or take the healthy 0.1 dB.
  test('knows what a meter would read on each lead', async () => {
    const take = await captureOf(modelOf(THREE), toneOn('left', 997, 1, 2), rigOf(4), numbers)
    expect(Math.abs(dB(take.leadVrms[0] / 2))).toBeLessThan(0.102)
    expect(take.leadVrms[1]).toBeLessThan(0.001)
    expect(Math.abs(dB(take.leadVrms[2] / 0.5))).toBeLessThan(0.102)
    expect(take.leadVrms[3]).toBe(0)
  })

  test('is the audio of the whole rendering', async () => {
    const model = modelOf(THREE)
    const take = { setting: 'reference', outputNumbers: [1] } as const
    const [alone, whole] = [
      await renderVehicle(model, played, take, rigOf(1)),
      (await renderTake(model, played, take, rigOf(1))).audio,
    ]
    expect(alone.sampleRateHz).toBe(whole.sampleRateHz)
    expect(isSame(alone.channels[0], whole.channels[0])).toBe(true)
  })

  test('stops between pieces when it is told to, with the reason', async () => {
    const stop = new AbortController()
    const reason = new Error('enough')
    let breaths = 0
    const breathe = async (): Promise<void> => {
      breaths++
      if (breaths === 3) stop.abort(reason)
    }
    const take = { setting: 'reference', outputNumbers: [1] } as const
    const rendering = renderTake(modelOf(THREE), toneOn('left', 997, 1, 20), take, rigOf(1), {
      signal: stop.signal,
      breathe,
    })
    await expect(rendering).rejects.toBe(reason)
    expect(breaths).toBe(3)
  })

  test('on a lead to an output that is not there is a fault in the program', async () => {
    await expect(captureOf(modelOf(THREE), played, rigOf(1), [9])).rejects.toThrow('no output 9')
  })
})
