/** Level and distortion of waves whose Fourier series are known in closed form. */
import { describe, expect, test } from 'vitest'
import { flatWindow } from '../../src/measure/line-spectrum.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { hiss, uniformFrom, whiteNoise } from '../kit/random.js'
import { clipped, shaped, sines, summed } from '../kit/track.js'

const RATE_HZ = 48_000
/** As much as the analysis takes of a tone of 2 s. */
const LENGTH_S = 1.7
const COUNT = LENGTH_S * RATE_HZ

const toneOf = (freqHz: number, peak: number, samplesPerS = RATE_HZ): Float64Array =>
  sines(Math.round(LENGTH_S * samplesPerS), samplesPerS, [{ freqHz, peak }])
const readAt = (samples: Float64Array, freqHz: number, samplesPerS = RATE_HZ) =>
  readTone(Float32Array.from(samples), freqHz, samplesPerS)

/** Seeds far from each other: streams of the kit's generator whose seeds are alike may be one stream, a little shifted. */
function seedsFrom(seed: number): () => number {
  const uniform = uniformFrom(seed)
  return () => Math.floor(2 ** 32 * uniform())
}

/** Noise of uniform values: a narrow band of it is as normal as that of normal ones, and it is quickly made. */
function inHiss(clean: Float64Array, rms: number, seed: number): Float32Array {
  const noise = hiss(clean.length, rms, seed)
  const out = new Float32Array(clean.length)
  for (let n = 0; n < out.length; n++) out[n] = clean[n] + noise[n]
  return out
}

/**
 * A spectrum is read between its bins by a windowed sinc whose window has side lobes of -92 dB (Harris 1978): 2.5e-5 of
 * a line, and as much again for what float32 samples and the window's own skirts do.
 */
