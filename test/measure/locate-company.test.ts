/**
 * The track is found among what else a take holds: noise, speech, music, hum, dead outputs, other passes of the track. Truth:
 * the place and rate it was made with.
 */
import { describe, expect, test } from 'vitest'
import type { Located } from '../../src/measure/analysis.js'
import { locate } from '../../src/measure/locate.js'
import { CHIRP } from '../../src/stimulus/layout.js'
import { butterworth, filtered } from '../kit/biquad.js'
import { hiss, uniformFrom } from '../kit/random.js'
import { audioOf, joined, type Played, playTrack, scaled, sines, summed } from '../kit/track.js'

const MARKER_RMS = CHIRP.peakFs / Math.SQRT2

const clockErrorPpm = (found: Located, played: Played): number => 1e6 * (found.samplesPerS / played.samplesPerS - 1)

/** The place within a sample, the clock within 0.05 ppm: 0.27 µs over the 5.4 s from one sweep to the other. */
function expectFound(found: Located, played: Played): void {
  expect(Math.abs(found.startSample - played.startSample)).toBeLessThan(1)
  expect(Math.abs(clockErrorPpm(found, played))).toBeLessThan(0.05)
}

describe('what else is in the take', () => {
  const played = playTrack({ ppm: -40, tailS: 0.5 })
  const count = played.left.length
  /** Like speech: 150 Hz to 3 kHz, four syllables a second in phrases. */
  const speech = (length: number, rms: number, seed: number): Float64Array => {
    const band = [...butterworth('low', 2, 3000, 48_000), ...butterworth('high', 2, 150, 48_000)]
    return filtered(hiss(length, 8 * rms, seed), band).map((value, n) => {
      const tS = n / 48_000
      return value * Math.max(0, Math.sin(8 * Math.PI * tS)) * Math.max(0, 0.5 + Math.sin((2 * Math.PI * tS) / 6))
    })
  }
  /** Like music: four notes a second with five harmonics each, dying away. */
  const music = (length: number, rms: number, seed: number): Float64Array => {
    const out = new Float64Array(length)
    const uniform = uniformFrom(seed)
    for (let from = 0; from < length; from += 12_000) {
      const noteHz = 55 * 2 ** (Math.floor(48 * uniform()) / 12)
      for (let order = 1; order <= 5; order++) {
        const step = (2 * Math.PI * order * noteHz) / 48_000
        const end = Math.min(length, from + 24_000)
        for (let n = from; n < end; n++) {
          out[n] += ((3 * rms) / order) * Math.exp((from - n) / 7000) * Math.sin(step * (n - from))
        }
      }
    }
    return out
  }

  test.each([
    ['noise', hiss],
    ['speech', speech],
    ['music', music],
  ])('%s as loud as the marker before and after, and 10 dB under it during the track, does no harm', (_, make) => {
    const [before, after] = [make(10 * 48_000, MARKER_RMS, 11), make(10 * 48_000, MARKER_RMS, 12)]
    const during = summed(played.left, make(count, MARKER_RMS * 10 ** (-10 / 20), 13))
    const found = locate(audioOf(48_000, joined(before, during, after)), 'take.wav')
    expectFound(found, { ...played, startSample: before.length })
    expect(Math.abs(clockErrorPpm(found, played))).toBeLessThan(found.clockOffsetPpmU)
  })

  test('hum of mains as strong as the marker does no harm', () => {
    const hum = sines(count, 48_000, [
      { freqHz: 50, peak: 0.22 },
      { freqHz: 150, peak: 0.1 },
      { freqHz: 250, peak: 0.05 },
    ])
    expectFound(locate(audioOf(48_000, summed(played.left, hum)), 'take.wav'), played)
  })

  // Scaled to equal rms, each dead input would be as loud as the live one.
  test('one live output among eleven dead ones with hiss and hum is enough', () => {
    const dead = Array.from({ length: 11 }, (_, k) =>
      summed(hiss(count, 1e-4, 20 + k), sines(count, 48_000, [{ freqHz: 50, peak: 0.01 * (k % 4) }])),
    )
    expectFound(
      locate(audioOf(48_000, ...dead.slice(0, 5), scaled(played.left, 0.1), ...dead.slice(5)), 'take.wav'),
      played,
    )
  })
})

describe('a take that holds the track several times', () => {
  const played = playTrack({ tailS: 0.3 })
  const { left } = played
  const second = { ...played, startSample: left.length }

  test('is measured by the whole one after a broken pass', () => {
    const broken = left.subarray(0, 15 * 48_000)
    const found = locate(audioOf(48_000, joined(broken, left)), 'take.wav')
    expectFound(found, { ...played, startSample: broken.length })
    expect([found.trackCount, found.trackNumber]).toEqual([1, 1])
  })

  test('is measured by the quietest of three that fit alike', () => {
    const [clean, noisy] = [left, summed(left, hiss(left.length, 0.01, 31))]
    const found = locate(audioOf(48_000, joined(noisy, clean, noisy)), 'take.wav')
    expectFound(found, second)
    expect([found.trackCount, found.trackNumber]).toEqual([3, 2])
  })

  test.each([10, 2000])('is measured by the one that has lost no samples, however few: %d', (lostCount) => {
    const lost = joined(left.subarray(0, 480_000), left.subarray(480_000 + lostCount))
    const found = locate(audioOf(48_000, joined(lost, left)), 'take.wav')
    expectFound(found, { ...played, startSample: lost.length })
    expect([found.trackCount, found.trackNumber]).toEqual([2, 2])
    expect(found.clockJumpS).toBe(0)
  })
})
