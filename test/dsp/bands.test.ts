import { expect, test } from 'vitest'
import { fractionalOctaveBands, type OctaveFraction, thirdOctaveBands } from '../../src/dsp/bands.js'

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

// Truth: IEC 61260-1:2014, centres 1000 G^(x/b) for odd b, 1000 G^((2x + 1)/(2b)) for even b, G = 10^0.3, worked out elsewhere
// to eight digits. Rows: fraction, the first two centres above 1000 Hz or at it.
const CENTRES: readonly (readonly [OctaveFraction, number, number])[] = [
  [1, 1000, 1995.2623],
  [2, 1188.5022, 1678.804],
  [3, 1000, 1258.9254],
  [6, 1059.2537, 1188.5022],
  [12, 1029.2005, 1090.1845],
  [24, 1014.4952, 1044.119],
  [48, 1007.2215, 1021.8214],
]

test.each(CENTRES)('bands of 1/%d octave stand at the exact centres', (fraction, firstHz, secondHz) => {
  const [first, second] = fractionalOctaveBands(fraction, 999.999, 3000)
  // Half of the last of eight digits is at most 5e-8 of the number.
  expect(Math.abs(first.centreHz / firstHz - 1)).toBeLessThan(5.1e-8)
  expect(Math.abs(second.centreHz / secondHz - 1)).toBeLessThan(5.1e-8)
})

test.each(CENTRES)('bands of 1/%d octave share their edges and fill the range', (fraction) => {
  const bands = fractionalOctaveBands(fraction, 20, 20_000)
  for (const [i, band] of bands.entries()) {
    // Closed form: each edge is half a band's width, 10^(0.3 / (2b)), from the centre. Powers good to a few of 1e-16.
    const half = 10 ** (0.15 / fraction)
    expect(Math.abs(band.highHz / band.centreHz / half - 1)).toBeLessThan(1e-14)
    expect(Math.abs(band.centreHz / band.lowHz / half - 1)).toBeLessThan(1e-14)
    if (i > 0) expect(band.lowHz).toBe(bands[i - 1].highHz)
  }
  expect(bands[0].centreHz).toBeGreaterThanOrEqual(20)
  expect(bands[0].lowHz).toBeLessThan(20 * 10 ** (0.15 / fraction))
  expect(bands.at(-1)!.highHz).toBeGreaterThan(20_000 / 10 ** (0.15 / fraction))
})

test('third-octave bands by centre are those by name', () => {
  const byName = thirdOctaveBands(20, 20_000).map(({ centreHz, lowHz, highHz }) => [centreHz, lowHz, highHz])
  const byCentre = fractionalOctaveBands(3, 19.9, 20_000).map(({ centreHz, lowHz, highHz }) => [
    centreHz,
    lowHz,
    highHz,
  ])
  expect(byCentre).toHaveLength(byName.length)
  for (const [i, numbers] of byName.entries()) {
    // The same numbers by another sum of exponents: a few units of 1e-16.
    for (const [k, value] of numbers.entries()) expect(Math.abs(byCentre[i][k] / value - 1)).toBeLessThan(1e-14)
  }
})

test('a fractional band range that reaches 0 Hz is refused', () => {
  expect(() => fractionalOctaveBands(12, 0, 100)).toThrow(
    'fractionalOctaveBands: 0 to 100 Hz, want finite frequencies above 0',
  )
})