const EXACT = 5e-5
const EXACT_DB = 20 * Math.log10(1 + EXACT)

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
      expect(Math.abs(20 * Math.log10(peakFs / 0.7))).toBeLessThan(EXACT_DB)
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
    expect(Math.abs(reading.peakFs / fundamental - 1)).toBeLessThan(EXACT)
    expect(Math.abs((100 * reading.thdRatio) / thdPct - 1)).toBeLessThan(2 * EXACT)
  })

  // Truth: y = x + a2 x^2 + a3 x^3 of A cos wt has A + 3/4 a3 A^3, a2 A^2 / 2 and a3 A^3 / 4.
  test.each([
    [0.01, 0.001, 1, 0.5002494228],
    [0.02, 0.01, 1, 1.0231031329],
    [0.1, 0.05, 0.5, 2.4960550304],
    [0.01, -0.02, 1, 0.7178749048],
  ])('of the polynomial with a2 = %d and a3 = %d at a peak of %d', (a2, a3, peak, thdPct) => {
    const { peakFs, harmonicsFs, thdRatio } = readAt(shaped(toneOf(997, peak), a2, a3), 997)
    expect(Math.abs(peakFs / (peak + 0.75 * a3 * peak ** 3) - 1)).toBeLessThan(EXACT)
    expect(Math.abs(harmonicsFs[0] / ((a2 * peak ** 2) / 2) - 1)).toBeLessThan(EXACT)
    expect(Math.abs(harmonicsFs[1] / ((Math.abs(a3) * peak ** 3) / 4) - 1)).toBeLessThan(EXACT)
    // Float32 steps of the samples are noise at -150 dB: no fourth order.
    expect(harmonicsFs[2]).toBeLessThan(1e-7)
    expect(Math.abs((100 * thdRatio) / thdPct - 1)).toBeLessThan(2 * EXACT)
  })

  test.each([60, 6300])('of the polynomial at %d Hz, as far as the band reaches', (freqHz) => {
    const { thdRatio, harmonicsFs } = readAt(shaped(toneOf(freqHz, 0.5), 0.1, 0.05), freqHz)
    expect(harmonicsFs.length).toBe(freqHz === 60 ? 19 : 2)
    expect(Math.abs((100 * thdRatio) / 2.4960550304 - 1)).toBeLessThan(2 * EXACT)
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
    expect(Math.abs(reading.thdRatio / overFundamental - 1)).toBeLessThan(2 * EXACT)
    const overTotal = overFundamental / Math.hypot(1, overFundamental)
    expect(Math.abs(reading.thdNRatio / overTotal - 1)).toBeLessThan(2 * EXACT)
  })

  test('over the total follows from that over the fundamental', () => {
    // Truth: R = F / sqrt(1 + F²); a square wave's F = 0.4568602750 up to order 20 as above.
    const { thdRatio, thdRRatio } = readAt(clipped(toneOf(997, 1), 0.5), 997)
    expect(thdRRatio).toBeCloseTo(thdRatio / Math.sqrt(1 + thdRatio ** 2), 12)
  })

  test('of a clean tone in noise is at most what noise may hide', () => {
    let boundCount = 0
    for (let seed = 1; seed <= 20; seed++) {
      const samples = summed(toneOf(997, 0.7), whiteNoise(COUNT, 1e-3, seed))
      const { thdRatio, thdRatioU, thdIsAtMost, thdRatioFloor } = readAt(samples, 997)
      // 2.5 deviations: noise passes for distortion in 1 of 100 takes, and is then within two of them of the clean truth.
      if (thdIsAtMost) boundCount++
      else expect(thdRatio - 2 * thdRatioU).toBeLessThan(0.6 * thdRatioFloor)
      // Root of the noise in 19 lines: peaks of 2 sigma sqrt(1.14 / N) each (rms), the window's noise bandwidth being 1.14.
      expect(thdRatioFloor / ((2 * 1e-3 * Math.sqrt((19 * 1.14) / COUNT)) / 0.7)).toBeGreaterThan(0.9)
      expect(thdRatioFloor / ((2 * 1e-3 * Math.sqrt((19 * 1.14) / COUNT)) / 0.7)).toBeLessThan(1.1)
      if (thdIsAtMost) expect(thdRatio).toBeLessThan(1.2 * thdRatioFloor)
    }
    expect(boundCount).toBeGreaterThanOrEqual(18)
  })

  test('takes a line that is there without the tone for a bound of what may lie under it', () => {
    const samples = sines(COUNT, RATE_HZ, [
      { freqHz: 60, peak: 0.5 },
      { freqHz: 120, peak: 1e-3 },
      { freqHz: 180, peak: 2e-4 },
    ])
    const read = (linesHz: readonly number[]) => readTone(Float32Array.from(samples), 60, RATE_HZ, linesHz)
    const strong = read([120])
    expect(Math.abs(strong.harmonicsFs[0] / 1e-3 - 1)).toBeLessThan(2 * EXACT)
    expect([strong.harmonicsAtMost[0], strong.harmonicsAtMost[1], strong.thdIsAtMost]).toEqual([true, false, true])
    expect(Math.abs(strong.thdRatio / Math.hypot(2e-3, 4e-4) - 1)).toBeLessThan(2 * EXACT)
    // A line that is weaker than what is seen widens the interval: from that to both together.
    const weak = read([180])
    const [least, most] = [2e-3, Math.hypot(2e-3, 4e-4)]
    expect(weak.thdIsAtMost).toBe(false)
    expect(Math.abs(weak.thdRatio / ((least + most) / 2) - 1)).toBeLessThan(2 * EXACT)
    expect(Math.abs(weak.thdRatioU / ((most - least) / Math.sqrt(12)) - 1)).toBeLessThan(0.01)
  })
})

