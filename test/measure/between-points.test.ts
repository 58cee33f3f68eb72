import { expect, test } from 'vitest'
import { magnitudeAt } from '../../src/measure/between-points.js'
import { GRID_HZ, gridIndex } from '../../src/measure/grid.js'
import { weighted } from '../../src/measure/heard.js'
import { butterworth, linkwitzRiley, peaking, responseAt } from '../kit/biquad.js'
import { transferBy } from '../kit/transfer.js'

const RATE_HZ = 48_000
const DB = 20 / Math.LN10

// Truth: |H| of the filter in closed form. Tolerance: the cubic's remainder, |t (t - 1) (t + 1) (t - 2)| / 24 ≤ 0.024 of h⁴ times
// the fourth derivative over log frequency. At the top of a peak of 9 dB and Q 5 the level is -10 lg(1 + (x / w)²) with
// w = 10^(-9/40) / (2 Q) = 0.06: 52 dB / w⁴, at h = 0.0144 and 997 Hz (t = 0.79) 0.0027 dB. All else is flatter.
test.each([
  ['the knee of a subwoofer', linkwitzRiley('low', 4, 50, RATE_HZ), 31.6, 0.0001],
  ['the skirt of a tweeter', butterworth('high', 4, 3000, RATE_HZ), 1500, 0.0001],
  ['the side of a sharp peak', [peaking(950, 9, 5, RATE_HZ)], 997, 0.0027],
  ['the top of a sharp peak', [peaking(997, 9, 5, RATE_HZ)], 997, 0.0027],
])('on %s the level between points is that of the filter', (_, filter, freqHz, tolerance) => {
  const response = weighted(transferBy({ filter, errorDb: -200 }), 1, 0)
  const { re, im } = responseAt(filter, freqHz, RATE_HZ)
  const { magnitude } = magnitudeAt(response, freqHz)
  expect(Math.abs(DB * Math.log(magnitude / Math.hypot(re, im)))).toBeLessThan(tolerance)
})

test('on a point it is that point, and at both ends of the grid it still reads', () => {
  const response = weighted(transferBy({ filter: butterworth('low', 2, 300, RATE_HZ), errorDb: -60 }), 1, 0)
  for (const i of [0, 1, gridIndex(1000), GRID_HZ.length - 2, GRID_HZ.length - 1]) {
    const { magnitude } = magnitudeAt(response, GRID_HZ[i])
    expect(magnitude / Math.hypot(response.re[i], response.im[i])).toBeCloseTo(1, 9)
  }
})

// Truth: of a complex error of rms e, e / √2 lies along the value. Half way between two points far enough apart to be
// independent, the cubic weighs them 9/16, 9/16, -1/16, -1/16: √(2 (81 + 1)) / 16 = 0.8004 of it is left.
test('its uncertainty is that of the noise along the value, less where points are averaged', () => {
  const response = weighted(transferBy({ errorDb: -60 }), 1, 0)
  const i = gridIndex(8000)
  const single = 0.001 * Math.SQRT1_2
  expect(magnitudeAt(response, GRID_HZ[i]).relativeU / single).toBeCloseTo(1, 2)
  const half = magnitudeAt(response, Math.sqrt(GRID_HZ[i] * GRID_HZ[i + 1]))
  expect(half.relativeU / single).toBeGreaterThan(0.79)
  expect(half.relativeU / single).toBeLessThan(0.81)
})
