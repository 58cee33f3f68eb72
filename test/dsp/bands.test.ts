import { expect, test } from 'vitest'
import { thirdOctaveBands } from '../../src/dsp/bands.js'

// Truth: IEC 61260-1:2014, formulas 1 to 5, worked out elsewhere and printed to eight digits. Rows: nominal frequency,
// exact centre, lower edge, upper edge (Hz).
const BANDS = [
  [10, 10, 8.9125094, 11.220185],
  [12.5, 12.589254, 11.220185, 14.125375],
  [16, 15.848932, 14.125375, 17.782794],
  [20, 19.952623, 17.782794, 22.387211],
  [25, 25.118864, 22.387211, 28.183829],
  [31.5, 31.622777, 28.183829, 35.481339],
  [40, 39.810717, 35.481339, 44.668359],
  [50, 50.118723, 44.668359, 56.234133],
  [63, 63.095734, 56.234133, 70.794578],
  [80, 79.432823, 70.794578, 89.125094],
  [100, 100, 89.125094, 112.20185],
  [125, 125.89254, 112.20185, 141.25375],
  [160, 158.48932, 141.25375, 177.82794],
  [200, 199.52623, 177.82794, 223.87211],
  [250, 251.18864, 223.87211, 281.83829],
  [315, 316.22777, 281.83829, 354.81339],
  [400, 398.10717, 354.81339, 446.68359],
  [500, 501.18723, 446.68359, 562.34133],
  [630, 630.95734, 562.34133, 707.94578],
  [800, 794.32823, 707.94578, 891.25094],
  [1000, 1000, 891.25094, 1122.0185],
  [1250, 1258.9254, 1122.0185, 1412.5375],
  [1600, 1584.8932, 1412.5375, 1778.2794],
  [2000, 1995.2623, 1778.2794, 2238.7211],
  [2500, 2511.8864, 2238.7211, 2818.3829],
  [3150, 3162.2777, 2818.3829, 3548.1339],
  [4000, 3981.0717, 3548.1339, 4466.8359],
  [5000, 5011.8723, 4466.8359, 5623.4133],
  [6300, 6309.5734, 5623.4133, 7079.4578],
  [8000, 7943.2823, 7079.4578, 8912.5094],
  [10000, 10000, 8912.5094, 11220.185],
  [12500, 12589.254, 11220.185, 14125.375],
  [16000, 15848.932, 14125.375, 17782.794],
  [20000, 19952.623, 17782.794, 22387.211],
] as const

const all = thirdOctaveBands(10, 20_000)

test('10 Hz to 20 kHz holds the 34 bands of the standard, by name and in order', () => {
  expect(all.map((band) => band.nominalHz)).toEqual(BANDS.map(([nominalHz]) => nominalHz))
})

test.each(BANDS)('the %d Hz band has its published centre and edges', (nominalHz, centreHz, lowHz, highHz) => {
  const band = all.find((one) => one.nominalHz === nominalHz)!
  // Half of the last of eight digits is at most 5e-8 of the number.
  expect(Math.abs(band.centreHz / centreHz - 1)).toBeLessThan(5.1e-8)
  expect(Math.abs(band.lowHz / lowHz - 1)).toBeLessThan(5.1e-8)
  expect(Math.abs(band.highHz / highHz - 1)).toBeLessThan(5.1e-8)
})

test('edges lie 10^(1/20) from the centre, and neighbours share theirs', () => {
  for (const [i, band] of all.entries()) {
    // Closed form: ratio 1.1220184543019633. Two powers, each good to a few units of 1e-16.
    expect(Math.abs(band.highHz / band.centreHz / 1.1220184543019633 - 1)).toBeLessThan(1e-14)
    expect(Math.abs(band.centreHz / band.lowHz / 1.1220184543019633 - 1)).toBeLessThan(1e-14)
    if (i > 0) expect(band.lowHz).toBe(all[i - 1].highHz)
  }
})

test('both ends of the range are included by their nominal frequency', () => {
  // The exact centre of the 20 Hz band is 19.95 Hz, below the lower end.
  expect(thirdOctaveBands(20, 31.5).map((band) => band.nominalHz)).toEqual([20, 25, 31.5])
  expect(thirdOctaveBands(20.1, 31.4).map((band) => band.nominalHz)).toEqual([25])
  expect(thirdOctaveBands(20, 20_000)).toHaveLength(31)
})

test('names repeat in the decades below and above the table', () => {
  // Preferred numbers of ISO 3, series R10.
  expect(thirdOctaveBands(1, 3.15).map((band) => band.nominalHz)).toEqual([1, 1.25, 1.6, 2, 2.5, 3.15])
  expect(thirdOctaveBands(0.5, 0.8).map((band) => band.nominalHz)).toEqual([0.5, 0.63, 0.8])
  expect(thirdOctaveBands(25_000, 40_000).map((band) => band.nominalHz)).toEqual([25_000, 31_500, 40_000])
})

test('a range that holds no nominal frequency holds no band', () => {
  expect(thirdOctaveBands(51, 62)).toEqual([])
  expect(thirdOctaveBands(2000, 1000)).toEqual([])
})

test('a range that reaches 0 Hz or has no end is refused', () => {
  expect(() => thirdOctaveBands(0, 100)).toThrow('thirdOctaveBands: 0 to 100 Hz, want finite frequencies above 0')
  expect(() => thirdOctaveBands(20, Infinity)).toThrow('thirdOctaveBands: 20 to Infinity Hz')
})
