/**
 * One-third-octave bands of IEC 61260-1:2014, base 10.
 *
 * A band is chosen and labelled by its nominal frequency; all sums use the exact centre and edges.
 */
import { THIRD_OCTAVE_NAMES } from './tables/iec-61260-1-2014.js'

export interface Band {
  /** The name: 31.5 for the band about 31.62 Hz. */
  readonly nominalHz: number
  readonly centreHz: number
  readonly lowHz: number
  readonly highHz: number
}

/**
 * The bands whose nominal frequency stands from lowHz to highHz, both included, in rising order; their outer edges
 * reach beyond. Neighbours share their edge: the same number, bit for bit.
 *
 * @throws RangeError when lowHz is not above 0 or highHz is not finite
 */
export function thirdOctaveBands(lowHz: number, highHz: number): Band[] {
  if (!(lowHz > 0) || !Number.isFinite(highHz)) {
    throw new RangeError(`thirdOctaveBands: ${lowHz} to ${highHz} Hz, want finite frequencies above 0`)
  }
  const bands: Band[] = []
  const [first, last] = [Math.floor(10 * Math.log10(lowHz)) - 1, Math.ceil(10 * Math.log10(highHz)) + 1]
  for (let x = first; x <= last; x++) {
    const decade = Math.floor(x / 10)
    // Written as a number with an exponent, so that 31.5 is 31.5 and not a product that is nearly so.
    const nominalHz = Number(`${THIRD_OCTAVE_NAMES[x - 10 * decade]}e${decade}`)
    if (nominalHz < lowHz || nominalHz > highHz) continue
    bands.push({
      nominalHz,
      centreHz: 10 ** (x / 10),
      lowHz: 10 ** ((2 * x - 1) / 20),
      highHz: 10 ** ((2 * x + 1) / 20),
    })
  }
  return bands
}
