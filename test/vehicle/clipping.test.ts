import { describe, expect, test } from 'vitest'
import { clipHard, clipSoft } from '../../src/vehicle/clipping.js'
import { half } from '../long.js'
import { dB, fitTone, isSame } from './scene.js'

const RATE_HZ = 48_000
const sineOf = (freqHz: number, peak: number): Float32Array =>
  Float32Array.from({ length: 1.2 * RATE_HZ }, (_, n) => peak * Math.sin((2 * Math.PI * freqHz * n) / RATE_HZ))
/** One second from the middle, where the filters' ends have no part. */
const peakAt = (samples: Float32Array, freqHz: number): number =>
  fitTone(samples.subarray(0.1 * RATE_HZ, 1.1 * RATE_HZ), freqHz, RATE_HZ).peak

/** Fourier series of a sine of peak 1 clipped at r. Closed form; its values are printed in tables of clipped waves. */
function clippedSine(r: number, order: number): number {
  const angle = Math.asin(r)
  if (order === 1) return (2 / Math.PI) * (angle + 0.5 * Math.sin(2 * angle))
  const part = (n: number): number => Math.sin(n * angle) / (order * n)
  return Math.abs((2 / Math.PI) * (part(order - 1) + part(order + 1)))
}

/** The same of tanh(g sin) / g, by the trapezoid rule: of a smooth periodic wave it converges to rounding. */
function softSine(g: number, order: number): number {
  const count = 4000
  let sum = 0
  for (let k = 0; k < count; k++) {
    const angle = (2 * Math.PI * k) / count
    sum += (Math.tanh(g * Math.sin(angle)) / g) * Math.sin(order * angle)
  }
  return Math.abs((2 * sum) / count)
}

const oddOrders = (freqHz: number): number[] =>
  [1, 3, 5, 7, 9, 11, 13, 15, 17, 19].filter((order) => order * freqHz <= 20_000)

test('the closed form gives the published numbers', () => {
  // Clipped at 0.9: b1 0.9626139265; H3 3.28632 %, H5 2.28728 %, H7 1.19547 % of it.
  const b1 = clippedSine(0.9, 1)
  expect(b1).toBeCloseTo(0.9626139265, 9)
  expect([3, 5, 7].map((order) => (100 * clippedSine(0.9, order)) / b1)).toEqual(
    [3.28632, 2.28728, 1.19547].map((value) => expect.closeTo(value, 4)),
  )
})

// Tolerance: 1e-4 of a harmonic, or 2e-6 of the peak where that is more (-114 dB). What folds at 32 times the rate lies beside the
// harmonics, except where the tone's period is a whole number of steps, as at 1000 Hz. There the harmonics come out as by the
// trapezoid rule, whose error is h² / 12 for each kink's slope (Euler and Maclaurin): with h = 2 pi / 1536 and four kinks of slope
// below 1, (4 / pi) h² / 12 = 1.8e-6.
describe.each(half([1000, 60, 6300, 997]))('a sine of %d Hz', (freqHz) => {
  test.each([0.999, 0.9, 0.5, 0.1])('clipped hard at %d of its peak has the harmonics of the closed form', (r) => {
    const samples = sineOf(freqHz, 1)
    clipHard(samples, r)
    for (const order of oddOrders(freqHz)) {
      const wanted = clippedSine(r, order)
      expect(Math.abs(peakAt(samples, order * freqHz) - wanted)).toBeLessThan(Math.max(1e-4 * wanted, 2e-6))
    }
  })

  test.each([0.5, 2])('clipped softly at 1 / %d of its peak has those of tanh', (g) => {
    const samples = sineOf(freqHz, 1)
    clipSoft(samples, 1 / g)
    for (const order of oddOrders(freqHz)) {
      const wanted = softSine(g, order)
      expect(Math.abs(peakAt(samples, order * freqHz) - wanted)).toBeLessThan(Math.max(1e-4 * wanted, 2e-6))
    }
  })
})

// Closed form of folding: at the rate itself the 5th harmonic of 6300 Hz stands at 48 000 - 31 500 = 16 500 Hz with 2.2 % of the
// peak (-33 dB), the 7th at 3900 Hz. With 32 times the rate the first that can fold is the 241st, and it falls on other places.
test.each([16_500, 3900, 8700])('harmonics above half the rate do not fold to %d Hz', (foldedHz) => {
  const samples = sineOf(6300, 1)
  clipHard(samples, 0.9)
  expect(dB(peakAt(samples, foldedHz))).toBeLessThan(-100)
  const plain = sineOf(6300, 1).map((value) => Math.max(-0.9, Math.min(0.9, value)))
  expect(dB(peakAt(plain, foldedHz))).toBeGreaterThan(-60)
})

test('what stays below the limit is left alone, sample by sample', () => {
  const samples = sineOf(997, 0.8)
  clipHard(samples, 1)
  expect(isSame(samples, sineOf(997, 0.8))).toBe(true)
})

test('a stretch that clips does not touch what is far from it', () => {
  const loudAt = (n: number): number => (n >= 20_000 && n < 30_000 ? 1 : 0.1)
  const samples = sineOf(997, 1).map((value, n) => value * loudAt(n))
  const before = samples.slice()
  clipHard(samples, 0.5)
  // The filters of all stages together reach 80 samples.
  expect(isSame(samples.subarray(0, 19_900), before.subarray(0, 19_900))).toBe(true)
  expect(isSame(samples.subarray(30_100), before.subarray(30_100))).toBe(true)
  expect(isSame(samples.subarray(20_000, 30_000), before.subarray(20_000, 30_000))).toBe(false)
})