describe('in noise, over 300 seeded takes', () => {
  // Truth: the harmonics that were put in; noise of known power. A tone of 1.7 s at 80 dB (noise of 0 to 24 kHz) can give
  // a line of 0.003 % no better than 1.17 % (Rife and Boorstyn 1974: σ(A) = σ sqrt(2 / N)); the window's noise
  // bandwidth of 1.14 makes it 1.25 %.
  const noiseRms = (0.7 / Math.SQRT2) * 1e-4
  const taken = new Map<number, ReturnType<typeof readAt>[]>()
  const readings = (thd: number) => {
    const known = taken.get(thd)
    if (known) return known
    const clean = sines(COUNT, RATE_HZ, [
      { freqHz: 997, peak: 0.7 },
      { freqHz: 1994, peak: 0.7 * thd * 0.8 },
      { freqHz: 2991, peak: 0.7 * thd * 0.6 },
    ])
    const seeds = seedsFrom(5)
    const all = Array.from({ length: 300 }, () => readTone(inHiss(clean, noiseRms, seeds()), 997, RATE_HZ))
    taken.set(thd, all)
    return all
  }
  const share = (holds: readonly boolean[]): number => holds.filter(Boolean).length / holds.length

  test.each([3e-5, 1e-5])('THD of %d is without bias, and its uncertainty true', (thd) => {
    const all = readings(thd)
    const errors = all.map(({ thdRatio }) => thdRatio / thd - 1)
    const rms = Math.hypot(...errors) / Math.sqrt(all.length)
    const mean = errors.reduce((sum, error) => sum + error, 0) / all.length
    expect(rms).toBeLessThan((0.0125 * 3e-5 * 1.12) / thd)
    // Mean of 300: three deviations. The root of an unbiased power is low by half its variance.
    expect(Math.abs(mean)).toBeLessThan((3 * rms) / Math.sqrt(300) + 0.5 * rms ** 2)
    // 95.4 % with three deviations of a binomial count of 300, 3.6 %.
    const covered = share(all.map(({ thdRatio, thdRatioU }) => Math.abs(thdRatio - thd) <= 2 * thdRatioU))
    expect(covered).toBeGreaterThan(0.918)
    const meanU = all.reduce((sum, { thdRatioU }) => sum + thdRatioU, 0) / all.length / thd
    // A deviation of 300 is known to 4 %; at 1e-5, eight deviations above noise, the interval is a little wide.
    expect(meanU / rms).toBeGreaterThan(0.88)
    expect(meanU / rms).toBeLessThan(1.16)
  })

  test('THD+N and level are true within their uncertainty', () => {
    const all = readings(3e-5)
    const inBand = noiseRms * Math.sqrt(19_980 / 24_000)
    const tone = 0.7 / Math.SQRT2
    const truth = Math.hypot(inBand, tone * 3e-5) / Math.hypot(tone, inBand)
    expect(share(all.map((r) => Math.abs(r.thdNRatio - truth) <= 2 * r.thdNRatioU))).toBeGreaterThan(0.918)
    expect(share(all.map((r) => Math.abs(r.peakFs - 0.7) <= 2 * r.peakFsU))).toBeGreaterThan(0.918)
    expect(all[0].sinadDb).toBeCloseTo(-20 * Math.log10(all[0].thdNRatio), 9)
  })
})

