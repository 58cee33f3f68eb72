import { expect, test } from 'vitest'
import { GRID_HZ, gridIndex } from '../../src/measure/grid.js'
import { correlationAt, steadyError, varianceOfNoisePower, varianceOfSum } from '../../src/measure/grid-noise.js'
import { noiseTransfers } from '../kit/grid-noise.js'

const POOL = noiseTransfers(100, 51)

test('noise of neighbouring grid points has in common what the window says', () => {
  for (const [freqHz, otherHz] of [
    [20, 20.6],
    [40, 41.8],
    [60, 63],
    [100, 103],
    [1000, 1015],
  ]) {
    const [i, j] = [gridIndex(freqHz), gridIndex(otherHz)]
    const apartHz = GRID_HZ[j] - GRID_HZ[i]
    let [re, im, one, other] = [0, 0, 0, 0]
    for (const { leftRe, leftIm, rightRe, rightIm, centreS } of POOL) {
      const turn = 2 * Math.PI * apartHz * centreS
      for (const [a, b] of [
        [leftRe, leftIm],
        [rightRe, rightIm],
      ]) {
        const [pr, pi] = [a[j] * a[i] + b[j] * b[i], b[j] * a[i] - a[j] * b[i]]
        re += pr * Math.cos(turn) - pi * Math.sin(turn)
        im += pr * Math.sin(turn) + pi * Math.cos(turn)
        one += a[i] ** 2 + b[i] ** 2
        other += a[j] ** 2 + b[j] ** 2
      }
    }
    const scale = 1 / Math.sqrt(one * other)
    const truth = correlationAt(apartHz)
    // Each part of a correlation from 200 complex pairs varies by 1 / sqrt(2 × 200) = 0.05; four of them.
    expect(Math.abs(re * scale - truth.re)).toBeLessThan(0.2)
    expect(Math.abs(im * scale - truth.im)).toBeLessThan(0.2)
  }
})

test('what the window has in common is 1 at no distance and gone beyond 18 Hz', () => {
  const { re, im } = correlationAt(0)
  expect(re).toBeCloseTo(1, 12)
  expect(im).toBe(0)
  for (const apartHz of [18, 20, 25, 40]) {
    const far = correlationAt(apartHz)
    expect(Math.hypot(far.re, far.im)).toBeLessThan(0.01)
  }
})

test('noise far apart adds up by its power', () => {
  const error = new Float64Array(GRID_HZ.length).fill(0.1)
  const first = gridIndex(2000)
  // Closed form: half of the power of each, since the real part is half of it; 29 Hz apart, nothing is common.
  expect(varianceOfSum(first, [3, 0], [0, 4], error)).toBeCloseTo(0.5 * 0.01 * 25, 12)
  expect(varianceOfNoisePower(first, [1, 2], error)).toBeCloseTo(5e-4, 12)
})

test('noise of a tight stretch is one and the same', () => {
  const error = new Float64Array(GRID_HZ.length).fill(0.1)
  // 10 Hz and 10.15 Hz: nearly one value, so four times the variance of one and not twice. Less by 2 pi 0.15 × 0.17 s
  // squared, the turn over the window's half length: 3 %.
  const variance = varianceOfSum(0, [1, 1], [0, 0], error)
  expect(variance / (0.5 * 0.01 * 4)).toBeGreaterThan(0.97)
  expect(variance / (0.5 * 0.01 * 4)).toBeLessThan(1)
})

test('a noise level that is even stays as it is, one that jumps low down is evened out', () => {
  const even = new Float64Array(GRID_HZ.length).fill(0.2)
  for (const value of steadyError(even)) expect(value).toBeCloseTo(0.2, 12)
  const jumping = even.map((value, i) => (i % 2 === 0 ? value : 3 * value))
  const steady = steadyError(jumping)
  // Closed form: power means of 1 and 9 parts, or half of the own 9; a handful of points, weighted by frequency, within 20 %.
  expect(Math.abs(steady[gridIndex(60)] / (0.2 * Math.sqrt(5)) - 1)).toBeLessThan(0.2)
  expect(steady[gridIndex(1000)]).toBe(jumping[gridIndex(1000)])
})
