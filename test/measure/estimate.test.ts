/** Budgets: how standard uncertainties become an expanded one, and how two figures' budgets meet in a difference. */
import { expect, test } from 'vitest'
import { dbFromRelative, difference, estimate, relativeFromDb } from '../../src/measure/estimate.js'

test('a level budget expands to what the worked example says', () => {
  // Closed form (JCGM 100:2008, k = 2): calibration 0.05, flatness 0.05 / √3, drift 0.02 / √3, repeatability 0.012 / √5 dB.
  const { u, budget } = estimate(
    0,
    {
      calibration: 0.05,
      flatness: 0.05 / Math.sqrt(3),
      drift: 0.02 / Math.sqrt(3),
      repeatability: 0.012 / Math.sqrt(5),
    },
    'm/1',
  )
  expect(u).toBeCloseTo(0.118245, 6)
  expect(budget).toHaveLength(4)
})

test('a contribution of nothing is no part of the budget', () => {
  expect(estimate(1, { noise: 0.1, nothing: 0 }, 'm/1').budget).toEqual([{ source: 'noise', u: 0.1 }])
})

test('independent contributions of two figures add up in their difference, each by its own name', () => {
  const a = estimate(1, { noise: 0.03 }, 'm/1')
  const b = estimate(0.4, { noise: 0.04 }, 'm/1')
  const result = difference(a, 'output 1', b, 'output 2', 'difference/1')
  expect(result.value).toBeCloseTo(0.6, 12)
  expect(result.u).toBeCloseTo(0.1, 12)
  expect(result.budget.map(({ source }) => source)).toEqual(['noise, output 1', 'noise, output 2'])
})

test('what one meter is off by cancels between two inputs that it calibrated', () => {
  const level = (u: number) => estimate(0, { 'meter specification': u, repeatability: 0.006 }, 'm/1')
  // Closed form: 2 √(0.006² + 0.006²); the meter's 0.03 dB is in both alike.
  expect(difference(level(0.03), 'a', level(0.03), 'b', 'm/1').u).toBeCloseTo(2 * 0.006 * Math.SQRT2, 12)
  expect(difference(level(0.03), 'a', level(0.05), 'b', 'm/1').u).toBeCloseTo(2 * Math.hypot(0.006, 0.006, 0.02), 12)
})

test('decibels and relative uncertainties turn into each other while they are small', () => {
  // 20 lg(1 + x) is 8.6859 x to first order.
  expect(dbFromRelative(1e-5)).toBeCloseTo(8.6859e-5, 8)
  expect(relativeFromDb(dbFromRelative(1e-5))).toBeCloseTo(1e-5, 9)
})

test('an uncertainty as large as the level itself stays finite in decibels', () => {
  // Twice of it is what the level may be higher: 20 lg 3 = 9.54 dB, of which one standard uncertainty is half.
  expect(dbFromRelative(1)).toBeCloseTo(9.5424 / 2, 4)
  expect(Number.isFinite(dbFromRelative(Number.MAX_VALUE))).toBe(true)
})
