/**
 * Samples that are missing from a take, or are there too often: on all of its inputs, or only on some.
 *
 * One output may lose samples by itself, a fault of its own. The clock is then read from the others.
 */
import { frameCountOf } from '../units/audio.js'
import type { Located } from './analysis.js'
import type { Track } from './chirps.js'
import { type Walk, walkOf } from './clock-walk.js'
import { findJump } from './find-jump.js'
import type { Jump } from './jump-words.js'
import { factorFor, type Mixed, mixOf } from './mix.js'
import { pausePlaceOf } from './pause-place.js'
import { refine, type Straight } from './refine.js'
import { BETWEEN_S, FIRST_AT_S, FIRST_CHIRP_S } from './time-map.js'
import { listeningTo } from './tones-heard.js'

/** A jump counts from this many standard uncertainties and seconds up. */
const JUMP_ERRORS = 5
const JUMP_MIN_S = 2e-6
/** A longer jump is a pause: what comes after it is not where a search to the sample looks for it. */
const LONG_S = 0.025
/** The place of a jump is looked for at this rate or more. */
const RATE_HZ = 44_100

/** A track in a take, and its clock. */
export interface HeardTrack {
  readonly mixed: Mixed
  readonly straight: Straight
  readonly walk: Walk
}

/** @returns null where no tone is heard between the markers */
export function hear(mixed: Mixed, track: Track): HeardTrack | null {
  const straight = refine(mixed, track)
  const walk = walkOf(listeningTo(mixed, straight), straight.distanceError / (BETWEEN_S * straight.samplesPerS))
  return walk && { mixed, straight, walk }
}

export const isJump = ({ jumpS, jumpError }: Walk): boolean =>
  Math.abs(jumpS) > Math.max(JUMP_MIN_S, JUMP_ERRORS * jumpError)

/**
 * The track heard on those inputs alone on which nothing jumps.
 * @returns null where these are fewer than the others: then it is what they share that jumps, and no output
 */
export function hearSteady({ audio, turns }: Mixed, track: Track): HeardTrack | null {
  const silent = { re: 0, im: 0 }
  const jumps = turns.map((turn, k) => {
    if (turn.re === 0 && turn.im === 0) return null
    const alone = hear({ audio, turns: turns.map((_, i) => (i === k ? turn : silent)) }, track)
    return alone && isJump(alone.walk)
  })
  const steadyCount = jumps.filter((one) => one === false).length
  const jumpingCount = jumps.filter((one) => one === true).length
  if (jumpingCount === 0 || steadyCount < jumpingCount) return null
  return hear({ audio, turns: turns.map((turn, k) => (jumps[k] === false ? turn : silent)) }, track)
}

/** Where in the track it is. */
export function jumpPlaceOf({ mixed, straight, walk: { jumpS } }: HeardTrack): Jump {
  const { startSample, samplesPerS } = straight
  // Before the jump the clock runs as the tones say; the opening marker stays where it is.
  const tonesPerS = samplesPerS * (1 - jumpS / BETWEEN_S)
  return placeIn(mixed, startSample + FIRST_AT_S * (samplesPerS - tonesPerS), tonesPerS, jumpS)
}

/**
 * @param startSample of the track, by its opening marker
 * @param samplesPerS of the take, before the jump
 * @param jumpS by how much the closing marker is late on that clock
 */
export function placeIn(mixed: Mixed, startSample: number, samplesPerS: number, jumpS: number): Jump {
  if (Math.abs(jumpS) > LONG_S) return pausePlaceOf(mixed, startSample, samplesPerS, jumpS)
  const factor = factorFor(mixed.audio, RATE_HZ)
  // One real signal that hears both sides, as the search for the place wants it.
  const { re } = mixOf(mixed, factor, 0, Math.floor(frameCountOf(mixed.audio) / factor))
  const perS = samplesPerS / factor
  const located: Located = {
    startSample: (startSample - (factor - 1) / 2) / factor,
    samplesPerS: perS,
    clockOffsetPpm: 0,
    clockOffsetPpmU: 0,
    revision: 0,
    match: 1,
  }
  const found = findJump(re, located, jumpS * perS)
  if (!found) return { jumpS, fromS: FIRST_CHIRP_S, toS: FIRST_CHIRP_S + BETWEEN_S }
  const atS = (found.atSample - located.startSample) / perS
  // Somewhere between two moments: its standard uncertainty is their distance over the root of 12.
  const halfS = (Math.sqrt(3) * found.atSampleU) / perS
  return { jumpS, fromS: atS - halfS, toS: atS + halfS }
}
