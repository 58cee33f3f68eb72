/**
 * Outputs that come at different times, as loud as each other: which of them a chirp is found by is chance, and an output that
 * bends weighs less in a mix of them at each level. Truth: the place and the even clock that the takes were made with.
 */
import { expect, test } from 'vitest'
import { locate } from '../../src/measure/locate.js'
import { spanU } from '../../src/measure/time-map.js'
import { sectionStartS } from '../../src/stimulus/layout.js'
import { filtered, peaking } from '../kit/biquad.js'
import { whiteNoise } from '../kit/random.js'
import { audioOf, clipped, delayed, type Played, playTrack, scaled, shaped, summed } from '../kit/track.js'
import { everyNth } from '../long.js'

const RATE_HZ = 48_000
const played = playTrack({ ppm: 60, leadInS: 0.5, tailS: 0.4 })
const COUNT = played.left.length
const bent = (samples: Float64Array): Float64Array => shaped(samples, 0, 0.02)
const cut = (samples: Float64Array): Float64Array => clipped(samples, 0.6)
const same = (samples: Float64Array): Float64Array => samples

function takeOf(
  { left, right }: Played,
  lateCount: number,
  shape: (samples: Float64Array) => Float64Array,
  seed: number,
) {
  const late = filtered(delayed(right, lateCount), [peaking(230, 5, 4, RATE_HZ)])
  const wires = [shape(left), scaled(late, -1)]
  return audioOf(RATE_HZ, ...wires.map((wire, k) => summed(wire, whiteNoise(COUNT, 1e-4, 10 * seed + k))))
}

// 0.05 µs between the sweeps is a twentieth of what delays are wanted to; the walk's own floor is 0.035 µs (k = 2).
test.each([
  ['straight', same],
  ['bent', bent],
  ['cut off at -4.4 dBFS', cut],
] as const)('one %s, the other 10 to 290 samples later: one track, an even clock, nothing jumps', (_, shape) => {
  for (const [seed, lateCount] of everyNth([10, 34, 120, 220, 290], 2).entries()) {
    const found = locate(takeOf(played, lateCount, shape, seed), 'take.wav')
    expect(found.clockJumpS).toBe(0)
    expect(found.trackCount).toBe(1)
    expect(Math.abs(found.clockOffsetPpm - 60)).toBeLessThan(0.001)
    const sweepsUsOff = (found.samplesPerS / played.samplesPerS - 1) * 5.4 + 1e-6 * Math.abs(found.clockDriftPpm ?? 0)
    expect(Math.abs(sweepsUsOff)).toBeLessThan(0.05e-6)
    expect(spanU(found, sectionStartS('sweep_left'), sectionStartS('sweep_right'))).toBeLessThan(0.1e-6)
    // By one output or the other.
    const placed = found.startSample - played.startSample
    expect(Math.min(Math.abs(placed), Math.abs(placed - lateCount))).toBeLessThan(1)
  }
})
