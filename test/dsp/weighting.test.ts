import { describe, expect, test } from 'vitest'
import { A_WEIGHTING, C_WEIGHTING, CLASS_1_LIMITS } from '../../src/dsp/tables/iec-61672-1-2013.js'
import { BS_468_RESPONSE } from '../../src/dsp/tables/itu-r-bs-468-4.js'
import {
  aPowerGain,
  aWeightDb,
  bs468PowerGain,
  bs468WeightDb,
  ccirRmsWeightDb,
  cPowerGain,
  cWeightDb,
} from '../../src/dsp/weighting.js'

const exactHz = (nominalHz: number): number => 10 ** (Math.round(10 * Math.log10(nominalHz)) / 10)

// Truth: the printed table. It was computed at exact band centres 10^(n/10) Hz and rounded to 0.1 dB, so we ask there
// and allow half of the last digit.
test.each(A_WEIGHTING)('A-weighting at %d Hz nominal matches IEC 61672-1:2013, Table 3', (nominalHz, weightDb) => {
  expect(Math.abs(aWeightDb(exactHz(nominalHz)) - weightDb)).toBeLessThan(0.05)
})
test.each(C_WEIGHTING)('C-weighting at %d Hz nominal matches IEC 61672-1:2013, Table 3', (nominalHz, weightDb) => {
  expect(Math.abs(cWeightDb(exactHz(nominalHz)) - weightDb)).toBeLessThan(0.05)
})

test('the printed tables cover the same bands', () => {
  expect(A_WEIGHTING.map(([nominalHz]) => nominalHz)).toEqual(C_WEIGHTING.map(([nominalHz]) => nominalHz))
  expect(A_WEIGHTING).toHaveLength(34)
})

// Truth: the standard's poles as a public library prints them to 16 digits, put into the standard's formula and rounded
// to 1e-6 dB elsewhere. Rows: nominal Hz, A, C.
// biome-ignore format: one decade after another, three columns.
const TO_SIX_PLACES = [
  [10, -70.430368, -14.330011], [12.5, -63.371118, -11.248617], [16, -56.688089, -8.530714], [20, -50.45216, -6.240056],
  [25, -44.702968, -4.405456], [31.5, -39.439966, -3.0103], [40, -34.630253, -1.998705], [50, -30.228208, -1.293973],
  [63, -26.194344, -0.818019], [80, -22.50379, -0.50379],
  [100, -19.142777, -0.299636], [125, -16.098411, -0.16851], [160, -13.350305, -0.085066], [200, -10.87037, -0.032511],
  [250, -8.630293, 0], [315, -6.611009, 0.019285], [400, -4.808433, 0.029426], [500, -3.232658, 0.032581],
  [630, -1.900475, 0.029426], [800, -0.823856, 0.019285],
  [1000, 0, 0], [1250, 0.591164, -0.032511], [1600, 0.980699, -0.085066], [2000, 1.199942, -0.16851],
  [2500, 1.270698, -0.299636], [3150, 1.198698, -0.50379], [4000, 0.969877, -0.818019], [5000, 0.548652, -1.293973],
  [6300, -0.121206, -1.998705], [8000, -1.110658, -3.0103],
  [10000, -2.491787, -4.405456], [12500, -4.317514, -6.240056], [16000, -6.602564, -8.530714], [20000, -9.316925, -11.248617],
] as const

test.each(TO_SIX_PLACES)('weights at %d Hz nominal keep six places', (nominalHz, aDb, cDb) => {
  // Half of the last digit, and 1e-9 for the rounding of the comparison.
  expect(Math.abs(aWeightDb(exactHz(nominalHz)) - aDb)).toBeLessThan(0.501e-6)
  expect(Math.abs(cWeightDb(exactHz(nominalHz)) - cDb)).toBeLessThan(0.501e-6)
})

describe('the definition of Annex E', () => {
  test('holds 0 dB at 1 kHz exactly', () => {
    expect(aWeightDb(1000)).toBe(0)
    expect(cWeightDb(1000)).toBe(0)
  })

  test('puts the half-power points of C-weighting at 10^1.5 Hz and 10^3.9 Hz', () => {
    // Closed form: that is how the poles are chosen. Rounding through two roots: some 1e-13 dB.
    expect(Math.abs(cWeightDb(10 ** 1.5) - 10 * Math.log10(0.5))).toBeLessThan(1e-11)
    expect(Math.abs(cWeightDb(10 ** 3.9) - 10 * Math.log10(0.5))).toBeLessThan(1e-11)
  })
})

test('a nominal frequency gives another weight than the exact one of its band', () => {
  // Truth: published traps of the table, printed to 0.001 dB.
  expect(Math.abs(aWeightDb(12.5) + 63.584)).toBeLessThan(0.0005)
  expect(Math.abs(aWeightDb(16) + 56.422)).toBeLessThan(0.0005)
  expect(Math.abs(aWeightDb(16_000) + 6.706)).toBeLessThan(0.0005)
})

