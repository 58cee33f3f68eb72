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
/** Outputs are no further apart than this, and of two that are as loud neither fits worse than so much of the other. */
const APART_S = 0.06
const ALIKE_SHARE = 0.85
/** What two places of the same output differ by from what is played: steps of the fit, noise. */
const SAME_OUTPUT_S = 0.0005
/** Clocks further apart than this are a wrong rate, not a tolerance (USB 2.0 full speed allows 2500 ppm). */
export const CLOCK_RATIO_MAX = 0.003
/** From the opening marker to the closing one. */
export const DISTANCE_S = sectionStartS('closing') - sectionStartS('opening')

export interface Chirp {
  readonly atS: number
  readonly fit: number
  /** Places near it that fit nearly as well: outputs that come at different times. Which fits best is then chance. */
  readonly alikeS: readonly number[]
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
    if (isHighest) chirps.push({ atS: firstS + n / rateHz, fit: fit[n], alikeS: alikeNear(fit, n, rateHz, firstS) })
  }
  return chirps
}

function alikeNear(fit: Float32Array, highest: number, rateHz: number, firstS: number): number[] {
  const reach = Math.round(APART_S * rateHz)
  const alikeS: number[] = []
  for (let n = Math.max(1, highest - reach); n < Math.min(fit.length - 1, highest + reach); n++) {
    if (n === highest || fit[n] < ALIKE_SHARE * fit[highest]) continue
    if (fit[n] >= fit[n - 1] && fit[n] > fit[n + 1]) alikeS.push(firstS + n / rateHz)
  }
  return alikeS
}

export function pairsAt(chirps: readonly Chirp[], spacingS: number): Pair[] {
  const pairs: Pair[] = []
  let from = 0
  for (const first of chirps) {
    while (from < chirps.length && chirps[from].atS <= first.atS + spacingS - SPACING_TOLERANCE_S - 2 * APART_S) from++
    let best: Pair | null = null
    for (
      let k = from;
      k < chirps.length && chirps[k].atS < first.atS + spacingS + SPACING_TOLERANCE_S + 2 * APART_S;
      k++
    ) {
      const pair = pairOf(first, chirps[k], spacingS)
      if (pair && (best === null || isNearer(pair, best, spacingS))) best = pair
    }
    if (best) pairs.push(best)
  }
  return pairs
}

/** Two chirps by the places of one output in both: those at the right distance, the earliest of several. */
function pairOf(first: Chirp, second: Chirp, spacingS: number): Pair | null {
  // Two chirps of one marker went the same way, so they fit about as well as each other.
  const fit = Math.min(first.fit, second.fit)
  if (fit < 0.5 * Math.max(first.fit, second.fit)) return null
  let best: Pair | null = null
  for (const atS of [first.atS, ...first.alikeS]) {
    for (const secondS of [second.atS, ...second.alikeS]) {
      const pair = { atS, fit, spacingS: secondS - atS }
      if (Math.abs(pair.spacingS - spacingS) >= SPACING_TOLERANCE_S) continue
      if (best === null || isNearer(pair, best, spacingS)) best = pair
    }
  }
  return best
}

/** Nearer to the distance by more than one output's places may differ; else earlier. */
function isNearer(one: Pair, other: Pair, spacingS: number): boolean {
  const [a, b] = [one, other].map((pair) => Math.max(SAME_OUTPUT_S, Math.abs(pair.spacingS - spacingS)))
  return a === b ? one.atS < other.atS : a < b
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
