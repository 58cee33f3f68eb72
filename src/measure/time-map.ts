/**
 * Where a moment of the track stands in a take. Both clocks may run at slightly different rates, and their ratio may walk
 * evenly while the take lasts (a crystal that warms up): a parabola through both markers.
 */
import { CHIRP, CLOSING_SPACING_S, openingSpacingS, sectionStartS, TRACK_REVISION } from '../stimulus/layout.js'
import type { Located } from './analysis.js'

/** Starts of the chirps that the clock is read from: the second of each marker. */
export const FIRST_CHIRP_S = sectionStartS('opening') + openingSpacingS(TRACK_REVISION)
export const LAST_CHIRP_S = sectionStartS('closing') + CLOSING_SPACING_S
/**
 * The moments that their distance stands for: high frequencies rule it, and they come late in a chirp. Of two chirps at
 * slightly different rates the one at frequency f moves by their difference times the time at which f sounds.
 */
const RULING_HZ = 13_000
const RULING_S =
  (CHIRP.durationS * Math.log(RULING_HZ / CHIRP.freqHzStart)) / Math.log(CHIRP.freqHzEnd / CHIRP.freqHzStart)
export const FIRST_AT_S = FIRST_CHIRP_S + RULING_S
export const LAST_AT_S = LAST_CHIRP_S + RULING_S
export const BETWEEN_S = LAST_AT_S - FIRST_AT_S

/**
 * How late the track is against an even clock, in parts of the clock's walk: bulgeS(t) × 1e-6 × clockDriftPpm seconds.
 * From a ratio 1 + e(t) whose e rises by the walk from the first chirp to the last and is 0 on average.
 */
export const bulgeS = (tS: number): number => (-(tS - FIRST_AT_S) * (LAST_AT_S - tS)) / (2 * BETWEEN_S)

/** Sample (fractional) of a take at which a moment of the track stands. */
export const sampleAt = ({ startSample, samplesPerS, clockDriftPpm = 0 }: Located, tS: number): number =>
  startSample + samplesPerS * (tS + 1e-6 * clockDriftPpm * bulgeS(tS))

/** The inverse of sampleAt; one step of it is right within 10 ns up to a walk of 50 ppm. */
export function momentAt({ startSample, samplesPerS, clockDriftPpm = 0 }: Located, sample: number): number {
  const evenS = (sample - startSample) / samplesPerS
  return evenS - 1e-6 * clockDriftPpm * bulgeS(evenS)
}

/** Capture samples for each second of track around a moment. */
export const samplesPerSAt = ({ samplesPerS, clockDriftPpm = 0 }: Located, tS: number): number =>
  samplesPerS * (1 + 1e-6 * clockDriftPpm * ((2 * tS - FIRST_AT_S - LAST_AT_S) / (2 * BETWEEN_S)))

/**
 * Expanded uncertainty (k = 2, seconds) of the time from one moment of the track to another in the take: what a delay
 * read from both sweeps has besides its own, since the left and the right one are 5.4 s apart. Samples that were lost or
 * added somewhere may have been so between them.
 */
export function spanU(
  { clockOffsetPpmU, clockDriftPpmU = 0, clockJumpS = 0 }: Located,
  fromS: number,
  toS: number,
): number {
  const straight = 1e-6 * clockOffsetPpmU * Math.abs(toS - fromS)
  const walked = 1e-6 * clockDriftPpmU * Math.abs(bulgeS(toS) - bulgeS(fromS))
  // Both are read from the same tones, so their errors add up at worst.
  return straight + walked + Math.abs(clockJumpS)
}
