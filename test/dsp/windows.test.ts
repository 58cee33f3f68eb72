import { describe, expect, test } from 'vitest'
import { BLACKMAN_HARRIS_4, HANN } from '../../src/dsp/tables/harris-1978.js'
import { HFT95, HFT116D, HFT144D, HFT248D } from '../../src/dsp/tables/heinzel-ruediger-schilling-2002.js'
import { cosineWindow, figuresOfMerit } from '../../src/dsp/windows.js'

// Cosine sums that the project does not use, but whose published figures test the same code.
const NUTTALL_4B = [0.355768, 0.487396, 0.144232, 0.012604]
const NUTTALL_4C = [0.3635819, 0.4891775, 0.1365995, 0.0106411]

interface Row {
  readonly name: string
  readonly coefficients: readonly number[]
  readonly coherentGain: number
  readonly enbwBins: number
  readonly enbwDb: number
  readonly scallopingDb: number
  readonly halfPowerBins: number
  readonly sidelobeDb: number
  readonly firstNullBin: number
}
const row = (name: string, coefficients: readonly number[], ...figures: readonly number[]): Row => {
  const [coherentGain, enbwBins, enbwDb, scallopingDb, halfPowerBins, sidelobeDb, firstNullBin] = figures
  return { name, coefficients, coherentGain, enbwBins, enbwDb, scallopingDb, halfPowerBins, sidelobeDb, firstNullBin }
}

// Truth: closed form of the continuous limit, worked out elsewhere in 50-digit arithmetic. Columns: coherent gain for a
// peak of 1, noise bandwidth (bins, dB), loss half a bin off (dB), half-power bandwidth (bins), highest sidelobe (dB),
// first null (bin).
// biome-ignore format: one window a line.
const ROWS = [
  row('rectangular', [1], 1, 1, 0, -3.9224, 0.8859, -13.26, 1),
  row('Hann', HANN, 0.5, 1.5, 1.7609, -1.42362, 1.4406, -31.47, 2),
  row('Hamming 0.54/0.46', [0.54, 0.46], 0.54, 1.3628258, 1.3444, -1.75143, 1.303, -42.67, 2),
  row('Hamming 25/46, 21/46', [25 / 46, 21 / 46], 0.543478261, 1.3528, 1.3123, -1.7782, 1.2933, -41.69, 2),
  row('Blackman', [0.42, 0.5, 0.08], 0.42, 1.7267574, 2.3723, -1.09888, 1.6437, -58.11, 3),
  row('Blackman-Harris 4-term', BLACKMAN_HARRIS_4, 0.35875, 2.0043529, 3.0197, -0.82557, 1.8994, -92.01, 4),
  row('Nuttall 4c', NUTTALL_4C, 0.3635819, 1.9761093, 2.9581, -0.85056, 1.8719, -98.17, 4),
  row('Nuttall 4b', NUTTALL_4B, 0.355768, 2.0212326, 3.0562, -0.81176, 1.9155, -93.32, 4),
  row('5-term flat-top', [0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368], 0.215578949, 3.7702464, 5.7637, -0.00978, 3.7247, -93.03, 5),
  row('HFT95', HFT95, 0.213640903, 3.811213, 5.8106, -0.00387, 3.7629, -95, 5),
  row('HFT116D', HFT116D, 0.192240453, 4.2186103, 6.2517, -0.00283, 4.1621, -116.8, 6),
  row('HFT144D', HFT144D, 0.178153071, 4.5386048, 6.5692, -0.00213, 4.4743, -144.05, 7),
  row('HFT248D', HFT248D, 0.142197548, 5.6512438, 7.5214, -0.00088, 5.5625, -248.39, 11),
]

// The table is the limit of endless windows. At 2048 samples a value d bins off differs by about (pi d / 2048)^2 / 6 of
// itself: 1e-3 dB at 19 bins, a tenth of the last printed digit of a sidelobe, and less nearer to the tone.
const COUNT = 2048

/**
 * Spectrum of a window d bins from the tone, over that at the tone. Sample 0 of a periodic window stands for both ends;
 * seen from the middle it counts as half at either, so the sum is real, as the endless window's is.
 */
