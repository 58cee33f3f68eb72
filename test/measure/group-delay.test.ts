import { describe, expect, test } from 'vitest'
import { GRID_HZ, gridIndex } from '../../src/measure/grid.js'
import { groupDelayOf } from '../../src/measure/group-delay.js'
import { heardOf } from '../../src/measure/heard.js'
import { allPass, butterworth, type Filter } from '../kit/biquad.js'
import { wireWith } from '../kit/grid-noise.js'

const RATE_HZ = 48_000

const delaysOf = (filter: Filter, delayS = 0): ReturnType<typeof groupDelayOf> =>
  groupDelayOf(heardOf(wireWith(null, { filter, delayS }), 1, 0))

/** By the straight line between the grid points beside it. */
function delayAt(filter: Filter, freqHz: number, delayS = 0): number {
  const { freqHz: grid, delayS: delays } = delaysOf(filter, delayS)
  const after = grid.findIndex((hz) => hz >= freqHz)
  const t = (freqHz - grid[after - 1]) / (grid[after] - grid[after - 1])
  return delays[after - 1] + t * (delays[after] - delays[after - 1])
}

test('a plain delay is the same at every frequency', () => {
  const { freqHz, delayS } = delaysOf([], 0.0103)
  expect(freqHz[0]).toBeLessThan(20)
  expect(freqHz.at(-1)).toBeGreaterThan(20_000)
  // Closed form. Phases after the centre's delay are rounding: 1e-16 × 2 pi f t over 2 pi f h.
  for (const value of delayS) expect(Math.abs(value - 0.0103)).toBeLessThan(1e-13)
})

test('a delay that is off the centre by a millisecond is found all the same', () => {
  const wire = { ...wireWith(null, { delayS: 0.0113 }), centreS: 0.0103 }
  const { freqHz, delayS } = groupDelayOf(heardOf(wire, 1, 0))
  const worst = Math.max(...delayS.map((value) => Math.abs(value - 0.0113)))
  // The cubic over ±4 cells h of exp(u): the next odd term, (4h)^5 / 5!, on a slope of 4h comes to (4h)^4 / 120 at most: 1e-7
  // of the millisecond.
  expect(worst).toBeLessThan(1e-10)
  expect(freqHz.at(-1)).toBeGreaterThan(20_000)
})

describe('a second-order Butterworth low-pass at 1 kHz', () => {
  const filter = butterworth('low', 2, 1000, RATE_HZ)

  // Truth: scipy.signal.group_delay(butter(2, 1000, fs=48000)), in samples, printed to 1e-5.
  test.each([
    [100, 10.89533],
    [1000, 10.83471],
  ])('delays %d Hz by the published %d samples', (freqHz, samples) => {
    // Half of the last digit, and what the slope over a sixth of an octave smooths: the delay's curvature, as the fourth
    // derivative of the phase in ln f, times (4h)^4 / 24: below 2e-5 of the delay.
    expect(Math.abs(delayAt(filter, freqHz, 0.0103) - 0.0103 - samples / RATE_HZ)).toBeLessThan(
      (5e-6 + 2e-5 * samples) / RATE_HZ,
    )
  })
})

test('a second-order all-pass delays as its closed form says', () => {
  const [cornerHz, q] = [2000, 0.7]
  const filter = [allPass(cornerHz, q, RATE_HZ)]
  const { freqHz, delayS } = delaysOf(filter)
  freqHz.forEach((hz, n) => {
    // Closed form, by the bilinear transform: analog all-pass phase -2 atan(x / (q (1 - x²))), x = tan(w / 2) / tan(w0 / 2).
    const [half, corner] = [(Math.PI * hz) / RATE_HZ, Math.tan((Math.PI * cornerHz) / RATE_HZ)]
    const x = Math.tan(half) / corner
    const slope = ((1 + x * x) * q) / ((q * (1 - x * x)) ** 2 + x * x)
    const truth = (2 * slope * (0.5 / Math.cos(half) ** 2 / corner)) / RATE_HZ
    // As above: (4h)^4 / 24 of the fourth derivative, here 30 times the largest delay at most.
    expect(Math.abs(delayS[n] - truth)).toBeLessThan(1e-5 * 0.0003)
  })
})

test('nothing is said where the response sinks into its noise', () => {
  const wire = wireWith(null, { filter: butterworth('low', 4, 80, RATE_HZ) })
  const error = new Float64Array(GRID_HZ.length).fill(1e-3)
  const { freqHz } = groupDelayOf(heardOf({ ...wire, leftError: error, rightError: error }, 1, 0))
  // Truth: ten times the error, -40 dB, is where the filter stands at 80 Hz × 10^(40/80) = 253 Hz; four points before.
  expect(Math.abs(gridIndex(freqHz.at(-1)!) - (gridIndex(80 * 10 ** 0.5) - 4))).toBeLessThanOrEqual(1)
})
