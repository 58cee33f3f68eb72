import { expect, test } from 'vitest'
import { fullBandLevel } from '../../src/measure/full-band.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { heardOf } from '../../src/measure/heard.js'
import { wireWith } from '../kit/grid-noise.js'

test('a flat response has its own gain as its level, whatever the weighting', () => {
  const level = fullBandLevel(heardOf(wireWith(null, { left: -0.5, delayS: 0.01 }), 1, 0), 20, 20_000)
  expect(level.pinkGain).toBeCloseTo(0.5, 10)
  expect(level.whiteGain).toBeCloseTo(0.5, 10)
})

test('a response to both sides counts as one heard with gain 1', () => {
  // Truth: 0.4 (0.5 L + 0.5 R) is 0.4 times what the map says.
  const both = wireWith(null, { left: 0.2, right: 0.2 })
  expect(fullBandLevel(heardOf(both, 0.5, 0.5), 20, 20_000).pinkGain).toBeCloseTo(0.4, 10)
})

test('a first-order high-pass loses what its closed form says', () => {
  const [lowHz, highHz, cornerHz] = [20, 20_000, 400]
  const response = {
    re: GRID_HZ.map((f) => f / Math.hypot(f, cornerHz)),
    im: new Float64Array(GRID_HZ.length),
    error: new Float64Array(GRID_HZ.length).fill(1e-9),
    centreS: 0,
  }
  const { pinkGain, whiteGain } = fullBandLevel(response, lowHz, highHz)
  // Closed forms of the mean of f² / (f² + c²) over ln f and over f.
  const pink = Math.log((highHz ** 2 + cornerHz ** 2) / (lowHz ** 2 + cornerHz ** 2)) / (2 * Math.log(highHz / lowHz))
  const white = 1 - (cornerHz * (Math.atan(highHz / cornerHz) - Math.atan(lowHz / cornerHz))) / (highHz - lowHz)
  // A chord over a cell is off by h² / 12 at most, h = ln 2 / 48: half of that on the gain.
  expect(Math.abs(pinkGain / Math.sqrt(pink) - 1)).toBeLessThan((Math.LN2 / 48) ** 2 / 24)
  expect(Math.abs(whiteGain / Math.sqrt(white) - 1)).toBeLessThan((Math.LN2 / 48) ** 2 / 24)
})

test('gains of 0 on both sides are refused', () => {
  expect(() => heardOf(wireWith(null, {}), 0, 0)).toThrow('heardOf: gains 0 and 0, want one that is not 0')
})