describe('THD+N', () => {
  // Truth: |H|² = x² / (x² + Q⁻²), x = (f0² - f²) / (f0 f), at Q 2: orders 2 to 4 read low by these decibels.
  test.each([
    [2, 0.4576],
    [3, 0.1501],
    [4, 0.0765],
  ])('through the standard notch reads order %d low by %d dB', (order, lowDb) => {
    const tone = sines(COUNT, RATE_HZ, [
      { freqHz: 997, peak: 0.7 },
      { freqHz: 997 * order, peak: 0.007 },
    ])
    const { thdNRatio, thdNNotchRatio } = readAt(tone, 997)
    expect(Math.abs(20 * Math.log10(thdNRatio / thdNNotchRatio) - lowDb)).toBeLessThan(0.001)
  })

  test('with known white noise is that noise in 20 Hz to 20 kHz over the total', () => {
    const [noiseRms, peak] = [1e-3, 0.7]
    const inBand = noiseRms * Math.sqrt(19_980 / 24_000)
    const truth = inBand / Math.hypot(inBand, peak / Math.SQRT2)
    // The window weighs the noise: its power scatters by sqrt(2 sum w^4 x 24000 / 19980) / sum w^2, its rms by half that.
    const { window } = flatWindow(COUNT)
    const sumOf = (power: number): number => window.reduce((sum, weight) => sum + weight ** power, 0)
    const scatter = (0.5 * Math.sqrt((2 * sumOf(4) * 24_000) / 19_980)) / sumOf(2)
    for (const seed of [1, 2, 3, 4]) {
      const { thdNRatio } = readAt(summed(toneOf(997, peak), whiteNoise(COUNT, noiseRms, seed)), 997)
      expect(Math.abs(thdNRatio / truth - 1)).toBeLessThan(4 * scatter)
    }
  })

  // Truth: a line of mean square L in noise of q per noise bandwidth (1.14 / T) scatters by √(2 L q); white noise by itself by
  // what it does without lines. All over the whole, 10.83 times the mean square of the noise; amplitudes by half.
  test('with a hum that is known is as sure as its noise, not as if the hum were noise', () => {
    const [noiseRms, humHz] = [1e-3, [50, 150, 250]]
    const hum = sines(
      COUNT,
      RATE_HZ,
      humHz.map((freqHz) => ({ freqHz, peak: Math.sqrt(20 / 3) * noiseRms })),
    )
    const [told, alone] = [hum, new Float64Array(COUNT)].map((lines) => {
      const wire = summed(toneOf(997, 0.7), lines, whiteNoise(COUNT, noiseRms, 5))
      return readTone(Float32Array.from(wire), 997, RATE_HZ, lines === hum ? humHz : [])
    })
    const truth = Math.sqrt(10 + 19_980 / 24_000) * noiseRms
    const share = 19_980 / 24_000 / (10 + 19_980 / 24_000)
    const own = (alone.thdNRatioU / alone.thdNRatio) * share
    const beats = (0.5 * Math.sqrt((2 * 10 * 1.14) / LENGTH_S / 24_000)) / (10 + 19_980 / 24_000)
    const whole = Math.hypot(own, beats)
    expect(Math.abs(told.thdNRatio / (truth / Math.hypot(truth, 0.7 / Math.SQRT2)) - 1)).toBeLessThan(3 * whole)
    // The noise under each line is read from the few bins beside it.
    expect(Math.abs(told.thdNRatioU / told.thdNRatio / whole - 1)).toBeLessThan(0.3)
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

  test('counts a line that stands 35 Hz beside the tone, two lobes of the window', () => {
    const samples = sines(COUNT, RATE_HZ, [
      { freqHz: 997, peak: 0.7 },
      { freqHz: 1032, peak: 0.007 },
    ])
    // Truth: 1 % of the fundamental, over the total.
    expect(Math.abs(readAt(samples, 997).thdNRatio / (0.01 / Math.hypot(1, 0.01)) - 1)).toBeLessThan(2 * EXACT)
  })
})

test('harmonics that lie under lines are bounded by the lines, not by nothing', () => {
  // Truth: a second harmonic of 0.01 % on a hum line of 0.1 %, and nothing at the other orders.
  const count = 96_000
  const at = (n: number, hz: number): number => Math.sin((2 * Math.PI * hz * n) / 48_000)
  const samples = Float32Array.from(
    { length: count },
    (_, n) => 0.7 * (at(n, 60) + 1e-4 * at(n, 120)) + 7e-4 * at(n, 120),
  )
  const { thdRatio, thdIsAtMost } = readTone(samples, 60, 48_000, [120, 180])
  expect(thdIsAtMost).toBe(true)
  expect(thdRatio).toBeGreaterThan(1e-4)
  expect(thdRatio).toBeLessThan(1.2e-3)
})
