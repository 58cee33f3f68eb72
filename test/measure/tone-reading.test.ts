/** Level and distortion of waves whose Fourier series are known in closed form. */
import { describe, expect, test } from 'vitest'
import { HFT144D } from '../../src/dsp/tables/heinzel-ruediger-schilling-2002.js'
import { cosineWindow } from '../../src/dsp/windows.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { uniformFrom, whiteNoise } from '../kit/random.js'
import { clipped, shaped, sines, summed } from '../kit/track.js'

const RATE_HZ = 48_000
/** As much as the analysis takes of a tone of 2 s. */
const LENGTH_S = 1.7
const COUNT = LENGTH_S * RATE_HZ

const toneOf = (freqHz: number, peak: number, samplesPerS = RATE_HZ): Float64Array =>
  sines(Math.round(LENGTH_S * samplesPerS), samplesPerS, [{ freqHz, peak }])
const readAt = (samples: Float64Array, freqHz: number, samplesPerS = RATE_HZ) =>
  readTone(Float32Array.from(samples), freqHz, samplesPerS)

/**
 * The window's top is flat to 0.00213 dB half a bin off (G. Heinzel, A. Rüdiger, R. Schilling, 2002), and a tone is read at
 * the nearest bin. As a ratio; a quotient of two tones may be off by twice that.
 */
const FLATNESS_DB = 0.00214
const FLATNESS = 10 ** (FLATNESS_DB / 20) - 1

describe('level', () => {
  test.each([
    [997, 48_000],
    [60, 48_000],
    [6300, 48_000],
    [997, 44_100],
    [6300, 96_000],
  ])('of %d Hz at %d Hz is the sine that was put in', (freqHz, rateHz) => {
    for (const ppm of [0, 80, -500]) {
      const samplesPerS = rateHz * (1 + ppm * 1e-6)
      const { peakFs } = readAt(toneOf(freqHz, 0.7, samplesPerS), freqHz, samplesPerS)
      expect(Math.abs(20 * Math.log10(peakFs / 0.7))).toBeLessThan(FLATNESS_DB)
    }
  })

  test('does not move with a direct voltage under the tone', () => {
    const lifted = toneOf(997, 0.5).map((value) => value + 0.25)
    const [with_, without] = [readAt(lifted, 997), readAt(toneOf(997, 0.5), 997)]
    expect(with_.peakFs).toBeCloseTo(without.peakFs, 7)
    expect(with_.thdNRatio).toBeLessThan(2e-6)
  })
})

describe('THD', () => {
  // Truth: Fourier series of y = clip(sin, r), sum of orders 2 to 20 over the fundamental, and that fundamental. At
  // 48 kHz what lies above folds back, but on no harmonic of 997 Hz.
  test.each([
    [0.99, 0.9988013805, 0.27823],
    [0.9, 0.9626139265, 4.215281],
    [0.5, 0.608997781, 23.285337],
  ])('of a sine clipped at %d of its peak, orders 2 to 20', (ratio, fundamental, thdPct) => {
    const reading = readAt(clipped(toneOf(997, 1), ratio), 997)
    expect(reading.harmonicsFs.length).toBe(19)
    expect(Math.abs(reading.peakFs / fundamental - 1)).toBeLessThan(FLATNESS)
    expect(Math.abs((100 * reading.thdRatio) / thdPct - 1)).toBeLessThan(2 * FLATNESS)
  })

  // Truth: y = x + a2 x^2 + a3 x^3 of A cos wt has A + 3/4 a3 A^3, a2 A^2 / 2 and a3 A^3 / 4.
  test.each([
    [0.01, 0.001, 1, 0.5002494228],
    [0.02, 0.01, 1, 1.0231031329],
    [0.1, 0.05, 0.5, 2.4960550304],
    [0.01, -0.02, 1, 0.7178749048],
  ])('of the polynomial with a2 = %d and a3 = %d at a peak of %d', (a2, a3, peak, thdPct) => {
    const { peakFs, harmonicsFs, thdRatio } = readAt(shaped(toneOf(997, peak), a2, a3), 997)
    expect(Math.abs(peakFs / (peak + 0.75 * a3 * peak ** 3) - 1)).toBeLessThan(FLATNESS)
    expect(Math.abs(harmonicsFs[0] / ((a2 * peak ** 2) / 2) - 1)).toBeLessThan(FLATNESS)
    expect(Math.abs(harmonicsFs[1] / ((Math.abs(a3) * peak ** 3) / 4) - 1)).toBeLessThan(FLATNESS)
    // Float32 steps of the samples are noise at -150 dB: no fourth order.
    expect(harmonicsFs[2]).toBeLessThan(1e-7)
    expect(Math.abs((100 * thdRatio) / thdPct - 1)).toBeLessThan(2 * FLATNESS)
  })

  test.each([60, 6300])('of the polynomial at %d Hz, as far as the band reaches', (freqHz) => {
    const { thdRatio, harmonicsFs } = readAt(shaped(toneOf(freqHz, 0.5), 0.1, 0.05), freqHz)
    expect(harmonicsFs.length).toBe(freqHz === 60 ? 19 : 2)
    expect(Math.abs((100 * thdRatio) / 2.4960550304 - 1)).toBeLessThan(2 * FLATNESS)
  })

  test('and THD+N of a square wave made of its terms up to 20 kHz', () => {
    const orders = Array.from({ length: 10 }, (_, k) => 2 * k + 1)
    const square = sines(
      COUNT,
      RATE_HZ,
      orders.map((n) => ({ freqHz: 997 * n, peak: (0.5 * 4) / (Math.PI * n) })),
    )
    const reading = readAt(square, 997)
    // Truth: terms 4 / (pi n), n odd; the sum of 3 to 19 over the first, and over the total.
    const overFundamental = 0.456860275
    expect(Math.abs(reading.thdRatio / overFundamental - 1)).toBeLessThan(2 * FLATNESS)
    const overTotal = overFundamental / Math.hypot(1, overFundamental)
    expect(Math.abs(reading.thdNRatio / overTotal - 1)).toBeLessThan(2 * FLATNESS)
  })

  test('of a clean tone in noise is its floor, so that it counts as at most', () => {
    for (const seed of [1, 2, 3, 4]) {
      const samples = summed(toneOf(997, 0.7), whiteNoise(COUNT, 1e-3, seed))
      const { thdRatio, thdRatioFloor } = readAt(samples, 997)
      // 19 harmonics are sums of 38 squares of normal values: rms ratio 1, spread 1 / sqrt(76) = 0.11; four times that,
      // and the scatter of the median besides.
      expect(thdRatio / thdRatioFloor).toBeGreaterThan(0.5)
      expect(thdRatio / thdRatioFloor).toBeLessThan(1.5)
    }
  })
})

