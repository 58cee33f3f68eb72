/** Rational functions found from their values, against the poles and zeros that they were made of. */
import { describe, expect, test } from 'vitest'
import { leastSquares } from '../../src/dsp/least-squares.js'
import { type Root, rationalFits } from '../../src/dsp/rational-fit.js'
import { normalFrom } from '../kit/random.js'

/** Six decades, as squared frequencies have. */
const U = Float64Array.from({ length: 160 }, (_, i) => 10 ** (-4 + (6 * i) / 159))
const EVEN = U.map(() => 1)

const size = (u: number, { re, im }: Root): number => (im === 0 ? u - re : (u - re) ** 2 + im * im)
const product = (u: number, roots: readonly Root[]): number => roots.reduce((value, root) => value * size(u, root), 1)

const sorted = (roots: readonly Root[]): Root[] =>
  [...roots].sort((a, b) => Math.hypot(a.re, a.im) - Math.hypot(b.re, b.im))

const poles: Root[] = [
  { re: 0.001, im: 0.02 },
  { re: -0.5, im: 0 },
  { re: -2, im: 0 },
  { re: 3, im: 12 },
]
const zeros: Root[] = [
  { re: -0.01, im: 0.03 },
  { re: 0.2, im: 0.6 },
  { re: 8, im: 10 },
]

describe('a ratio of polynomials of sixth degree', () => {
  const curve = U.map((u) => (2 * product(u, zeros)) / product(u, poles))

  test('is found by its poles and zeros, over six decades', () => {
    const fit = rationalFits(U, curve, EVEN, 12).fit(6)
    expect(fit.errorRms).toBeLessThan(1e-7)
    for (const [got, truth] of [
      [fit.poles, poles],
      [fit.zeros, zeros],
    ] as const) {
      const [a, b] = [sorted(got), sorted(truth)]
      expect(a.length).toBe(b.length)
      // Truth: what it was made of. Rounding of 1e-16 grows by the conditioning of neighbours a factor of four apart.
      a.forEach(({ re, im }, k) => {
        expect(Math.hypot(re - b[k].re, im - b[k].im) / Math.hypot(b[k].re, b[k].im)).toBeLessThan(1e-4)
      })
    }
  })

  test('is followed to its noise and not further', () => {
    const normal = normalFrom(4)
    const noisy = curve.map((value) => value * (1 + 0.005 * normal()))
    // 160 values and 13 unknowns leave 0.96 of the noise; that scatters by 6 %, three times that.
    const { errorRms } = rationalFits(U, noisy, EVEN, 12).fit(6)
    expect(Math.abs(errorRms / (0.005 * Math.sqrt(147 / 160)) - 1)).toBeLessThan(0.18)
  })

  test('is out of reach for a lower degree', () => {
    expect(rationalFits(U, curve, EVEN, 12).fit(2).errorRms).toBeGreaterThan(0.02)
  })

  test('has an even degree within what it was opened with', () => {
    const fits = rationalFits(U, curve, EVEN, 8)
    expect(() => fits.fit(10)).toThrow('rational fit of order 10, want an even one from 2 to 8')
    expect(() => fits.fit(3)).toThrow('rational fit of order 3, want an even one from 2 to 8')
  })
})

describe('linear least squares', () => {
  test('a parabola through noise-free values comes out as it is, though its columns are nearly alike', () => {
    const x = Float64Array.from({ length: 30 }, (_, i) => 100 + i / 30)
    const right = x.map((at) => 3 - 2 * (at - 100) + 0.5 * (at - 100) ** 2)
    // Powers of 100 to 101 differ by a hundredth: conditioning 1e9 or so, squared if the normal equations were used.
    const got = leastSquares([x.map(() => 1), x.slice(), x.map((at) => at * at)], right)
    const truth = [3 + 200 + 5000, -2 - 100, 0.5]
    got.forEach((value, k) => {
      expect(Math.abs(value / truth[k] - 1)).toBeLessThan(1e-5)
    })
  })

  test('a column that says nothing new gets no share', () => {
    const x = Float64Array.from({ length: 10 }, (_, i) => i)
    const got = leastSquares(
      [x.slice(), x.slice(), x.map(() => 1)],
      x.map((at) => 4 * at + 1),
    )
    expect([...got].map((value) => Math.round(1e9 * value) / 1e9)).toEqual([4, 0, 1])
  })

  test('more unknowns than values are refused', () => {
    expect(() => leastSquares([new Float64Array(1), new Float64Array(1)], new Float64Array(1))).toThrow(
      'leastSquares: 1 values for 2 unknowns',
    )
  })
})