function responseOf(window: Float64Array): (d: number) => number {
  const total = window.reduce((sum, weight) => sum + weight, 0)
  return (d) => {
    let sum = 0
    for (let j = 0; j < window.length; j++) {
      const turns = d * (j / window.length - 0.5)
      sum += window[j] * Math.cos(2 * Math.PI * (turns - Math.round(turns)))
    }
    return Math.abs(sum) / total
  }
}
const db = (ratio: number): number => 20 * Math.log10(ratio)

/** Width of the main lobe where it has fallen to a ratio. */
function widthBins(response: (d: number) => number, ratio: number, firstNullBin: number): number {
  let [inside, outside] = [0, firstNullBin]
  for (let step = 0; step < 40; step++) {
    const middle = (inside + outside) / 2
    if (response(middle) > ratio) inside = middle
    else outside = middle
  }
  return inside + outside
}

/** Highest value from the first null to 20 bins beyond; between grid points by a parabola through three of them. */
function highestSidelobe(response: (d: number) => number, firstNullBin: number): number {
  const stepBins = 1 / 32
  const values = Array.from({ length: 20 / stepBins }, (_, i) => response(firstNullBin + i * stepBins))
  const top = values.indexOf(Math.max(...values))
  const [before, at, after] = [values[top - 1], values[top], values[top + 1]]
  return at + (after - before) ** 2 / (8 * (2 * at - before - after))
}

// Half of the last printed digit, and what rounding of a sum of 2048 numbers adds.
const half = (lastDigit: number): number => lastDigit / 2 + 1e-12
// A tenth of it more for what depends on the count.
const limit = (lastDigit: number): number => 0.6 * lastDigit

describe.each(ROWS)('$name window', (row) => {
  const window = cosineWindow(row.coefficients, COUNT)
  const response = responseOf(window)

  test('has the published coherent gain and noise bandwidth', () => {
    const { coherentGain, enbwBins } = figuresOfMerit(window)
    const peak = row.coefficients.reduce((sum, a) => sum + a, 0)
    expect(Math.max(...window)).toBeCloseTo(peak, 12)
    expect(Math.abs(coherentGain / peak - row.coherentGain)).toBeLessThan(half(1e-9))
    expect(Math.abs(enbwBins - row.enbwBins)).toBeLessThan(half(1e-7))
    expect(Math.abs(10 * Math.log10(enbwBins) - row.enbwDb)).toBeLessThan(half(1e-4))
  })

  test('loses the published level half a bin off and has the published bandwidth', () => {
    expect(Math.abs(db(response(0.5)) - row.scallopingDb)).toBeLessThan(limit(1e-5))
    expect(Math.abs(widthBins(response, Math.SQRT1_2, row.firstNullBin) - row.halfPowerBins)).toBeLessThan(limit(1e-4))
  })

  test('has its first null and its highest sidelobe where they are published', () => {
    // Rounding of the sum: 2048 terms of 1e-16, a few of them alike. All sidelobes stand far above.
    for (let bin = 1; bin < row.firstNullBin; bin++) expect(response(bin)).toBeGreaterThan(1e-9)
    expect(response(row.firstNullBin)).toBeLessThan(1e-14)
    expect(Math.abs(db(highestSidelobe(response, row.firstNullBin)) - row.sidelobeDb)).toBeLessThan(limit(0.01))
  })
})

