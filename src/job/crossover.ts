/**
 * Where the slopes of a band are 3 dB down. Slopes are of the fourth order, 24 dB an octave, as crossovers commonly are.
 *
 * A Butterworth corner is -3.01 dB by definition. A Linkwitz-Riley corner is -6.02 dB: two second-order Butterworth sections
 * in a row, so that high- and low-pass of one frequency sum flat. Source: S. H. Linkwitz, JAES 24(1), 1976.
 */
import type { BandShape, Crossover } from './job.js'

/** |H| = 1 / (1 + x^4) = 1 / sqrt 2: how far inside the band of a Linkwitz-Riley corner the response is 3 dB down. */
const LINKWITZ_RILEY_RATIO = (Math.SQRT2 - 1) ** -0.25

const ratioOf = (shape: BandShape): number => (shape === 'linkwitz_riley' ? LINKWITZ_RILEY_RATIO : 1)

/** The -3 dB frequencies of a band; null where it has no edge. Below the lower one of a very narrow band lies the upper one. */
export function cornersOf({ shape, lowHz, highHz }: Crossover): { lowHz: number | null; highHz: number | null } {
  const ratio = ratioOf(shape)
  return { lowHz: lowHz === null ? null : lowHz * ratio, highHz: highHz === null ? null : highHz / ratio }
}
