/** A clock that walks while the take lasts: read from the steady tones. Truth: the walk that the take was made with. */
import { describe, expect, test } from 'vitest'
import type { Located } from '../../src/measure/analysis.js'
import { locate } from '../../src/measure/locate.js'
import {
  BETWEEN_S,
  bulgeS,
  FIRST_AT_S,
  LAST_AT_S,
  momentAt,
  sampleAt,
  samplesPerSAt,
  spanU,
} from '../../src/measure/time-map.js'
import { CHIRP, sectionStartS, trackDurationS } from '../../src/stimulus/layout.js'
import { butterworth, filtered } from '../kit/biquad.js'
import { hiss } from '../kit/random.js'
import { audioOf, playTrack, summed } from '../kit/track.js'
import { playOnWalkingClock } from '../kit/walking-clock.js'

const RATE_HZ = 48_000
const MARKER_RMS = CHIRP.peakFs / Math.SQRT2
const SWEEPS_S = [sectionStartS('sweep_left'), sectionStartS('sweep_right')] as const

describe('the time map', () => {
  const located: Located = {
    startSample: 1234.5,
    samplesPerS: 48_010,
    clockOffsetPpm: 0,
    clockOffsetPpmU: 0.01,
    clockDriftPpm: 20,
    clockDriftPpmU: 0.1,
    revision: 1,
    match: 1,
  }

  // Truth: a ratio that rises evenly from -10 to +10 ppm over 37 s. Its integral is 0 at both ends and, in the middle,
  // minus a quarter of the time times 10 ppm: 93 µs.
  test('is a parabola that is even at both markers', () => {
    const middleS = (FIRST_AT_S + LAST_AT_S) / 2
    for (const tS of [FIRST_AT_S, LAST_AT_S]) expect(sampleAt(located, tS)).toBeCloseTo(1234.5 + 48_010 * tS, 6)
    expect(bulgeS(middleS)).toBeCloseTo(-BETWEEN_S / 8, 9)
    expect((sampleAt(located, middleS) - 1234.5) / 48_010 - middleS).toBeCloseTo((-20e-6 * BETWEEN_S) / 8, 9)
  })

  test('says the rate that is the slope of the place', () => {
    for (const tS of [0, 10, 20, 40]) {
      const slope = (sampleAt(located, tS + 0.5) - sampleAt(located, tS - 0.5)) / 1
      expect(samplesPerSAt(located, tS)).toBeCloseTo(slope, 6)
    }
    expect(samplesPerSAt(located, LAST_AT_S) / samplesPerSAt(located, FIRST_AT_S) - 1).toBeCloseTo(20e-6, 9)
  })

  // One step of the inverse leaves the square of 20 ppm of a bulge of 93 µs: 2 ns.
  test('goes back from the sample to the moment within 2 ns', () => {
    for (let tS = 0; tS < trackDurationS(); tS += 1) {
      expect(Math.abs(momentAt(located, sampleAt(located, tS)) - tS)).toBeLessThan(2e-9)
    }
  })

  test('without a walk is a straight line', () => {
    const even: Located = { ...located, clockDriftPpm: undefined, clockDriftPpmU: undefined }
    expect(sampleAt(even, 20)).toBe(1234.5 + 20 * 48_010)
    expect(samplesPerSAt(even, 20)).toBe(48_010)
    expect(spanU(even, 0, 10)).toBeCloseTo(1e-7, 12)
  })
})

describe('a clock that walks', () => {
  // From the first marker to the last are 37.2 s. Tolerance: the uncertainty that is said, which is k = 2; the bias from
  // where in a chirp its place is read is a tenth of it.
  test.each([
    [2, 80],
    [-5, -500],
    [20, 500],
  ])('by %d ppm in a take, %d ppm off, is read, and every section stands where the map puts it', (walkPpm, ppm) => {
    const played = playOnWalkingClock({ ppm, walkPpmPerS: walkPpm / BETWEEN_S })
    const found = locate(audioOf(RATE_HZ, summed(played.left, hiss(played.left.length, 1e-3 * MARKER_RMS, 1))), 'x')
    expect(Math.abs(found.clockDriftPpm! - walkPpm)).toBeLessThan(found.clockDriftPpmU!)
    expect(found.clockDriftPpmU).toBeLessThan(0.15)
    expect(found.clockJumpS).toBe(0)
    // What a delay between a left and a right output needs: both sweeps at their distance, within 0.2 µs.
    const [left, right] = SWEEPS_S.map((tS) => sampleAt(found, tS) - played.sampleOf(tS))
    expect(Math.abs(right - left) / RATE_HZ).toBeLessThan(0.2e-6)
    expect(Math.abs(right - left) / RATE_HZ).toBeLessThan(spanU(found, ...SWEEPS_S))
  })

  test('is not made up for a clock that is even', () => {
    const played = playTrack({ ppm: 50, tailS: 0.5 })
    const found = locate(audioOf(RATE_HZ, summed(played.left, hiss(played.left.length, 1e-3 * MARKER_RMS, 2))), 'x')
    expect(Math.abs(found.clockDriftPpm!)).toBeLessThan(found.clockDriftPpmU!)
  })

  // Coverage: of 12 seeded takes the true distance of the sweeps is within the uncertainty (k = 2) in 11.4 on average; fewer
  // than 9 has a chance of 1 in 400 if it is honest.
  test('leaves the distance of the sweeps within its uncertainty, whatever the noise', { timeout: 60_000 }, () => {
    const played = playTrack({ ppm: 50, tailS: 0.5 })
    const wires = [played.left, filtered(played.left, butterworth('low', 4, 80, RATE_HZ))]
    let inside = 0
    for (let seed = 0; seed < 12; seed++) {
      const noise = hiss(played.left.length, [1e-3, 1e-2, 5e-2][seed % 3], 300 + seed)
      const found = locate(audioOf(RATE_HZ, summed(wires[seed % 2], noise)), 'x')
      const [left, right] = SWEEPS_S.map((tS) => sampleAt(found, tS) - tS * played.samplesPerS)
      if (Math.abs(right - left) / RATE_HZ <= spanU(found, ...SWEEPS_S)) inside++
    }
    expect(inside).toBeGreaterThanOrEqual(9)
  })
})