describe('THD+N', () => {
  test('with known white noise is that noise in 20 Hz to 20 kHz over the total', () => {
    const [noiseRms, peak] = [1e-3, 0.7]
    const inBand = noiseRms * Math.sqrt(19_980 / 24_000)
    const truth = inBand / Math.hypot(inBand, peak / Math.SQRT2)
    // The window weighs the noise: its power scatters by sqrt(2 sum w^4 x 24000 / 19980) / sum w^2, its rms by half that.
    const window = cosineWindow(HFT144D, COUNT)
    const sumOf = (power: number): number => window.reduce((sum, weight) => sum + weight ** power, 0)
    const scatter = (0.5 * Math.sqrt((2 * sumOf(4) * 24_000) / 19_980)) / sumOf(2)
    for (const seed of [1, 2, 3, 4]) {
      const { thdNRatio } = readAt(summed(toneOf(997, peak), whiteNoise(COUNT, noiseRms, seed)), 997)
      expect(Math.abs(thdNRatio / truth - 1)).toBeLessThan(4 * scatter)
    }
  })

  test('of a clean tone of 24 bits with dither is below 0.0002 %', () => {
    const uniform = uniformFrom(9)
    const step = 2 ** -23
    const quantised = toneOf(997, 10 ** (-3 / 20)).map(
      (value) => step * Math.round(value / step + uniform() - uniform()),
    )
    const { thdNRatio, thdRatio } = readAt(quantised, 997)
    // Truth: the word's own noise, q^2 / 4, is 0.00001 %; the window's side lobes at -144 dB add as much.
    expect(100 * thdNRatio).toBeLessThan(0.0002)
    expect(100 * thdRatio).toBeLessThan(0.0002)
  })

  test.each([1, 80, 500])('is not made by a clock that is off by %d ppm, once that is known', (ppm) => {
    // Removing one bin of a second of 997 Hz would leave -55 dB, 0.18 %, at 1 ppm already: (pi f T ppm)^2 / 3.
    for (const sign of [1, -1]) {
      const samplesPerS = RATE_HZ * (1 + sign * ppm * 1e-6)
      const { thdNRatio } = readAt(toneOf(997, 0.7, samplesPerS), 997, samplesPerS)
      expect(100 * thdNRatio).toBeLessThan(0.0002)
    }
  })

  test('counts a line that stands 20 Hz beside the tone', () => {
    const samples = sines(COUNT, RATE_HZ, [
      { freqHz: 997, peak: 0.7 },
      { freqHz: 1017, peak: 0.007 },
    ])
    // Truth: 1 % of the fundamental, over the total.
    expect(Math.abs(readAt(samples, 997).thdNRatio / (0.01 / Math.hypot(1, 0.01)) - 1)).toBeLessThan(2 * FLATNESS)
  })
})
