import { describe, expect, test } from 'vitest'
import { combine, coverageFactor, meanOf, uFromExpanded, uFromLimits } from '../../src/units/uncertainty.js'

const part = (source: string, u: number, dof = Number.POSITIVE_INFINITY) => ({ source, u, dof })

// Truth: JCGM 100:2008, annex H.1 (end gauge), with contributions in nm: l_S 25 (18), d 9.7 (25.6), δα 2.9 (50),
// δθ 16.6 (2). Printed there: u_c = 32 nm, 16 degrees of freedom, k for 99 % 2.92, U 93 nm.
describe('the end gauge of JCGM 100:2008, H.1', () => {
  const gauge = combine([part('l_S', 25, 18), part('d', 9.7, 25.6), part('δα', 2.9, 50), part('δθ', 16.6, 2)])

  test('has the printed uncertainty and degrees of freedom', () => {
    // Closed form of the same contributions, unrounded: 31.671 nm and 16.76.
    expect(gauge.u).toBeCloseTo(31.671, 2)
    expect(Math.round(gauge.u)).toBe(32)
    expect(gauge.dof).toBeCloseTo(16.76, 1)
    expect(Math.floor(gauge.dof)).toBe(16)
  })

  test('has the printed factor and expanded uncertainty for 99 %', () => {
    const k = coverageFactor(gauge.dof, 0.99)
    expect(k).toBeCloseTo(2.92, 2)
    // Printed from the rounded 32 nm: 2.92 × 32 = 93 nm.
    expect(Math.round(k * Math.round(gauge.u))).toBe(93)
  })
})

// Truth: closed forms; a calibration of U = 0.10 dB at k = 2, flatness ± 0.05 dB, drift ± 0.02 dB, five readings with s = 0.012 dB.
test('a level budget has the shares and the degrees of freedom of its closed form', () => {
  const parts = [
    part('calibration', uFromExpanded(0.1)),
    part('flatness', uFromLimits(0.05, 'rectangular')),
    part('drift', uFromLimits(0.02, 'rectangular')),
    part('repeatability', 0.012 / Math.sqrt(5), 4),
  ]
  expect(parts.map(({ u }) => u)).toEqual([
    expect.closeTo(0.05, 7),
    expect.closeTo(0.0288675, 7),
    expect.closeTo(0.011547, 7),
    expect.closeTo(0.0053666, 7),
  ])
  const { u, dof, k, expanded, shares } = combine(parts)
  expect(u).toBeCloseTo(0.0591225, 7)
  expect(expanded).toBeCloseTo(0.118245, 5)
  expect(k).toBeCloseTo(2, 4)
  expect(shares.map((share) => Number((100 * share).toFixed(1)))).toEqual([71.5, 23.8, 3.8, 0.8])
  // 0.0591225^4 / (0.0053666^4 / 4): printed as 58 923.
  expect(Math.abs(dof / 58_923 - 1)).toBeLessThan(2e-4)
})

// Truth: JCGM 100:2008, table G.2, columns 95.45 % and 99 %, printed to two decimals.
test.each([
  [1, 13.97, 63.66],
  [2, 4.53, 9.92],
  [3, 3.31, 5.84],
  [4, 2.87, 4.6],
  [5, 2.65, 4.03],
  [9, 2.32, 3.25],
  [16, 2.17, 2.92],
  [20, 2.13, 2.85],
  [50, 2.05, 2.68],
  [100, 2.025, 2.626],
  [Number.POSITIVE_INFINITY, 2, 2.576],
])('the t-factors for %d degrees of freedom are those of the GUM, table G.2', (dof, k9545, k99) => {
  expect(Math.abs(coverageFactor(dof) - k9545)).toBeLessThanOrEqual(0.0051)
  expect(Math.abs(coverageFactor(dof, 0.99) - k99)).toBeLessThanOrEqual(0.0051)
})

// The exact sums end at 400 degrees of freedom; what follows has to go on without a step. From 400 to 401 the factor itself
// falls by about 2.5 / 400² = 1.6e-5.
test('the factor has no step where its two forms meet', () => {
  expect(Math.abs(coverageFactor(401) - coverageFactor(400))).toBeLessThan(3e-5)
})

// Truth: multimeter specifications turned into standard uncertainties (rectangular: a / √3), closed forms.
test.each([
  [12.6, 0.5, 0.02, 0.04792],
  [12.6, 0.05, 0.003, 0.0053694],
  [2, 1, 0.005, 0.0144338],
  [0.0316, 1, 0.001, 0.000759793],
])('a reading of %d V by a meter of %d %% and %d V has its uncertainty', (reading, pct, fixed, u) => {
  expect(uFromLimits((pct / 100) * reading + fixed, 'rectangular')).toBeCloseTo(u, 6)
})

test('the other shapes divide by the root of 6 and of 2', () => {
  expect(uFromLimits(-1, 'triangular')).toBeCloseTo(0.408248, 6)
  expect(uFromLimits(1, 'u-shaped')).toBeCloseTo(Math.SQRT1_2, 6)
})

// Closed form: 1, 2, 3 have the standard deviation 1, their mean 1 / √3.
test('a mean knows its own spread, and a single value none', () => {
  expect(meanOf([1, 2, 3])).toEqual({ mean: 2, u: expect.closeTo(Math.sqrt(1 / 3), 12), dof: 2 })
  expect(meanOf([7])).toEqual({ mean: 7, u: 0, dof: 0 })
  expect(() => meanOf([])).toThrow('meanOf: no values')
})

test('nothing uncertain is certain', () => {
  expect(combine([part('none', 0)])).toMatchObject({ u: 0, expanded: 0, shares: [0] })
})
