/**
 * The track in a take whose clock walks: the capture's rate against the player's changes evenly while the track plays. Each
 * short piece is played from the closed forms at its own rate; within one the place is off by less than a nanosecond.
 */
import { trackDurationS } from '../../src/stimulus/layout.js'
import { type Played, playTrack } from './track.js'

const PIECE_S = 0.2

export interface Walking {
  readonly sampleRateHz?: number
  /** Capture clock against player clock in the middle of the track. */
  readonly ppm?: number
  /** By how much that grows in each second. */
  readonly walkPpmPerS: number
  readonly leadInS?: number
  readonly tailS?: number
}

export interface Walked extends Played {
  /** Sample at which a moment of the track stands. */
  readonly sampleOf: (tS: number) => number
}

export function playOnWalkingClock({
  sampleRateHz = 48_000,
  ppm = 0,
  walkPpmPerS,
  leadInS = 0.5,
  tailS = 0.5,
}: Walking): Walked {
  const endS = trackDurationS()
  const perS = sampleRateHz * (1 + 1e-6 * ppm)
  // The ratio is 1 + walk × (t - middle): its integral, from the track's first sample on.
  const bendS = (tS: number): number => 0.5e-6 * walkPpmPerS * ((tS - endS / 2) ** 2 - (endS / 2) ** 2)
  const sampleOf = (tS: number): number => leadInS * sampleRateHz + perS * (tS + bendS(tS))
  const frameCount = Math.ceil(sampleOf(endS) + tailS * sampleRateHz)
  const [left, right] = [new Float64Array(frameCount), new Float64Array(frameCount)]
  for (let fromS = 0; fromS < endS; fromS += PIECE_S) {
    const toS = Math.min(endS, fromS + PIECE_S)
    const [from, to] = [sampleOf(fromS), sampleOf(toS)]
    const piecePpm = 1e6 * ((to - from) / (toS - fromS) / sampleRateHz - 1)
    const base = Math.floor(from)
    const piece = playTrack({ sampleRateHz, ppm: piecePpm, leadInS: (from - base) / sampleRateHz, fromS, toS })
    for (let n = Math.ceil(from); n < Math.ceil(to); n++) {
      left[n] = piece.left[n - base]
      right[n] = piece.right[n - base]
    }
  }
  return { sampleRateHz, samplesPerS: perS, startSample: sampleOf(0), left, right, sampleOf }
}