test('A and C stay within the limits of class 1 at every band', () => {
  // Truth: the acceptance limits that the table prints beside its goals; the goals are rounded to 0.1 dB.
  CLASS_1_LIMITS.forEach(([nominalHz, above, below], k) => {
    for (const [weight, table] of [
      [aWeightDb, A_WEIGHTING],
      [cWeightDb, C_WEIGHTING],
    ] as const) {
      expect(table[k][0]).toBe(nominalHz)
      const offDb = weight(exactHz(nominalHz)) - table[k][1]
      expect(offDb).toBeLessThan(above)
      expect(offDb).toBeGreaterThan(-below)
    }
  })
  expect(CLASS_1_LIMITS).toHaveLength(34)
})

describe('the noise weighting of ITU-R BS.468-4', () => {
  test.each(BS_468_RESPONSE)('at %d Hz is %d dB', (freqHz, weightDb, toleranceDb) => {
    // Truth: Table 1. The network's rational form is known to miss it by 0.089 dB at most; at 6.3 kHz, where the table
    // allows nothing, it misses by 0.022 dB, half of the table's last digit.
    expect(Math.abs(bs468WeightDb(freqHz) - weightDb)).toBeLessThan(Math.min(0.09, toleranceDb || 0.05))
  })

  test('has its peak where the network has it', () => {
    // Truth: the rational form worked out elsewhere: +12.1789 dB at 6247 Hz, -0.038675 dB at 1 kHz.
    expect(Math.abs(bs468WeightDb(6247) - 12.1789)).toBeLessThan(0.00005)
    expect(bs468WeightDb(6247)).toBeGreaterThan(bs468WeightDb(6200))
    expect(bs468WeightDb(6247)).toBeGreaterThan(bs468WeightDb(6300))
    expect(Math.abs(bs468WeightDb(1000) + 0.038675)).toBeLessThan(5e-7)
  })

  // Truth: AES17-2015, Table 1 as transcribed: rounded to 0.1 dB, and 6.6 dB within 0.01 dB at 6.3 kHz (the network: 6.548).
  test.each([
    [1000, -5.6],
    [2000, 0],
    [6300, 6.6],
  ])('lowered to unity gain at 2 kHz, at %d Hz is %d dB', (freqHz, weightDb) => {
    expect(Math.abs(ccirRmsWeightDb(freqHz) - weightDb)).toBeLessThan(0.075)
  })
})

test('gains of power are the weights', () => {
  for (const freqHz of [20, 997, 6300, 20_000]) {
    expect(Math.abs(10 * Math.log10(aPowerGain(freqHz)) - aWeightDb(freqHz))).toBeLessThan(1e-10)
    expect(Math.abs(10 * Math.log10(cPowerGain(freqHz)) - cWeightDb(freqHz))).toBeLessThan(1e-10)
  }
})

describe('noise through a weighting', () => {
  /**
   * Level against the unweighted one of the same band, dB. Simpson's rule on a grid of 0.5 Hz; its error falls with the fourth
   * power of the step and is far below the last digit even at 20 Hz.
   */
  const through = (gain: (f: number) => number, lowHz: number, highHz: number, density = (_: number) => 1): number => {
    const stepHz = 0.5
    const steps = (highHz - lowHz) / stepHz
    let [sum, all] = [0, 0]
    for (let i = 0; i <= steps; i++) {
      const hz = lowHz + i * stepHz
      const share = (i === 0 || i === steps ? 1 : i % 2 ? 4 : 2) * density(hz)
      sum += share * gain(hz)
      all += share
    }
    return 10 * Math.log10(sum / all)
  }

  // Truth: integrals of the same curves by scipy's adaptive quadrature, to 0.0001 dB. Rows: band, A, C, BS.468.
  test.each([
    [20, 20_000, -2.0483, -3.4505, 7.2628],
    [10, 22_000, -2.3947, -3.8043, 6.8468],
    [0, 24_000, -2.7225, -4.1379, 6.467],
  ])('white, from %d Hz to %d Hz, changes by what the integrals say', (lowHz, highHz, aDb, cDb, bs468Db) => {
    expect(Math.abs(through(aPowerGain, lowHz, highHz) - aDb)).toBeLessThan(0.00006)
    expect(Math.abs(through(cPowerGain, lowHz, highHz) - cDb)).toBeLessThan(0.00006)
    expect(Math.abs(through(bs468PowerGain, lowHz, highHz) - bs468Db)).toBeLessThan(0.00006)
  })

  test('pink, from 20 Hz to 20 kHz, changes by what the integrals say', () => {
    const pink = (hz: number): number => 1 / hz
    expect(Math.abs(through(aPowerGain, 20, 20_000, pink) + 2.8586)).toBeLessThan(0.00006)
    expect(Math.abs(through(bs468PowerGain, 20, 20_000, pink) - 4.6271)).toBeLessThan(0.00006)
  })

  test('white, A-weighted, has the equivalent bandwidth that was worked out elsewhere', () => {
    const equivalentHz = 19_980 * 10 ** (through(aPowerGain, 20, 20_000) / 10)
    expect(Math.abs(equivalentHz - 12_467.18)).toBeLessThan(0.005)
  })
})

test('nothing passes at 0 Hz', () => {
  expect(aWeightDb(0)).toBe(-Infinity)
  expect(cWeightDb(0)).toBe(-Infinity)
  expect(bs468WeightDb(0)).toBe(-Infinity)
})
