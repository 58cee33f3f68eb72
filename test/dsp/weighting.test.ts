import { describe, expect, test } from 'vitest'
import { A_WEIGHTING, C_WEIGHTING } from '../../src/dsp/tables/iec-61672-1-2013.js'
import { aWeightDb, cWeightDb } from '../../src/dsp/weighting.js'

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

test('white noise from 20 Hz to 20 kHz loses what the integral of the A-curve says', () => {
  // Truth: numerical integral worked out elsewhere: 12 467.18 Hz, -2.0483 dB. Simpson's rule on a grid of 0.5 Hz; its
  // error falls with the fourth power of the step and is far below the last digit even at 20 Hz.
  const [lowHz, highHz, stepHz] = [20, 20_000, 0.5]
  const steps = (highHz - lowHz) / stepHz
  let sum = 0
  for (let i = 0; i <= steps; i++) {
    const share = i === 0 || i === steps ? 1 : i % 2 ? 4 : 2
    sum += share * 10 ** (aWeightDb(lowHz + i * stepHz) / 10)
  }
  const equivalentHz = (sum * stepHz) / 3
  expect(Math.abs(equivalentHz - 12_467.18)).toBeLessThan(0.005)
  expect(Math.abs(10 * Math.log10(equivalentHz / (highHz - lowHz)) + 2.0483)).toBeLessThan(0.00005)
})

test('nothing passes at 0 Hz', () => {
  expect(aWeightDb(0)).toBe(-Infinity)
  expect(cWeightDb(0)).toBe(-Infinity)
})
