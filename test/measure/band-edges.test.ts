/** Corners and slopes of filters whose response is a closed form: Butterworth -3.01 dB at the corner, n times 6.02 dB an octave. */
import { describe, expect, test } from 'vitest'
import { bandEdgesOf } from '../../src/measure/band-edges.js'
import { findEqualiser } from '../../src/measure/equaliser.js'
import { butterworth, type Filter, linkwitzRiley } from '../kit/biquad.js'
import { curveOf } from '../kit/curves.js'

const RATE_HZ = 48_000
const NO_BAND = { lowHz: null, highHz: null } as const
/** Where a Linkwitz-Riley filter of fourth order is 3.01 dB down: (sqrt 2 - 1)^(1/4) of its corner, closed form. */
const LR4_RATIO = (Math.SQRT2 - 1) ** 0.25

describe('from the fitted edge', () => {
  test.each<[string, Filter, number, number]>([
    ['Butterworth of second order at 120 Hz', butterworth('low', 2, 120, RATE_HZ), 120, 12.04],
    ['Butterworth of fourth order at 80 Hz', butterworth('low', 4, 80, RATE_HZ), 80, 24.08],
    ['Linkwitz-Riley of fourth order at 80 Hz', linkwitzRiley('low', 4, 80, RATE_HZ), 80 * LR4_RATIO, 24.08],
  ])('a %s gives corner and slope of the high side', (_, filter, cornerHz, slope) => {
    const curve = curveOf({ filter })
    const { low, high } = bandEdgesOf(curve, findEqualiser(curve, NO_BAND))
    // A coupling capacitor at 2 Hz is no end of an audio band.
    expect(low).toBeNull()
    expect(high!.isFromFit).toBe(true)
    expect(Math.abs(high!.cornerHz / cornerHz - 1)).toBeLessThan(0.001)
    expect(high!.slopeDbPerOctave).toBeCloseTo(slope, 1)
  })

  test('a band-pass has both, a full-range output none', () => {
    const filter = [...butterworth('high', 4, 150, RATE_HZ), ...butterworth('low', 4, 7000, RATE_HZ)]
    const curve = curveOf({ filter })
    const { low, high } = bandEdgesOf(curve, findEqualiser(curve, { lowHz: 150, highHz: 7000 }))
    expect(Math.abs(low!.cornerHz / 150 - 1)).toBeLessThan(0.001)
    expect(Math.abs(high!.cornerHz / 7000 - 1)).toBeLessThan(0.001)
    const flat = curveOf({})
    expect(bandEdgesOf(flat, findEqualiser(flat, NO_BAND))).toEqual({ low: null, high: null })
  })

  test('twice the uncertainty covers the corner in 93 to 98 of 100 takes', () => {
    // 0.05 dB of noise; 300 takes scatter by 1.2 %.
    const filter = butterworth('high', 4, 3000, RATE_HZ)
    let inside = 0
    for (let seed = 1; seed <= 300; seed++) {
      const curve = curveOf({ filter, noiseDb: 0.05, seed })
      const { low } = bandEdgesOf(curve, findEqualiser(curve, { lowHz: 3000, highHz: null }))
      if (Math.abs(low!.cornerHz - 3000) < 2 * low!.cornerHzU) inside++
    }
    expect(inside / 300).toBeGreaterThan(0.93)
    expect(inside / 300).toBeLessThan(0.985)
  })
})

describe('from the curve, where nothing was fitted', () => {
  test('corner and slope are those of the filter', () => {
    // The median of what is within 10 dB of the top lies a little below the plateau, since it takes in the knee: on this
    // band by 0.1 dB. The fall at the corner is 12 dB an octave: 0.6 % of frequency. Between 12 and 36 dB down a fourth
    // order falls by 23.2 to 24.1 dB an octave (closed form).
    const curve = curveOf({ filter: butterworth('low', 4, 800, RATE_HZ) })
    const { low, high } = bandEdgesOf(curve, null)
    expect(low).toBeNull()
    expect(high!.isFromFit).toBe(false)
    expect(Math.abs(high!.cornerHz / 800 - 1)).toBeLessThan(0.02)
    expect(Math.abs(high!.slopeDbPerOctave! - 23.8)).toBeLessThan(0.4)
  })

  test('the low side reads like the high one, and an edge that is not deep has no slope', () => {
    const curve = curveOf({ filter: butterworth('high', 2, 60, RATE_HZ) })
    const { low, high } = bandEdgesOf(curve, null)
    expect(high).toBeNull()
    expect(Math.abs(low!.cornerHz / 60 - 1)).toBeLessThan(0.02)
    // A first order at 30 Hz is 5 dB down at 20 Hz and 10 dB at 10 Hz, where the grid ends.
    const shallow = bandEdgesOf(curveOf({ couplingHz: 30 }), null)
    expect(Math.abs(shallow.low!.cornerHz / 30 - 1)).toBeLessThan(0.02)
    expect(shallow.low!.slopeDbPerOctave).toBeNull()
  })

  test('noise of the crossing is in its uncertainty', () => {
    // Truth: the spread of 200 takes. The fall of 12 dB an octave turns 0.1 dB and more of noise into 0.6 % of frequency.
    const filter = butterworth('low', 4, 800, RATE_HZ)
    const corners: number[] = []
    let u = 0
    for (let seed = 1; seed <= 200; seed++) {
      const { high } = bandEdgesOf(curveOf({ filter, noiseDb: 0.1, seed }), null)
      corners.push(high!.cornerHz)
      u += high!.cornerHzU / 200
    }
    const mean = corners.reduce((sum, value) => sum + value, 0) / corners.length
    const spread = Math.sqrt(corners.reduce((sum, value) => sum + (value - mean) ** 2, 0) / 199)
    // The crossing lies between two points and takes the outermost that is above: within a third of one point's own.
    expect(spread / u).toBeGreaterThan(0.6)
    expect(spread / u).toBeLessThan(1.3)
  })
})
