/**
 * Peaks of a marker behind its matched filter, one for each output that comes at a time of its own, and which of them belong
 * together in two markers.
 */
import { crossOf, turnBack } from './cross-spectrum.js'

/** What stands around a peak of a marker. */
export interface Ring {
  readonly middle: number
  /** Its spectrum. */
  readonly ring: Float64Array
  /** Lags of the highest peak and of those nearly as high. */
  readonly lags: readonly number[]
}

/** Outputs that stand out of the filtered marker: the highest first, and those nearly as high. */
const ALIKE_SHARE = 0.7
const ALIKE_MOST = 4
/** Another pair of peaks is taken for the same output where the phases agree better by this much. */
const CLEARLY = 1.05

/** Lags of the highest peak and of others that are nearly as high, up to a lag. */
export function peaksOf(filtered: Float64Array, last: number): number[] {
  const highest = peakOf(filtered, 0, last)
  const least = ALIKE_SHARE * magnitudeAt(filtered, Math.round(highest))
  const others: number[] = []
  for (let lag = 1; lag < last; lag++) {
    const here = magnitudeAt(filtered, lag)
    if (here < least || here < magnitudeAt(filtered, lag - 1) || here <= magnitudeAt(filtered, lag + 1)) continue
    if (Math.abs(lag - highest) > 1) others.push(peakOf(filtered, lag - 1, lag + 1))
  }
  others.sort((a, b) => magnitudeAt(filtered, Math.round(b)) - magnitudeAt(filtered, Math.round(a)))
  return [highest, ...others.slice(0, ALIKE_MOST - 1)]
}

/**
 * By how much what stands in the first ring is later in the second, as far as peaks tell. Of outputs as loud that come at
 * different times, which one is the highest peak is chance: the pair of peaks is taken by which the phases agree best.
 */
export function sameOutput(first: Ring, last: Ring): number {
  const guesses = first.lags.flatMap((a) => last.lags.map((b) => b - last.middle - (a - first.middle)))
  if (guesses.length === 1) return guesses[0]
  const cross = crossOf(last.ring, first.ring)
  const size = cross.length / 2
  const agreement = (samples: number): number => {
    const turned = cross.slice()
    turnBack(turned, samples)
    let [re, im] = [0, 0]
    for (let k = 1; k < size; k++) {
      const weight = Math.min(k, size - k)
      re += weight * turned[2 * k]
      im += weight * turned[2 * k + 1]
    }
    return Math.hypot(re, im)
  }
  let [best, most] = [guesses[0], CLEARLY * agreement(guesses[0])]
  for (const guess of guesses.slice(1)) {
    const value = agreement(guess)
    if (value > most) [best, most] = [guess, value]
  }
  return best
}

/** Lag of the largest magnitude from the first to the last lag; its fraction by the parabola through its neighbours. */
export function peakOf(lags: Float64Array, first: number, last: number): number {
  let best = first
  for (let lag = first; lag <= last; lag++) if (magnitudeAt(lags, lag) > magnitudeAt(lags, best)) best = lag
  const [before, top, after] = [best - 1, best, best + 1].map((lag) => magnitudeAt(lags, lag))
  const bend = before - 2 * top + after
  const fraction = bend < 0 ? (0.5 * (before - after)) / bend : 0
  return best + Math.max(-0.5, Math.min(0.5, fraction))
}

function magnitudeAt(lags: Float64Array, lag: number): number {
  const at = 2 * ((lag + lags.length / 2) % (lags.length / 2))
  return Math.hypot(lags[at], lags[at + 1])
}
