/**
 * Fractional-octave bands of IEC 61260-1:2014, base 10.
 *
 * A third-octave band is chosen and labelled by its nominal frequency, any other by its exact centre; all sums use the
 * exact centre and edges.
 */
import { THIRD_OCTAVE_NAMES } from './tables/iec-61260-1-2014.js'

/** Exact centre and edges: a band without a name. */
export interface BandEdges {
  readonly centreHz: number
  readonly lowHz: number
  readonly highHz: number
}

export interface Band extends BandEdges {
  /** The name: 31.5 for the band about 31.62 Hz. */
  readonly nominalHz: number
}

/** Bands of one octave divided by this. */
export type OctaveFraction = 1 | 2 | 3 | 6 | 12 | 24 | 48

/**
 * The bands whose nominal frequency stands from lowHz to highHz, both included, in rising order; their outer edges
 * reach beyond. Neighbours share their edge: the same number, bit for bit.
 *
 * @throws RangeError when lowHz is not above 0 or highHz is not finite
 */
export function thirdOctaveBands(lowHz: number, highHz: number): Band[] {
  checkRange('thirdOctaveBands', lowHz, highHz)
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

/**
 * The 1/fraction-octave bands whose exact centre stands from lowHz to highHz, both included, in rising order. G = 10^0.3,
 * reference 1 kHz; centres 1000 G^(x/b) for odd b and 1000 G^((2x + 1)/(2b)) for even b; edges G^(±1/(2b)) from the
 * centre. Neighbours share their edge: the same number, bit for bit.
 *
 * @throws RangeError when lowHz is not above 0 or highHz is not finite
 *
 * Source: IEC 61260-1:2014, formulas 1 to 5, from two public transcriptions that agree.
 */
export function fractionalOctaveBands(fraction: OctaveFraction, lowHz: number, highHz: number): BandEdges[] {
  checkRange('fractionalOctaveBands', lowHz, highHz)
  // In half bands from 1 kHz: centres are the even ones for odd fractions, the odd ones for even fractions.
  const frequencyAt = (halfBands: number): number => 10 ** (3 + (0.3 * halfBands) / (2 * fraction))
  const halfBandsTo = (freqHz: number): number => ((Math.log10(freqHz) - 3) * 2 * fraction) / 0.3
  const parity = fraction % 2 === 1 ? 0 : 1
  const bands: BandEdges[] = []
  const [first, last] = [Math.floor(halfBandsTo(lowHz)) - 1, Math.ceil(halfBandsTo(highHz)) + 1]
  for (let at = first; at <= last; at++) {
    if (Math.abs(at) % 2 !== parity) continue
    const centreHz = frequencyAt(at)
    if (centreHz < lowHz || centreHz > highHz) continue
    bands.push({ centreHz, lowHz: frequencyAt(at - 1), highHz: frequencyAt(at + 1) })
  }
  return bands
}

function checkRange(name: string, lowHz: number, highHz: number): void {
  if (!(lowHz > 0) || !Number.isFinite(highHz)) {
    throw new RangeError(`${name}: ${lowHz} to ${highHz} Hz, want finite frequencies above 0`)
  }
}
