/** The chance that a coverage is held against. */
import { expect, test } from 'vitest'
import { atMost } from './summary.js'

test('the binomial distribution is that of counting all cases', () => {
  // Four throws of a coin: 1, 4, 6, 4, 1 of 16.
  expect([0, 1, 2, 3, 4].map((k) => 16 * atMost(k, 4, 0.5))).toEqual([1, 5, 11, 15, 16])
  expect(atMost(-1, 4, 0.5)).toBe(0)
})

test('many cases with the same share are less likely than few', () => {
  expect(atMost(2, 4, 0.94)).toBeGreaterThan(0.01)
  expect(atMost(80, 100, 0.94)).toBeLessThan(1e-5)
})
