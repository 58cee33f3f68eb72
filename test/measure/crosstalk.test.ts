import { describe, expect, test } from 'vitest'
import { crosstalkCurve } from '../../src/measure/crosstalk.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { butterworth, linkwitzRiley } from '../kit/biquad.js'
import { noiseTransfers, swapped, wireWith } from '../kit/grid-noise.js'

const RATE_HZ = 48_000
const POOL = noiseTransfers(60, 61)

test('a leak of a thousandth is -60 dB in every band', () => {
  const wire = wireWith(null, { left: 0.5, right: -0.0005, delayS: 0.01 })
  const { curve, worst } = crosstalkCurve(wire, true)!
  expect(curve).toHaveLength(30)
  // Closed form; what the noise of 1e-12 adds to a leak of 5e-4 is 1e-17 of its power.
  for (const { levelDb, isAtMost } of curve) {
    expect(levelDb).toBeCloseTo(-60, 8)
    expect(isAtMost).toBe(false)
  }
  expect(worst.levelDb).toBeCloseTo(-60, 8)
  expect(crosstalkCurve(swapped(wire), false)!.worst.levelDb).toBeCloseTo(-60, 8)
})

test('a leak that rises with frequency is read band by band, and worst at the top', () => {
  const flat = wireWith(null, { left: 1 })
  const wire = { ...flat, rightRe: new Float64Array(GRID_HZ.length), rightIm: GRID_HZ.map((hz) => 1e-7 * hz) }
  const { curve, worst } = crosstalkCurve(wire, true)!
  for (const { freqHz, levelDb } of curve) {
    // Closed form: the mean of f² over ln f in a third octave is f0² (r² - r^-2) / (4 ln r), r = 10^(1/20).
    const r = 10 ** 0.05
    const shape = (r ** 2 - r ** -2) / (4 * Math.log(r))
    expect(levelDb).toBeCloseTo(20 * Math.log10(1e-7 * freqHz) + 10 * Math.log10(shape), 6)
  }
  expect(worst.freqHz).toBeCloseTo(15_848.93, 1)
})

test('only the passband counts', () => {
  const wire = wireWith(null, { filter: butterworth('low', 4, 80, RATE_HZ), left: 1, right: 0.01 })
  const { curve } = crosstalkCurve(wire, true)!
  // Truth: the filter is 6 dB down at 80 Hz × (10^0.6 - 1)^(1/8) = 92 Hz.
  expect(curve.at(-1)!.freqHz).toBeCloseTo(79.43, 2)
})

test('an output that hears nothing has no crosstalk', () => {
  expect(crosstalkCurve(wireWith(POOL[0], { left: 0, right: 0 }, -80), true)).toBeNull()
})

describe('in noise', () => {
  test('what it is at most is said, and the truth lies under it', () => {
    let [bands, above] = [0, 0]
    for (const noise of [...POOL, ...POOL.map(swapped)]) {
      const { curve, worst } = crosstalkCurve(wireWith(noise, { left: 1, right: 1e-4, delayS: 0.01 }, -60), true)!
      expect(worst.isAtMost).toBe(true)
      for (const { levelDb, isAtMost } of curve) {
        bands++
        if (!isAtMost || levelDb < -80) above++
      }
    }
    // Two standard uncertainties over a power that may be any: 2.3 % above for normal errors; 3600 bands, four deviations.
    expect(above / bands).toBeLessThan(0.023 + 4 * Math.sqrt(0.023 / bands))
  })

  test('a leak as strong as the noise in it is read without bias', () => {
    // At 1 kHz noise and leak are both -60 dB; in power the noise would add 3 dB.
    const ratios = [...POOL, ...POOL.map(swapped)].map((noise) => {
      const wire = wireWith(
        noise,
        { left: 1, right: 1e-3, delayS: 0.01, filter: linkwitzRiley('low', 4, 8000, RATE_HZ) },
        -60,
      )
      const band = crosstalkCurve(wire, true)!.curve.find(({ freqHz }) => Math.abs(freqHz - 1000) < 1)!
      // Where it says "at most", two uncertainties are on top; take them off again.
      const power = 10 ** (band.levelDb / 10)
      return band.isAtMost ? power * (1 - 2 * (Math.LN10 / 10) * band.levelDbU) : power
    })
    const mean = ratios.reduce((sum, value) => sum + value, 0) / ratios.length
    const spread = Math.sqrt(ratios.reduce((sum, value) => sum + (value - mean) ** 2, 0) / ratios.length)
    // Mean of 120: within three of its own standard deviations of 1e-6.
    expect(Math.abs(mean - 1e-6)).toBeLessThan((3 * spread) / Math.sqrt(ratios.length))
  })
})
