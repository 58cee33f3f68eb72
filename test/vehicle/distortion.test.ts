import { describe, expect, test } from 'vitest'
import { distort } from '../../src/vehicle/distortion.js'
import { dB, fitTone, isSame } from './scene.js'

const RATE_HZ = 48_000
const sineOf = (freqHz: number, peak: number, lengthS = 1.2): Float32Array =>
  Float32Array.from({ length: lengthS * RATE_HZ }, (_, n) => peak * Math.sin((2 * Math.PI * freqHz * n) / RATE_HZ))

/** One second from the middle, where the filters' ends have no part. */
const peakAt = (samples: Float32Array, freqHz: number): number =>
  fitTone(samples.subarray(0.1 * RATE_HZ, 1.1 * RATE_HZ), freqHz, RATE_HZ).peak

// Truth: y = x + a2 x² + a3 x³ with x = A sin: H1 = A + 3/4 a3 A³, H2 = a2 A² / 2, H3 = a3 A³ / 4.
// Tolerance: the half-band filter passes a product with an error of 1e-4, its stop band's 80 dB; H1 is off by that part
// of 0.015. Float32 rounding, averaged over 48 000 samples, lies far below.
describe('a soft curve', () => {
  test('gives the published harmonics of a2 = 0.01, a3 = -0.02', () => {
    const samples = sineOf(997, 1)
    distort(samples, 1, 0.005, 0.005)
    const [h1, h2, h3] = [997, 1994, 2991].map((freqHz) => peakAt(samples, freqHz))
    expect(Math.abs(h1 - 0.985)).toBeLessThan(1.5e-6)
    expect(Math.abs(h2 - 0.005)).toBeLessThan(5e-7)
    expect(Math.abs(h3 - 0.005)).toBeLessThan(5e-7)
    // Printed: THD_F 0.7178749048 %.
    expect(Math.abs((100 * Math.hypot(h2, h3)) / h1 - 0.7178749)).toBeLessThan(1e-4)
  })

  test('is milder at lower levels: the second falls with the level, the third with its square', () => {
    const samples = sineOf(997, 0.7)
    distort(samples, 2.8, 0.01, 0.008)
    // A is a quarter of full: a2 A² / 2 = 0.01 A / 4, a3 A³ / 4 = 0.008 A / 16.
    expect(peakAt(samples, 1994) / 0.7).toBeCloseTo(0.01 / 4, 6)
    expect(peakAt(samples, 2991) / 0.7).toBeCloseTo(0.008 / 16, 6)
  })

  test('of a healthy output has its harmonics too', () => {
    const samples = sineOf(997, 2)
    distort(samples, 2, 4e-5, 3e-5)
    expect(dB(peakAt(samples, 1994) / 2 / 4e-5)).toBeCloseTo(0, 1)
    expect(dB(peakAt(samples, 2991) / 2 / 3e-5)).toBeCloseTo(0, 1)
  })

  test('leaves the signal as it is where there is none', () => {
    const samples = sineOf(997, 1)
    distort(samples, 1, 0, 0)
    expect(isSame(samples, sineOf(997, 1))).toBe(true)
  })
})

describe('products above half the rate', () => {
  // Closed form of folding: 2 × 15 000 Hz would stand at 48 000 - 30 000 Hz, 3 × 11 000 Hz at 48 000 - 33 000 Hz.
  test.each([
    [15_000, 18_000],
    [11_000, 15_000],
  ])('of %d Hz do not fold to %d Hz', (freqHz, foldedHz) => {
    const samples = sineOf(freqHz, 1)
    distort(samples, 1, 0.02, 0.02)
    // 80 dB below a product at -34 dB, as the half-band filter is made for.
    expect(dB(peakAt(samples, foldedHz))).toBeLessThan(-34 - 80)
  })

  // The same filter passes what lies in the audio band: its ripple is that of its stop band, 1e-4 or 0.001 dB.
  test('are not missed below: 2 × 9 kHz is whole', () => {
    const samples = sineOf(9000, 1)
    distort(samples, 1, 0.02, 0)
    expect(Math.abs(dB(peakAt(samples, 18_000) / 0.02))).toBeLessThan(0.003)
  })
})
