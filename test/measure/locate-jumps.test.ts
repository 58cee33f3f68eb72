/**
 * Samples that were lost or added: on all inputs the take is refused, or measured with the uncertainty that brings; on one
 * alone the clock comes from the others. Truth: the samples that were taken out, and where.
 */
import { describe, expect, test } from 'vitest'
import { locate } from '../../src/measure/locate.js'
import { BETWEEN_S, spanU } from '../../src/measure/time-map.js'
import { sectionStartS } from '../../src/stimulus/layout.js'
import { stopOf } from '../document/stop-of.js'
import { hiss } from '../kit/random.js'
import { audioOf, joined, playTrack, summed } from '../kit/track.js'
import { half } from '../long.js'

const RATE_HZ = 48_000
const LEAD_IN_S = 1
const played = playTrack({ leadInS: LEAD_IN_S, tailS: 1 })

/** Without count samples from a moment of the track on; below 0 they are there twice. */
function without(samples: Float64Array, atS: number, count: number): Float64Array {
  const at = Math.round((LEAD_IN_S + atS) * RATE_HZ)
  return joined(samples.subarray(0, at), samples.subarray(at + count))
}
const noisy = (samples: Float64Array, seed: number): Float64Array => summed(samples, hiss(samples.length, 1e-4, seed))
const both = (atS: number, count: number) =>
  audioOf(RATE_HZ, noisy(without(played.left, atS, count), 1), noisy(without(played.right, atS, count), 2))

describe('samples missing on all inputs', () => {
  const remedy = 'Close other programs on the recording computer, record into a larger buffer, and take it again.'

  // Tolerance: 'about' stands for a stretch of up to 1.5 s; a place in thousandths is known within 5 ms, and may be said by
  // where the gap of 20 ms ends.
  test.each([
    [10, 48, 'samples were skipped: 48 samples are missing in the left sweep'],
    [15.5, 960, 'samples were skipped: 20 ms are missing in the right sweep'],
    [21.5, -480, 'samples were added: 10 ms too many in the 60 Hz tone'],
  ])('at %d s, %d of them, are found where they are', (atS, count, says) => {
    const stop = stopOf(() => locate(both(atS, count), 'take.wav'))
    const [, what, about, foundS] = stop.what.match(/^(.*), ((?:about )?)(\d+\.\d+) s into the take$/)!
    expect(what).toBe(says)
    expect(Math.abs(Number(foundS) - LEAD_IN_S - atS)).toBeLessThan(about ? 0.75 : 0.025)
    expect(stop.remedy).toBe(remedy)
  })

  test('where nothing sounds, are between what sounds before and after', () => {
    expect(stopOf(() => locate(both(13.2, 960), 'take.wav')).what).toMatch(
      /^samples were skipped: 20 ms are missing between the left sweep and the right sweep, (about|from) /,
    )
    expect(stopOf(() => locate(both(4, 4800), 'take.wav')).what).toBe(
      'samples were skipped: 100 ms are missing between the opening marker and the left sweep, from 3.0 to 10.6 s into the take',
    )
  })

  test.each([
    [10, 0.3, 'it left out 0.3 s in the left sweep, about 11.0 s into the take'],
    [18.7, 0.6, 'it left out 0.6 s between the right sweep and the 997 Hz tone'],
  ])('at %d s, %d s of them, say between which parts the track left something out', (atS, gapS, says) => {
    const stop = stopOf(() => locate(both(atS, Math.round(gapS * RATE_HZ)), 'take.wav'))
    expect(
      stop.what.startsWith(`the markers are ${(37.296 - gapS).toFixed(2)} s apart, the track's are 37.30 s: `),
    ).toBe(true)
    expect(stop.what).toContain(says)
  })

  // A few samples: the clock before and after is that of the tones, the jump is said and is in the uncertainty.
  test.each(half([1, 5, -2]))('%d of them are told from a clock offset and counted as uncertainty', (count) => {
    const found = locate(both(13.2, count), 'take.wav')
    expect(Math.abs(found.clockJumpS! + count / RATE_HZ)).toBeLessThan(1e-6)
    expect(Math.abs(found.clockOffsetPpm)).toBeLessThan(found.clockOffsetPpmU)
    expect(spanU(found, sectionStartS('sweep_left'), sectionStartS('sweep_right'))).toBeGreaterThan(
      Math.abs(count) / RATE_HZ,
    )
    // Taken for a clock, one sample would be 0.56 ppm.
    expect(1e6 / RATE_HZ / BETWEEN_S).toBeGreaterThan(10 * found.clockOffsetPpmU)
  })
})

describe('samples missing on one input', () => {
  test.each(half([5, 48, 4800]))('%d of them leave the clock of the others as it is', (count) => {
    const moved = without(played.left, 20, count)
    const cut = (samples: Float64Array): Float64Array => samples.subarray(0, moved.length)
    const audio = audioOf(RATE_HZ, noisy(cut(played.left), 3), noisy(moved, 4), noisy(cut(played.right), 5))
    const found = locate(audio, 'take.wav')
    expect(found.clockJumpS).toBe(0)
    expect(Math.abs(found.clockOffsetPpm)).toBeLessThan(0.01)
    expect(Math.abs(found.startSample - LEAD_IN_S * RATE_HZ)).toBeLessThan(0.51)
  })
})
