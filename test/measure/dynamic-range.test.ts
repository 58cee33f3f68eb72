import { describe, expect, test } from 'vitest'
import { dynamicRange } from '../../src/measure/dynamic-range.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { quietAt } from '../kit/analysis.js'
import { uniformFrom, whiteNoise } from '../kit/random.js'
import { sines, summed } from '../kit/track.js'

const RATE_HZ = 48_000
const COUNT = Math.round(2.7 * RATE_HZ)
/** Four standard uncertainties of a reading: passed by 16 of 250,000. */
const FAR = 4

describe('a perfect word with TPDF dither', () => {
  // Truth: published figures of the -60 dBFS method at 48 kHz, 997 Hz, 20 Hz to 20 kHz: unweighted, A, CCIR-RMS (dB).
  test.each([
    [16, 94.1155, 96.1637, 92.4827],
    [24, 142.2803, 144.3285, 140.6475],
  ])('of %d bits has the range that is published', (bits, unweightedDb, aDb, ccirDb) => {
    const step = 2 ** (1 - bits)
    const tone = sines(COUNT, RATE_HZ, [{ freqHz: 997, peak: 1e-3 }])
    for (const seed of [1, 2, 3]) {
      const uniform = uniformFrom(seed)
      // A 32-bit float at 0.001 steps by 1e-10, 60 dB below a 24-bit word.
      const word = Float32Array.from(tone, (value) => step * Math.round(value / step + uniform() - uniform()))
      const range = dynamicRange(readNoise(word, RATE_HZ, 997), 1)!
      expect(Math.abs(range.unweightedDb - unweightedDb)).toBeLessThan(FAR * range.unweightedDbU)
      expect(Math.abs(range.aWeightedDb - aDb)).toBeLessThan(FAR * range.aWeightedDbU)
      expect(Math.abs(range.ccirRmsDb - ccirDb)).toBeLessThan(FAR * range.ccirRmsDbU)
      // 2.7 s are enough for 0.1 dB, k = 2.
      expect(2 * range.ccirRmsDbU).toBeLessThan(0.1)
    }
  })
})

test('full scale is the output’s own: half the level over the same noise is 6.02 dB less', () => {
  const noise = whiteNoise(COUNT, 1e-5, 4)
  const rangeAt = (gain: number) =>
    dynamicRange(
      readNoise(
        Float32Array.from(summed(noise, sines(COUNT, RATE_HZ, [{ freqHz: 997, peak: gain * 1e-3 }]))),
        RATE_HZ,
        997,
      ),
      gain,
    )!
  // The tone is taken off; what is left of it is rounding.
  expect(Math.abs(rangeAt(1).ccirRmsDb - rangeAt(0.5).ccirRmsDb - 6.0206)).toBeLessThan(0.001)
})

test('harmonics of the tone count, as they do under a notch', () => {
  const played = sines(COUNT, RATE_HZ, [
    { freqHz: 997, peak: 1e-3 },
    { freqHz: 1994, peak: 1e-5 },
  ])
  const range = dynamicRange(readNoise(Float32Array.from(summed(whiteNoise(COUNT, 1e-8, 4), played)), RATE_HZ, 997), 1)!
  // Closed form: one line at -100 dB; at 1994 Hz the weighting with unity gain at 2 kHz has -0.05 dB (network: 5.58 - 5.63).
  expect(Math.abs(range.unweightedDb - 100)).toBeLessThan(0.01)
  expect(Math.abs(range.ccirRmsDb - 100.05)).toBeLessThan(0.02)
})

test('nothing under the tone has no range', () => {
  const tone = { ...quietAt(0), unweightedFs: 0, tonePeakFs: 1e-3 }
  expect(dynamicRange(tone, 1)).toBeNull()
})

test('a reading without its tone, or a full scale of nothing, is refused', () => {
  expect(() => dynamicRange(quietAt(1e-5), 1)).toThrow('dynamicRange: a reading without its tone, want one with it')
  expect(() => dynamicRange({ ...quietAt(1e-5), tonePeakFs: 1e-3 }, 0)).toThrow(
    'dynamicRange: 0 for full scale, want a level above 0',
  )
})
