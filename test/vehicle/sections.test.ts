import { describe, expect, test } from 'vitest'
import { butterworth, coefficientsOf, type Filter, magnitudeOf, type Section } from '../../src/vehicle/sections.js'

const RATE_HZ = 48_000
const FREQS_HZ = [20, 60, 250, 997, 2500, 6300, 12_000, 19_000]

/** Where the bilinear transform puts a frequency of a filter whose corner is at 1 rad/s (prewarped). */
const warped = (freqHz: number, cornerHz: number): number =>
  Math.tan((Math.PI * freqHz) / RATE_HZ) / Math.tan((Math.PI * cornerHz) / RATE_HZ)

/** |numerator / denominator| at s = i omega, each c0 + c1 s + c2 s². */
const ratioAt = (omega: number, numerator: readonly number[], denominator: readonly number[]): number => {
  const size = ([c0, c1, c2]: readonly number[]): number => Math.hypot(c0 - c2 * omega ** 2, c1 * omega)
  return size(numerator) / size(denominator)
}

// Truth: Butterworth's own formula, |H|² = 1 / (1 + omega^(2 n)), through the bilinear transform. Tolerance: rounding.
describe.each([1, 2, 3, 4, 5, 6, 7, 8])('a Butterworth filter of order %d', (order) => {
  test.each([80, 3000, 7000])('follows its formula, corner at %d Hz', (cornerHz) => {
    for (const freqHz of [...FREQS_HZ, cornerHz]) {
      const omega = warped(freqHz, cornerHz)
      const low = 1 / Math.sqrt(1 + omega ** (2 * order))
      const high = 1 / Math.sqrt(1 + omega ** (-2 * order))
      // Far out in the stop band numerator and denominator are tiny: 1e-6 of the value is 9e-6 dB.
      expect(magnitudeOf(butterworth('low_pass', cornerHz, order), freqHz, RATE_HZ) / low).toBeCloseTo(1, 6)
      expect(magnitudeOf(butterworth('high_pass', cornerHz, order), freqHz, RATE_HZ) / high).toBeCloseTo(1, 6)
    }
  })
})

// Truth: the analogue prototypes H(s) that the Audio EQ Cookbook (W3C Group Note) starts from, A = 10^(gain / 40).
describe('a section follows the prototype of the Audio EQ Cookbook', () => {
  const [freqHz, q] = [2500, 1.5]
  const prototypes: readonly [Section['kind'], (A: number) => readonly [readonly number[], readonly number[]]][] = [
    [
      'low_pass',
      () => [
        [1, 0, 0],
        [1, 1 / q, 1],
      ],
    ],
    [
      'high_pass',
      () => [
        [0, 0, 1],
        [1, 1 / q, 1],
      ],
    ],
    [
      'all_pass',
      () => [
        [1, -1 / q, 1],
        [1, 1 / q, 1],
      ],
    ],
    [
      'peaking',
      (A) => [
        [1, A / q, 1],
        [1, 1 / (A * q), 1],
      ],
    ],
    [
      'low_shelf',
      (A) => [
        [A * A, (A * Math.sqrt(A)) / q, A],
        [1, Math.sqrt(A) / q, A],
      ],
    ],
    [
      'high_shelf',
      (A) => [
        [A, (A * Math.sqrt(A)) / q, A * A],
        [A, Math.sqrt(A) / q, 1],
      ],
    ],
  ]
  test.each(prototypes.flatMap(([kind, shape]) => [5, -7].map((gainDb) => [kind, gainDb, shape] as const)))(
    '%s, %d dB',
    (kind, gainDb, shape) => {
      const [numerator, denominator] = shape(10 ** (gainDb / 40))
      for (const at of [...FREQS_HZ, freqHz]) {
        const want = ratioAt(warped(at, freqHz), numerator, denominator)
        expect(magnitudeOf([{ kind, freqHz, q, gainDb }], at, RATE_HZ) / want).toBeCloseTo(1, 6)
      }
    },
  )
})

// Closed form: bilinear transform of 1 / (1 + s): the pole at (1 - tan) / (1 + tan) of half the corner's angle.
test('a first-order section has its pole where the bilinear transform puts it', () => {
  const filter: Filter = { kind: 'high_pass_1', freqHz: 2 }
  const half = Math.tan((Math.PI * 2) / RATE_HZ)
  expect(coefficientsOf(filter, RATE_HZ).a[1]).toBeCloseTo(-(1 - half) / (1 + half), 14)
})
