/** Edges of the measuring: slow subwoofers, gaps, lone lines, all-passes at the edge of a band, uncertainties in noise. */
import { describe, expect, test } from 'vitest'
import { excessPhaseOf, isSettled } from '../../src/measure/excess-phase.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { locate } from '../../src/measure/locate.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { sweepReference, transferOf } from '../../src/measure/transfer.js'
import { stopOf } from '../document/stop-of.js'
import { allPass, butterworth, filtered, responseAt } from '../kit/biquad.js'
import { hiss, whiteNoise } from '../kit/random.js'
import { audioOf, joined, placeOf, playTrack, sines, summed } from '../kit/track.js'
import { transferBy } from '../kit/transfer.js'
import { half, some } from '../long.js'

const R = 48_000
const COUNT = Math.round(5.1 * R)

test.each(some([0.02, 0.05, 0.1], 1))('a gap of %d s in the middle is not taken for a clock', (gapS) => {
  const [a, b] = [playTrack({ toS: 20 }), playTrack({ fromS: 20, tailS: 1 })]
  const audio = audioOf(R, joined(a.left, new Float64Array(Math.round(gapS * R)), b.left))
  expect(stopOf(() => locate(audio, 'x')).what).toMatch(/^samples were added: \d+ ms too many in|between /)
})

test('the first half of a 48 kHz track that runs at 44.1 kHz is not called a newer revision', () => {
  const half = playTrack({ leadInS: 1, toS: 20 }).left
  expect(stopOf(() => locate(audioOf(44_100, half), 'x')).what).not.toMatch(/revision/)
})

test('the uncertainty of the clock holds for a subwoofer under noise', () => {
  const played = playTrack({ ppm: 80, leadInS: 2, tailS: 1 })
  const wire = summed(filtered(played.left, butterworth('low', 4, 80, R)), hiss(played.left.length, 0.056, 3))
  const found = locate(audioOf(R, wire), 'x')
  expect(Math.abs(1e6 * (found.samplesPerS / played.samplesPerS - 1))).toBeLessThan(found.clockOffsetPpmU)
})

test.each(half([30, 60, 40]))('a subwoofer of %d Hz, fourth order, reads as its closed form', (cornerHz) => {
  const played = playTrack({ leadInS: 0.5, fromS: 5, toS: 21 })
  const filter = butterworth('low', 4, cornerHz, R)
  const t = transferOf(Float32Array.from(filtered(played.left, filter)), sweepReference(placeOf(played)))
  GRID_HZ.forEach((hz, i) => {
    const { re, im } = responseAt(filter, hz, R)
    const truthDb = 20 * Math.log10(Math.hypot(re, im))
    if (hz < 20 || truthDb < -10) return
    expect(Math.abs(20 * Math.log10(Math.hypot(t.leftRe[i], t.leftIm[i])) - truthDb)).toBeLessThan(0.01)
  })
})

test.each([997, 60, 6300])('the level of %d Hz is read within 0.001 dB', (freqHz) => {
  for (const rate of [44_100, 48_000, 96_000]) {
    const { peakFs } = readTone(
      Float32Array.from(sines(Math.round(1.7 * rate), rate, [{ freqHz, peak: 0.7 }])),
      freqHz,
      rate,
    )
    expect(Math.abs(20 * Math.log10(peakFs / 0.7))).toBeLessThan(0.001)
  }
})

test('a silent tone has no NaN in it', () => {
  const { thdRatio, thdNRatio, thdRatioFloor } = readTone(new Float32Array(81_600), 997, R)
  expect([thdRatio, thdNRatio, thdRatioFloor].some(Number.isNaN)).toBe(false)
})

describe('noise', () => {
  test.each(half([100, 200, 300, 400, 600, 500]))('a lone line of %d Hz is not what hum is at most', (freqHz) => {
    const { humFloorFs } = readNoise(
      Float32Array.from(summed(whiteNoise(COUNT, 1e-5, 5), sines(COUNT, R, [{ freqHz, peak: 1e-3 }]))),
      R,
      null,
    )
    expect(humFloorFs).toBeLessThan(1e-5)
  })

  test('a line of 61 Hz is no mains', () => {
    const samples = summed(whiteNoise(COUNT, 1e-5, 5), sines(COUNT, R, [{ freqHz: 61, peak: 1e-3 }]))
    expect(readNoise(Float32Array.from(samples), R, null).hum).toBeNull()
  })

  test('hum of 49.5 Hz, 1 % off, is read whole', () => {
    const peaks = Array.from({ length: 16 }, (_, k) => 1e-3 / (k + 1))
    const samples = summed(
      whiteNoise(COUNT, 1e-5, 5),
      sines(
        COUNT,
        R,
        peaks.map((peak, k) => ({ freqHz: 49.5 * (k + 1), peak })),
      ),
    )
    const { hum } = readNoise(Float32Array.from(samples), R, null)
    expect(Math.abs(20 * Math.log10(hum!.rmsFs / Math.hypot(...peaks)))).toBeLessThan(0.1)
  })

  test('a tone of -60 dBFS that is taken out leaves quiet noise as it is', () => {
    const count = Math.round(2.7 * R)
    const noise = whiteNoise(count, 1e-7, 6)
    const with_ = readNoise(Float32Array.from(summed(noise, sines(count, R, [{ freqHz: 997, peak: 1e-3 }]))), R, 997)
    const without = readNoise(Float32Array.from(noise), R, null)
    expect(Math.abs(20 * Math.log10(with_.unweightedFs / without.unweightedFs))).toBeLessThan(1)
  })
})

describe('excess phase', () => {
  const excess = (path: Parameters<typeof transferBy>[0]) => {
    const t = transferBy(path)
    return excessPhaseOf(t.leftRe, t.leftIm, t.leftError)!
  }

  test.each<[string, number, number]>([
    ['low', 15, 0.4],
    ['low', 17.5, 0.5],
    ['low', 20, 0.5],
    ['high', 2500, 0.4],
    ['high', 3000, 0.5],
    ['high', 3500, 0.4],
  ])('an all-pass at the %s band’s edge, %d Hz, Q %d, never gives the wrong sign with confidence', (kind, hz, q) => {
    const band = kind === 'low' ? butterworth('low', 4, 80, R) : butterworth('high', 4, 3000, R)
    const found = excess({ filter: [...band, allPass(hz, q, R)], delayS: 0.002, errorDb: -70 })
    expect(found.sign === 1 || !isSettled(found)).toBe(true)
  })

  test.each<[string, ReturnType<typeof butterworth>]>([
    ['80 Hz low-pass', butterworth('low', 4, 80, R)],
    ['60 Hz low-pass', butterworth('low', 4, 60, R)],
    ['3 kHz low-pass', butterworth('low', 4, 3000, R)],
    ['150 Hz to 7 kHz', [...butterworth('high', 4, 150, R), ...butterworth('low', 4, 7000, R)]],
  ])('the delay of a %s is within its uncertainty nine times out of ten', (_, filter) => {
    for (const errorDb of [-80, -60, -40]) {
      let inside = 0
      for (let seed = 50; seed < 70; seed++) {
        const { delayS, delayU } = excess({ filter, delayS: 0.013, errorDb, seed })
        if (Math.abs(delayS - 0.013) <= delayU) inside++
      }
      expect(inside).toBeGreaterThanOrEqual(18)
    }
  })
})
