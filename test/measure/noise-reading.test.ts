/** Noise, hum and lines, against closed forms and the published figures of ideal words. */
import { describe, expect, test } from 'vitest'
import { aWeightDb } from '../../src/dsp/weighting.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { uniformFrom, whiteNoise } from '../kit/random.js'
import { sines, summed } from '../kit/track.js'

const RATE_HZ = 48_000
/** As much as the analysis takes of the silence of 6 s. */
const COUNT = Math.round(5.1 * RATE_HZ)

const read = (samples: Float64Array, excludedHz: number | null = null, samplesPerS = RATE_HZ) =>
  readNoise(Float32Array.from(samples), samplesPerS, excludedHz)
const db = (ratio: number): number => 20 * Math.log10(ratio)

/**
 * By how much more the A-weighted level of white noise scatters than the unweighted one: the weighting narrows the band to
 * (sum of W)^2 / sum of W^2.
 */
const A_SCATTER = (() => {
  let [sum, squares, count] = [0, 0, 0]
  for (let freqHz = 20; freqHz <= 20_000; freqHz += 10) {
    const weight = 10 ** (aWeightDb(freqHz) / 10)
    sum += weight
    squares += weight * weight
    count++
  }
  return Math.sqrt((count * squares) / (sum * sum))
})()

describe('white noise', () => {
  test('of an ideal 16-bit word with TPDF dither reads as the word', () => {
    const seeds = [1, 2, 3, 4, 5, 6, 7, 8]
    let [meanUnweighted, meanWeighted, u] = [0, 0, 0]
    for (const seed of seeds) {
      const uniform = uniformFrom(seed)
      const step = 2 ** -15
      const word = new Float64Array(COUNT).map(() => step * Math.round(uniform() - uniform()))
      const { unweightedFs, aWeightedFs, relativeU } = read(word)
      // Truth: error power q^2 / 4, 20 Hz to 20 kHz of 24 kHz: -94.1155 dBFS, A-weighted -96.1637 dBFS. Tolerance: four
      // times the reading's own standard uncertainty.
      const unweighted = unweightedFs / 10 ** (-94.1155 / 20) - 1
      const weighted = aWeightedFs / 10 ** (-96.1637 / 20) - 1
      expect(Math.abs(unweighted)).toBeLessThan(4 * relativeU)
      expect(Math.abs(weighted)).toBeLessThan(4 * relativeU * A_SCATTER)
      meanUnweighted += unweighted / seeds.length
      meanWeighted += weighted / seeds.length
      u = relativeU
    }
    // Nor is there a bias that the mean of all would show.
    expect(Math.abs(meanUnweighted)).toBeLessThan((4 * u) / Math.sqrt(seeds.length))
    expect(Math.abs(meanWeighted)).toBeLessThan((4 * u * A_SCATTER) / Math.sqrt(seeds.length))
  })

  test.each([44_100, 48_000, 96_000])('at %d Hz stands at its level, and A lies 2.0483 dB under it', (rateHz) => {
    const rms = 1e-3
    for (const seed of [1, 2, 3]) {
      const reading = read(whiteNoise(Math.round(5.1 * rateHz), rms, seed), null, rateHz)
      // Truth: flat density; a full-scale sine's rms is 1 / sqrt 2. The weighting by the integral of IEC 61672-1:2013.
      const truth = rms * Math.SQRT2 * Math.sqrt(19_980 / (rateHz / 2))
      expect(Math.abs(reading.unweightedFs / truth - 1)).toBeLessThan(4 * reading.relativeU)
      // Both come from the same noise, so their difference scatters by less than the A-weighted level alone.
      const uDb = db(1 + 4 * reading.relativeU * A_SCATTER)
      expect(Math.abs(db(reading.aWeightedFs / reading.unweightedFs) + 2.0483)).toBeLessThan(uDb)
    }
  })

  test('has third-octave bands that rise by 1 dB each and add up to the whole', () => {
    const { bandHz, bandFs, unweightedFs } = read(whiteNoise(COUNT, 1e-3, 5))
    expect(bandHz.length).toBe(31)
    // Truth: bandwidth grows by 10^0.1. Tolerance: five times the scatter of a band of 232 Hz over 5 s, 1.5 %, and down.
    for (let k = bandHz.findIndex((hz) => hz > 990); k < bandHz.length; k++) {
      const truth = 1e-3 * Math.SQRT2 * Math.sqrt((bandHz[k] * 0.2307675162) / 24_000)
      expect(Math.abs(bandFs[k] / truth - 1)).toBeLessThan(0.075 * Math.sqrt(1000 / bandHz[k]) + 0.001)
    }
    // The outermost bands reach beyond 20 Hz to 20 kHz: to 17.8 Hz and 22.4 kHz.
    const sum = Math.hypot(...bandFs)
    expect(Math.abs(sum / (unweightedFs * Math.sqrt((22_387.2 - 17.8) / 19_980)) - 1)).toBeLessThan(0.005)
  })

  test('holds no hum and no lines, over 20 seeds', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const { hum, lines } = read(whiteNoise(COUNT, 1e-4, 100 + seed))
      expect(hum).toBeNull()
      expect(lines).toEqual([])
    }
  })
})

test('the level of a full-scale sine is 1: the scale is that of AES17', () => {
  // A Hann window sees all of it within four bins.
  const { unweightedFs, aWeightedFs } = read(sines(COUNT, RATE_HZ, [{ freqHz: 1000, peak: 1 }]))
  expect(unweightedFs).toBeCloseTo(1, 3)
  expect(aWeightedFs).toBeCloseTo(1, 3)
})

