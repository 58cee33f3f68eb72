/** Amplitudes of lines in noise, against draws of the very distribution that they are read from. */
import { describe, expect, test } from 'vitest'
import {
  amplitudeOf,
  arithmeticSum,
  type LinePower,
  linePower,
  over,
  type Reading,
  sumOfLines,
} from '../../src/measure/line-power.js'
import { normalFrom } from '../kit/random.js'

const TAKES = 4000

/** A line of a peak, read with complex noise of mean square 1 that is itself known to 5 %. */
function drawn(normal: () => number, peak: number): LinePower {
  const squared = (peak + Math.SQRT1_2 * normal()) ** 2 + (Math.SQRT1_2 * normal()) ** 2
  return linePower(squared, 1 + 0.05 * normal(), 0.05 ** 2)
}

const shareOf = (readings: readonly Reading[], truth: number): number =>
  readings.filter(({ value, u, isAtMost }) => (isAtMost ? truth <= value : Math.abs(value - truth) <= 2 * u)).length /
  readings.length

// Truth: the peak that was drawn around. 94 % less three deviations of a binomial count of 4000, 1.1 %; where a line is hardly
// seen its bound holds it more often.
describe.each([0, 0.5, 1, 2, 3, 5, 10, 100])('a line of %d times the noise', (peak) => {
  test('is within its uncertainty, or below its bound', () => {
    const normal = normalFrom(17)
    const readings = Array.from({ length: TAKES }, () => amplitudeOf(drawn(normal, peak)))
    expect(shareOf(readings, peak)).toBeGreaterThan(0.929)
    // And the statement is not empty: 2 u is no more than what noise does, 1.41 of it, where the line is clear.
    if (peak >= 10) {
      const meanU = readings.reduce((sum, { u }) => sum + u, 0) / TAKES
      expect(meanU / Math.SQRT1_2).toBeGreaterThan(0.98)
      expect(meanU / Math.SQRT1_2).toBeLessThan(1.1)
    }
  })

  test('and five alike are so as a root-sum', () => {
    const normal = normalFrom(23)
    const readings = Array.from({ length: TAKES }, () =>
      amplitudeOf(sumOfLines(Array.from({ length: 5 }, () => drawn(normal, peak)))),
    )
    expect(shareOf(readings, peak * Math.sqrt(5))).toBeGreaterThan(0.929)
  })

  test('and two alike are so added up', () => {
    const normal = normalFrom(29)
    const readings = Array.from({ length: TAKES }, () => arithmeticSum([drawn(normal, peak), drawn(normal, peak)]))
    expect(shareOf(readings, 2 * peak)).toBeGreaterThan(0.929)
  })
})

test('noise alone is seen as a line in 5 of 100 reads at most', () => {
  const normal = normalFrom(31)
  const readings = Array.from({ length: TAKES }, () => amplitudeOf(drawn(normal, 0)))
  // exp(-3.5) of the exponential distribution: 3 %.
  expect(readings.filter(({ isAtMost }) => !isAtMost).length / TAKES).toBeLessThan(0.04)
})

test('powers without noise are exact, and silence is nothing', () => {
  expect(amplitudeOf(linePower(0.25, 0, 0))).toEqual({ value: 0.5, u: 0, isAtMost: false })
  expect(amplitudeOf(linePower(0, 0, 0))).toEqual({ value: 0, u: 0, isAtMost: true })
  expect(over(amplitudeOf(linePower(0, 0, 0)), 0, 0).value).toBe(0)
})

test('where noise was taken for more than it is, the bound is that of the noise and not nothing', () => {
  const { value, isAtMost } = amplitudeOf(linePower(0.01, 4, 0.05))
  expect(isAtMost).toBe(true)
  expect(value).toBeGreaterThan(2)
})
