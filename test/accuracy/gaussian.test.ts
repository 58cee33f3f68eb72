/** The noise of the campaign has to be what the stated uncertainties are for: white and Gaussian. */
import { expect, test } from 'vitest'
import { addNoise } from './gaussian.js'

const COUNT = 4_000_000
const values = new Float32Array(COUNT)
addNoise(values, 2, 7)
const meanOf = (of: (n: number) => number): number => {
  let sum = 0
  for (let n = 0; n < COUNT; n++) sum += of(n)
  return sum / COUNT
}

// Truth: moments of the normal distribution. Limits: four standard deviations of each mean over COUNT independent values,
// √(E[x^2k] - E[x^k]²) / √COUNT for rms 2.
test.each([
  { power: 1, moment: 0, scatter: 2 },
  { power: 2, moment: 4, scatter: 4 * Math.sqrt(2) },
  { power: 3, moment: 0, scatter: 8 * Math.sqrt(15) },
  { power: 4, moment: 3 * 16, scatter: 16 * Math.sqrt(105 - 9) },
  { power: 6, moment: 15 * 64, scatter: 64 * Math.sqrt(10_395 - 225) },
])('its moment of order $power is that of the normal distribution', ({ power, moment, scatter }) => {
  expect(Math.abs(meanOf((n) => values[n] ** power) - moment)).toBeLessThan((4 * scatter) / Math.sqrt(COUNT))
})

// Truth: erfc(x / √2) for 1, 2, 3 and 4 standard deviations; binomial scatter, four deviations.
test.each([
  [1, 0.317310508],
  [2, 0.045500264],
  [3, 0.002699796],
  [4, 6.334248e-5],
])('%d standard deviations leave %d outside', (deviations, share) => {
  const outside = meanOf((n) => (Math.abs(values[n]) > 2 * deviations ? 1 : 0))
  expect(Math.abs(outside - share)).toBeLessThan(4 * Math.sqrt((share * (1 - share)) / COUNT))
})

test.each([1, 2, 3, 7])('values %d apart have nothing in common, nor have their squares', (lag) => {
  const last = COUNT - lag
  const product = meanOf((n) => (n < last ? values[n] * values[n + lag] : 0))
  const squares = meanOf((n) => (n < last ? (values[n] ** 2 - 4) * (values[n + lag] ** 2 - 4) : 0))
  expect(Math.abs(product)).toBeLessThan((4 * 4) / Math.sqrt(COUNT))
  expect(Math.abs(squares)).toBeLessThan((4 * 32) / Math.sqrt(COUNT))
})

test('the same seed gives the same values, another one others', () => {
  const [same, other] = [new Float32Array(1000), new Float32Array(1000)]
  addNoise(same, 2, 7)
  addNoise(other, 2, 8)
  expect(same).toEqual(values.subarray(0, 1000))
  expect(other).not.toEqual(same)
})