describe('hum', () => {
  const hiss = whiteNoise(COUNT, 1e-5, 7)
  const withHum = (freqHz: number, peaks: readonly number[]): Float64Array =>
    summed(
      hiss,
      sines(
        COUNT,
        RATE_HZ,
        peaks.map((peak, k) => ({ freqHz: freqHz * (k + 1), peak })),
      ),
    )

  test.each([
    [50, 50],
    [60, 60],
    [49.9, 50],
    [50.1, 50],
    [60.1, 60],
  ])('of %d Hz is the rms sum of its series, and named %d Hz', (freqHz, nominalHz) => {
    for (const peaks of [
      [1e-3, 5e-4, 3e-4, 2e-4],
      [1e-3, 0, 5e-4, 0, 3e-4],
      [0, 1e-3, 0, 4e-4],
    ]) {
      const { hum, lines } = read(withHum(freqHz, peaks))
      expect(hum?.freqHz).toBe(nominalHz)
      expect(hum?.lineHz.length).toBe(peaks.filter((peak) => peak > 0).length)
      // Truth: hypot of the peaks, for a sine of peak 1 stands at 1. A Hann window cut at two bins either side of the
      // highest keeps all but 0.02 dB; noise is 60 dB down.
      expect(Math.abs(db(hum!.rmsFs / Math.hypot(...peaks)))).toBeLessThan(0.1)
      expect(lines).toEqual([])
    }
  })

  test('of a first line that towers alone is hum as well', () => {
    const { hum } = read(withHum(50, [1e-3]))
    expect(Math.abs(db(hum!.rmsFs / 1e-3))).toBeLessThan(0.1)
  })

  test('is told from a whine: a single line that belongs to no series', () => {
    for (const freqHz of [317, 440, 900, 1200, 3150]) {
      const { hum, lines } = read(summed(hiss, sines(COUNT, RATE_HZ, [{ freqHz, peak: 1e-3 }])))
      expect(hum).toBeNull()
      expect(lines.length).toBe(1)
      // Half a bin of 0.73 Hz, and the level as above.
      expect(Math.abs(lines[0].freqHz - freqHz)).toBeLessThan(0.37)
      expect(Math.abs(db(lines[0].rmsFs / 1e-3))).toBeLessThan(0.1)
    }
  })

  test('beside a whine leaves both with their own level', () => {
    const both = summed(withHum(50, [1e-3, 0, 5e-4]), sines(COUNT, RATE_HZ, [{ freqHz: 1234, peak: 3e-4 }]))
    const { hum, lines, unweightedFs } = read(both)
    expect(Math.abs(db(hum!.rmsFs / Math.hypot(1e-3, 5e-4)))).toBeLessThan(0.1)
    expect(lines.map(({ freqHz }) => Math.round(freqHz))).toEqual([1234])
    expect(Math.abs(db(unweightedFs / Math.hypot(1e-3, 5e-4, 3e-4)))).toBeLessThan(0.01)
  })

  test('that is not there is at most what noise puts on its multiples', () => {
    const { humFloorFs } = read(hiss)
    // Truth: sixteen places of five bins of 0.73 Hz; which place of three or more is highest is chosen, so it reads up to
    // half as much again.
    const truth = 1e-5 * Math.SQRT2 * Math.sqrt((16 * 5 * (RATE_HZ / 2 ** 16)) / 24_000)
    expect(humFloorFs / truth).toBeGreaterThan(0.8)
    expect(humFloorFs / truth).toBeLessThan(1.5)
  })
})

describe('with a tone that does not count', () => {
  const count = Math.round(2.7 * RATE_HZ)
  const tone = sines(count, RATE_HZ, [{ freqHz: 997, peak: 1e-3 }])

  test('the noise under it reads as it does without', () => {
    const noise = whiteNoise(count, 3e-5, 6)
    const [with_, without] = [read(summed(noise, tone), 997), read(noise)]
    // What is left of the tone beside the bins that are taken out is 51 dB below it, 111 dB below full scale; the noise
    // stands at -88 dB.
    expect(Math.abs(db(with_.unweightedFs / without.unweightedFs))).toBeLessThan(0.05)
    expect(Math.abs(db(with_.aWeightedFs / without.aWeightedFs))).toBeLessThan(0.05)
    expect(with_.lines).toEqual([])
    expect(with_.hum).toBeNull()
  })

  test('another line stays', () => {
    const samples = summed(whiteNoise(count, 1e-5, 6), tone, sines(count, RATE_HZ, [{ freqHz: 2345, peak: 1e-3 }]))
    const { lines, unweightedFs } = read(samples, 997)
    expect(lines.map(({ freqHz }) => Math.round(freqHz))).toEqual([2345])
    expect(Math.abs(db(unweightedFs / 1e-3))).toBeLessThan(0.01)
  })
})

test('digital silence reads as none', () => {
  const { unweightedFs, aWeightedFs, relativeU, hum, lines } = read(new Float64Array(COUNT))
  expect([unweightedFs, aWeightedFs, relativeU, hum, lines]).toEqual([0, 0, 0, null, []])
})

test('a stretch that is too short is refused', () => {
  expect(() => read(new Float64Array(1000))).toThrow(new RangeError('readNoise: 1000 samples, want 65536 or more'))
})
