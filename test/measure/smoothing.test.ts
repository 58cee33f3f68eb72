import { describe, expect, test } from 'vitest'
import { fractionalOctaveBands } from '../../src/dsp/bands.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import type { Heard } from '../../src/measure/heard.js'
import { bandPower, levelOf, smoothed } from '../../src/measure/smoothing.js'

/** A response without noise whose power is given. */
const powerLaw = (power: (freqHz: number) => number): Heard => ({
  re: GRID_HZ.map((freqHz) => Math.sqrt(power(freqHz))),
  im: new Float64Array(GRID_HZ.length),
  error: new Float64Array(GRID_HZ.length).fill(1e-9),
  centreS: 0,
})

const FRACTIONS = [1, 2, 3, 6, 12, 24, 48] as const

describe.each(FRACTIONS)('smoothing over 1/%d octave', (fraction) => {
  const inside = fractionalOctaveBands(fraction, 20, 14_000)

  test('leaves a flat response as it is, at the exact centres', () => {
    const { freqHz, power } = smoothed(
      powerLaw(() => 0.25),
      fraction,
      20,
      14_000,
    )
    expect(freqHz).toEqual(inside.map(({ centreHz }) => centreHz))
    // Closed form: sums of a few hundred shares, each good to 1e-16; what the noise is taken to add is 1e-18.
    for (const value of power) expect(Math.abs(value / 0.25 - 1)).toBeLessThan(1e-12)
  })

  test.each([-8, -2, -0.3, 1, 4])('is exact for a power that goes with frequency to the %d', (slope) => {
    const { power } = smoothed(
      powerLaw((freqHz) => (freqHz / 1000) ** slope),
      fraction,
      20,
      14_000,
    )
    inside.forEach(({ lowHz, highHz }, n) => {
      // Closed form: mean of f^a over ln f from f1 to f2 is (f2^a - f1^a) / (a ln (f2 / f1)).
      const [low, high] = [(lowHz / 1000) ** slope, (highHz / 1000) ** slope]
      const truth = (high - low) / (slope * Math.log(highHz / lowHz))
      // The difference of nearly equal powers loses up to 1e2 of 1e-16; the frequencies' logarithms a little more. The noise
      // that is taken off, 1e-18, is 2e-9 of the least power here, 14^-8.
      expect(Math.abs(power[n] / truth - 1)).toBeLessThan(2e-9)
    })
  })

  test('follows a first-order high-pass', () => {
    const cornerHz = 100
    const { power } = smoothed(
      powerLaw((f) => f ** 2 / (f ** 2 + cornerHz ** 2)),
      fraction,
      20,
      14_000,
    )
    inside.forEach(({ lowHz, highHz }, n) => {
      // Closed form: mean over ln f of f² / (f² + c²) is ln((f2² + c²) / (f1² + c²)) / (2 ln (f2 / f1)).
      const truth =
        Math.log((highHz ** 2 + cornerHz ** 2) / (lowHz ** 2 + cornerHz ** 2)) / (2 * Math.log(highHz / lowHz))
      // ln P bends by at most 1 per unit of ln f squared: a chord over a grid cell h is off by h² / 12 on the mean, or for a
      // band that is narrower than a cell by h² / 8; h = ln 2 / 48.
      expect(Math.abs(power[n] / truth - 1)).toBeLessThan((Math.LN2 / 48) ** 2 / 8)
    })
  })
})

test('power per hertz is exact for power laws, too', () => {
  for (const slope of [-3, -0.5, 0, 2]) {
    const { power } = bandPower(
      powerLaw((freqHz) => (freqHz / 1000) ** slope),
      100,
      3000,
      'hertz',
    )
    // Closed form: (f2^(a + 1) - f1^(a + 1)) / ((a + 1) (f2 - f1)).
    const truth = (3 ** (slope + 1) - 0.1 ** (slope + 1)) / ((slope + 1) * 2.9)
    expect(Math.abs(power / truth - 1)).toBeLessThan(1e-9)
  }
})

test('a band over the end of the sweeps is averaged as far as they go', () => {
  // The 20 kHz band reaches to 22.4 kHz, the sweeps tell up to 21.5 kHz.
  const { power } = smoothed(
    powerLaw((freqHz) => freqHz / 20_000),
    3,
    19_900,
    20_000,
  )
  const [low, high] = [10 ** 4.25 / 20_000, 21_500 / 20_000]
  expect(Math.abs(power[0] / ((high - low) / Math.log(high / low)) - 1)).toBeLessThan(1e-9)
})

test('a level in dB carries its uncertainty, and holds on to the noise where there is nothing else', () => {
  // Closed form: 10 / ln 10 = 4.3429 dB per relative change of power.
  const { levelDb, levelDbU } = levelOf({ power: 0.01, powerU: 0.0001 })
  expect(levelDb).toBeCloseTo(-20, 12)
  expect(levelDbU).toBeCloseTo(0.043429448, 8)
  expect(levelOf({ power: -1e-7, powerU: 1e-6 }).levelDb).toBeCloseTo(-60, 12)
})

test('a band outside the grid is refused', () => {
  const flat = powerLaw(() => 1)
  expect(() => bandPower(flat, 5, 100)).toThrow('bandPower: 5 to 100 Hz, want a band inside 10 Hz to 22 kHz')
  expect(() => bandPower(flat, 100, 100)).toThrow('bandPower: 100 to 100 Hz')
})