// Truth: the figures printed in G. Heinzel, A. Rüdiger, R. Schilling, 2002 (as two source libraries repeat them). Their
// bandwidth is at -3.000 dB, not at half power. Columns: sidelobe dB, noise bandwidth bins, bandwidth bins, flatness dB.
const PRINTED = [
  {
    name: 'Blackman-Harris',
    coefficients: BLACKMAN_HARRIS_4,
    firstNullBin: 4,
    printed: [-92.0, 2.0044, 1.8962, -0.8256],
  },
  { name: 'Nuttall 4c', coefficients: NUTTALL_4C, firstNullBin: 4, printed: [-98.1, 1.9761, 1.8687, -0.8506] },
  { name: 'Nuttall 4b', coefficients: NUTTALL_4B, firstNullBin: 4, printed: [-93.3, 2.0212, 1.9122, -0.8118] },
  { name: 'HFT95', coefficients: HFT95, firstNullBin: 5, printed: [-95.0, 3.8112, 3.759, 0.0044] },
  { name: 'HFT116D', coefficients: HFT116D, firstNullBin: 6, printed: [-116.8, 4.2186, 4.1579, -0.0028] },
  { name: 'HFT248D', coefficients: HFT248D, firstNullBin: 11, printed: [-248.4, 5.6512, 5.5567, 0.0009] },
]
test.each(PRINTED)('$name has the figures that its authors printed', ({ coefficients, firstNullBin, printed }) => {
  const window = cosineWindow(coefficients, COUNT)
  const response = responseOf(window)
  const [sidelobeDb, enbwBins, bandwidthBins, flatnessDb] = printed
  // Flatness is the largest error within half a bin, with its sign as printed or without.
  const errorsDb = Array.from({ length: 201 }, (_, i) => Math.abs(db(response(i / 400))))
  // For Nuttall 4c they print -98.1 where the closed form gives -98.17, for HFT95 3.7590 bins where it gives 3.75917:
  // so a whole unit of the last digit for sidelobes, two for bandwidths. Half power would be 40 units away.
  expect(Math.abs(db(highestSidelobe(response, firstNullBin)) - sidelobeDb)).toBeLessThan(0.1)
  expect(Math.abs(figuresOfMerit(window).enbwBins - enbwBins)).toBeLessThan(half(1e-4))
  expect(Math.abs(widthBins(response, 10 ** (-3 / 20), firstNullBin) - bandwidthBins)).toBeLessThan(2e-4)
  expect(Math.abs(Math.max(...errorsDb) - Math.abs(flatnessDb))).toBeLessThan(limit(1e-4))
})

test('a windowed tone on a bin reads its peak, and noise reads its mean square through the noise bandwidth', () => {
  // Truth: closed form. A periodic window of 7 coefficients leaks into 6 bins on either side and no further.
  const count = 256
  const window = cosineWindow(HFT144D, count)
  const { coherentGain, enbwBins } = figuresOfMerit(window)
  const tone = window.map((weight, n) => weight * 0.3 * Math.cos((2 * Math.PI * 40 * n) / count + 1))
  const spectrum = Array.from({ length: count / 2 }, (_, k) => {
    let [re, im] = [0, 0]
    for (let n = 0; n < count; n++) {
      const angleRad = (2 * Math.PI * ((k * n) % count)) / count
      re += tone[n] * Math.cos(angleRad)
      im -= tone[n] * Math.sin(angleRad)
    }
    return Math.hypot(re, im)
  })
  // 256 products of rounding 1e-16 on values about 1: 1e-13 leaves room.
  expect(Math.abs((2 * spectrum[40]) / (count * coherentGain) - 0.3)).toBeLessThan(1e-13)
  const meanSquare = (2 * spectrum.reduce((sum, x) => sum + x * x, 0)) / (count ** 2 * coherentGain ** 2 * enbwBins)
  expect(Math.abs(meanSquare - 0.3 ** 2 / 2)).toBeLessThan(1e-13)
  for (const [bin, magnitude] of spectrum.entries()) {
    if (Math.abs(bin - 40) > 6) expect(magnitude).toBeLessThan(1e-12)
  }
})

test('a window too short for its highest cosine is refused', () => {
  expect(() => cosineWindow(HFT144D, 12)).toThrow(
    'cosineWindow: 12 samples for 7 coefficients, want a whole number above twice the highest order',
  )
  expect(cosineWindow(HFT144D, 13)).toHaveLength(13)
  expect(() => cosineWindow([], 8)).toThrow('cosineWindow: 8 samples for 0 coefficients')
  expect(() => cosineWindow(HANN, 8.5)).toThrow('cosineWindow: 8.5 samples for 2 coefficients')
})

test('samples without a mean have no figures of merit', () => {
  expect(() => figuresOfMerit(new Float64Array(4))).toThrow(
    'figuresOfMerit: 4 samples add up to 0, want a window with a mean',
  )
})
