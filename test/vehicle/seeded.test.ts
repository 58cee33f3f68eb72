import { describe, expect, test } from 'vitest'
import { between, evenRandom, gaussian, seedFor } from '../../src/vehicle/seeded.js'

const COUNT = 1_000_000

// Truth: moments and tail areas of the normal distribution. Each tolerance is five times the spread of that figure over
// COUNT independent draws; the seeds are fixed, so a pass stays a pass.
describe('normally distributed numbers', () => {
  const draw = gaussian(7)
  const values = Float64Array.from({ length: COUNT }, () => draw())
  const meanOf = (of: (x: number, n: number) => number): number =>
    values.reduce((sum, x, n) => sum + of(x, n), 0) / COUNT

  test('have the moments 0, 1, 0, 3', () => {
    const spread = 5 / Math.sqrt(COUNT)
    expect(Math.abs(meanOf((x) => x))).toBeLessThan(spread)
    expect(Math.abs(meanOf((x) => x ** 2) - 1)).toBeLessThan(spread * Math.sqrt(2))
    expect(Math.abs(meanOf((x) => x ** 3))).toBeLessThan(spread * Math.sqrt(15))
    expect(Math.abs(meanOf((x) => x ** 4) - 3)).toBeLessThan(spread * Math.sqrt(96))
  })

  // P(|x| > t) = erfc(t / sqrt 2), from tables of the normal distribution. 3.5 lies in the tail beyond the layers.
  test.each([
    [0.5, 0.617075],
    [1, 0.317311],
    [2, 0.0455003],
    [3, 0.0026998],
    [3.5, 0.00046526],
    [4, 6.334e-5],
  ])('lie beyond ±%d as often as they should', (edge, share) => {
    const found = meanOf((x) => (Math.abs(x) > edge ? 1 : 0))
    expect(Math.abs(found - share)).toBeLessThan(5 * Math.sqrt((share * (1 - share)) / COUNT))
  })

  test('know nothing of the ones before them, in value or in size', () => {
    for (const lag of [1, 2, 3]) {
      const ahead = (n: number): number => values[(n + lag) % COUNT]
      expect(Math.abs(meanOf((x, n) => x * ahead(n)))).toBeLessThan(5 / Math.sqrt(COUNT))
      // Squares less their mean have the variance 2, their products 4.
      expect(Math.abs(meanOf((x, n) => (x * x - 1) * (ahead(n) ** 2 - 1)))).toBeLessThan((5 * 2) / Math.sqrt(COUNT))
    }
  })
})

// Truth: chi squared with 255 degrees of freedom has mean 255 and variance 510.
test('even numbers fill 256 boxes evenly', () => {
  const even = evenRandom(3)
  const boxes = new Float64Array(256)
  for (let i = 0; i < COUNT; i++) boxes[Math.floor(256 * even())]++
  const want = COUNT / 256
  const chiSquared = boxes.reduce((sum, found) => sum + (found - want) ** 2 / want, 0)
  expect(Math.abs(chiSquared - 255)).toBeLessThan(5 * Math.sqrt(510))
})

describe('a seed', () => {
  const first = (seed: number): number[] => Array.from({ length: 8 }, evenRandom(seed))

  test('gives the same numbers again, and another one others', () => {
    expect(first(5)).toEqual(first(5))
    const many = new Set([1, 2, 3, 4, 5, 6].flatMap(first))
    expect(many.size).toBe(48)
  })

  test('of one thing is not that of another', () => {
    const seeds = [1, 2].flatMap((seed) =>
      ['output', 'input'].flatMap((name) => [1, 2, 11, 12].map((number) => seedFor(seed, name, number))),
    )
    // Parts are kept apart: 1 and 11 is not 11 and 1.
    seeds.push(seedFor(1, 1, 11), seedFor(1, 11, 1), seedFor(11, 1, 1))
    expect(new Set(seeds).size).toBe(seeds.length)
  })

  test('bounds what is drawn between two ends', () => {
    const even = evenRandom(9)
    const drawn = Array.from({ length: 10_000 }, () => between(even, -3, 5))
    expect(Math.min(...drawn)).toBeGreaterThanOrEqual(-3)
    expect(Math.max(...drawn)).toBeLessThan(5)
    // 10 000 even draws leave gaps of about 8 / 10 000 at the ends: 0.01 is more than ten of them.
    expect(Math.min(...drawn)).toBeLessThan(-2.99)
    expect(Math.max(...drawn)).toBeGreaterThan(4.99)
  })
})
