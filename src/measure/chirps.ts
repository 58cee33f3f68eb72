/**
 * From the fit of the chirp at each place to chirps, pairs and whole tracks. Times are seconds from the take's first
 * sample; lists are in the order of time.
 */
import { CLOSING_SPACING_S, openingSpacingS, sectionStartS, TRACK_REVISION } from '../stimulus/layout.js'

/**
 * Fit from which a place counts as a chirp. Real ones reach 0.3 even on a tweeter from 9 kHz up; music and other pink noise
 * may come near it by chance, but not at four right distances with the right tones between (tried on hours of it).
 */
const FIT_MIN = 0.28
/** A subwoofer's slow lobes move a chirp by a few milliseconds, in each pair alike. */
const SPACING_TOLERANCE_S = 0.004
/** Clocks further apart than this are a wrong rate, not a tolerance (USB 2.0 full speed allows 2500 ppm). */
export const CLOCK_RATIO_MAX = 0.003
/** From the opening marker to the closing one. */
export const DISTANCE_S = sectionStartS('closing') - sectionStartS('opening')

export interface Chirp {
  readonly atS: number
  readonly fit: number
}

/** The two chirps of a marker. */
export interface Pair {
  readonly atS: number
  /** Of the weaker one. */
  readonly fit: number
  /** Inner distance. */
  readonly spacingS: number
}

/** Markers of a whole track. */
export interface Track {
  readonly opening: Pair
  readonly closing: Pair
}

/**
 * Local maxima of the fit that stand alone within a third of the shortest inner distance.
 * @param firstS time of the fit's first sample
 */
export function chirpsIn(fit: Float32Array, rateHz: number, firstS: number): Chirp[] {
  const reach = Math.round(0.11 * rateHz)
  const chirps: Chirp[] = []
  for (let n = 0; n < fit.length; n++) {
    if (fit[n] < FIT_MIN) continue
    let isHighest = true
    for (let m = Math.max(0, n - reach); m <= Math.min(fit.length - 1, n + reach) && isHighest; m++) {
      isHighest = fit[m] < fit[n] || m === n || (fit[m] === fit[n] && m > n)
    }
    if (isHighest) chirps.push({ atS: firstS + n / rateHz, fit: fit[n] })
  }
  return chirps
}

export function pairsAt(chirps: readonly Chirp[], spacingS: number): Pair[] {
  const pairs: Pair[] = []
  let from = 0
  for (const first of chirps) {
    while (from < chirps.length && chirps[from].atS <= first.atS + spacingS - SPACING_TOLERANCE_S) from++
    const second = chirps[from]
    if (!second || second.atS >= first.atS + spacingS + SPACING_TOLERANCE_S) continue
    // Two chirps of one marker went the same way, so they fit about as well as each other.
    if (Math.min(first.fit, second.fit) < 0.5 * Math.max(first.fit, second.fit)) continue
    pairs.push({ atS: first.atS, fit: Math.min(first.fit, second.fit), spacingS: second.atS - first.atS })
  }
  return pairs
}

export interface Markers {
  readonly openings: readonly Pair[]
  readonly closings: readonly Pair[]
}

export const markersIn = (chirps: readonly Chirp[]): Markers => ({
  openings: pairsAt(chirps, openingSpacingS(TRACK_REVISION)),
  closings: pairsAt(chirps, CLOSING_SPACING_S),
})

/** Each opening with the closing that stands at the track's distance; of several, the one that fits best. */
export function tracksOf({ openings, closings }: Markers): Track[] {
  return openings.flatMap((opening) => {
    const fitting = closings.filter(({ atS }) => Math.abs((atS - opening.atS) / DISTANCE_S - 1) < CLOCK_RATIO_MAX)
    const best = fitting.sort((a, b) => b.fit - a.fit)[0]
    return best ? [{ opening, closing: best }] : []
  })
}

/** Where the track begins, from its opening marker; a recording may have begun after that. */
export const startOf = (opening: Pair): number => Math.max(0, opening.atS - sectionStartS('opening'))
