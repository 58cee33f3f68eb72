import { describe, expect, test } from 'vitest'
import { cutAbove, incoherentCopy, limit } from '../../src/vehicle/source.js'
import { dB, fitTone, isSame, rmsOf } from './scene.js'

const RATE_HZ = 48_000
const sineOf = (freqHz: number, peak: number, lengthS: number, rateHz = RATE_HZ): Float32Array =>
  Float32Array.from({ length: lengthS * rateHz }, (_, n) => peak * Math.sin((2 * Math.PI * freqHz * n) / rateHz))

describe('a lossy source', () => {
  // Design of the filter: nothing lost 200 Hz below, half at the edge, 100 dB down 200 Hz above; without delay.
  test.each([44_100, 48_000, 96_000])('is cut at its edge, without delay, at %d Hz', (rateHz) => {
    const gainAt = (freqHz: number): { levelDb: number; phaseRad: number } => {
      const samples = sineOf(freqHz, 0.5, 1.2, rateHz)
      cutAbove(samples, 16_000, rateHz)
      const fit = fitTone(samples.subarray(0.1 * rateHz, 1.1 * rateHz), freqHz, rateHz, 0.1 * rateHz)
      return { levelDb: dB(fit.peak / 0.5), phaseRad: fit.phaseRad }
    }
    for (const freqHz of [20, 997, 10_000, 15_800]) {
      const { levelDb, phaseRad } = gainAt(freqHz)
      expect(Math.abs(levelDb)).toBeLessThan(0.001)
      expect(Math.abs(phaseRad)).toBeLessThan(1e-4)
    }
    expect(Math.abs(gainAt(16_000).levelDb + 6.0206)).toBeLessThan(0.01)
    for (const freqHz of [16_200, 17_000, 20_000]) expect(gainAt(freqHz).levelDb).toBeLessThan(-98)
  })
})

describe('a limiter', () => {
  const SPEC = { thresholdDbfs: -12, ratio: 4, attackS: 0.05, releaseS: 0.3 }
  const limited = (sides: readonly [Float32Array, Float32Array], spec = SPEC): void => limit(sides, spec, RATE_HZ)

  // Closed form: L dBFS above T become T + (L - T) / ratio. The largest sample of 25 ms may miss a 6.3 kHz peak by 0.001 dB.
  test.each([60, 997, 6300])('lowers what is above its threshold by its ratio at %d Hz, and nothing else', (freqHz) => {
    for (const [levelDbfs, wantedDbfs] of [
      [-40, -40],
      [-12.1, -12.1],
      [-8, -11],
      [0, -9],
    ]) {
      const left = sineOf(freqHz, 10 ** (levelDbfs / 20), 1.5)
      limited([left, new Float32Array(left.length)])
      const { peak } = fitTone(left.subarray(RATE_HZ), freqHz, RATE_HZ)
      expect(Math.abs(dB(peak) - wantedDbfs)).toBeLessThan(0.005)
    }
  })

  test('adds no harmonics to a steady tone', () => {
    const left = sineOf(60, 1, 2)
    limited([left, left.slice()])
    for (const order of [2, 3, 5])
      expect(dB(fitTone(left.subarray(RATE_HZ), 60 * order, RATE_HZ).peak)).toBeLessThan(-80)
  })

  test('leaves what is below its threshold as it is, sample by sample', () => {
    const left = sineOf(997, 0.25, 0.5)
    limited([left, left.slice()])
    expect(isSame(left, sineOf(997, 0.25, 0.5))).toBe(true)
  })

  // Closed form: the gain in dB falls as 9 (1 - exp(-t / attack)) behind a step to 0 dBFS, and comes back as exp(-t / release)
  // 25 ms after it. Read over 4 ms, in which it moves by 0.7 dB at most, evenly to 0.03 dB.
  test('follows a step with its time constants', () => {
    const left = sineOf(1000, 1, 1.5).map((value, n) => (n < 0.3 * RATE_HZ || n >= RATE_HZ ? 0.1 * value : value))
    const before = left.slice()
    limited([left, left.slice()])
    const gainDb = (atS: number): number => {
      const [from, to] = [Math.round((atS - 0.002) * RATE_HZ), Math.round((atS + 0.002) * RATE_HZ)]
      return dB(rmsOf(left.subarray(from, to)) / rmsOf(before.subarray(from, to)))
    }
    for (const laterS of [0.01, 0.05, 0.2]) {
      expect(Math.abs(gainDb(0.3 + laterS) + 9 * (1 - Math.exp(-laterS / 0.05)))).toBeLessThan(0.06)
    }
    for (const laterS of [0.1, 0.3]) {
      expect(Math.abs(gainDb(1 + 0.025 + laterS) + 9 * Math.exp(-laterS / 0.3))).toBeLessThan(0.06)
    }
  })

  test('lowers both sides by the louder one', () => {
    const [left, right] = [sineOf(997, 1, 1.5), sineOf(997, 0.01, 1.5)]
    limited([left, right])
    expect(Math.abs(dB(fitTone(right.subarray(RATE_HZ), 997, RATE_HZ).peak) + 40 + 9)).toBeLessThan(0.005)
  })
})

describe('an incoherent copy', () => {
  const LENGTH_S = 40
  const copies = [1, 2].map((seed) => incoherentCopy(sineOf(997, 1, LENGTH_S), seed, RATE_HZ))

  // Closed form: six gains sqrt(2 / 6) cos have the mean power 1 together. Echoes that swing at paces 1/3 Hz apart or more leave
  // products of 1 / (2 pi 40 / 3), 1.2 % of a power of 1/3 each, in 15 pairs: 0.1 dB.
  test.each(copies)('has on the average the power of its side', (copy) => {
    expect(Math.abs(dB(rmsOf(copy.subarray(4800)) * Math.SQRT2))).toBeLessThan(0.3)
  })

  // Over 40 s the slowest pace of more than 1 Hz leaves 1 / (2 pi 40) of each echo.
  test.each(copies)('keeps nothing of a steady tone itself', (copy) => {
    expect(dB(fitTone(copy, 997, RATE_HZ).peak)).toBeLessThan(-30)
  })

  test.each(copies)('changes from one tenth of a second to the next', (copy) => {
    const levels = Array.from({ length: 300 }, (_, k) => dB(rmsOf(copy.subarray(4800 * (k + 10), 4800 * (k + 11)))))
    expect(Math.max(...levels) - Math.min(...levels)).toBeGreaterThan(6)
  })

  test('is the same again for the same seed, and another for another', () => {
    expect(isSame(copies[0], incoherentCopy(sineOf(997, 1, LENGTH_S), 1, RATE_HZ))).toBe(true)
    expect(isSame(copies[0], copies[1])).toBe(false)
  })
})
