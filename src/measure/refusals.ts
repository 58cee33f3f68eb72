/** Why a take holds no whole track of this revision at this speed: one clear line each. */
import {
  CLOSING_SPACING_S,
  openingSpacingS,
  REVISION_COUNT,
  sectionStartS,
  TRACK_REVISION,
  trackDurationS,
} from '../stimulus/layout.js'
import { type Audio, durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { type Chirp, CLOCK_RATIO_MAX, DISTANCE_S, markersIn, type Pair, pairsAt, startOf } from './chirps.js'
import { type Jump, placeSaid } from './jump-words.js'

/** Chirps of one track fit about as well as each other; what fits much worse than the best is chance. */
const FIT_OF_BEST_MIN = 0.6

/** Length over the track's own, when a machine takes one rate for another. */
const WRONG_SPEEDS = [
  { ratio: 44_100 / 48_000, says: ': a 44.1 kHz track played as 48 kHz' },
  { ratio: 48_000 / 44_100, says: ': a 48 kHz track played as 44.1 kHz' },
] as const

/** What is there to explain. */
export interface Seen {
  readonly audio: Audio
  readonly where: string
  readonly chirps: readonly Chirp[]
  /** The place at which a chirp fits best, whether or not it is one. */
  readonly nearest: Chirp
}

const inputsSaid = ({ channels }: Audio): string => (channels.length === 1 ? '1 input' : `${channels.length} inputs`)

export const silentTake = (audio: Audio, where: string): StopError =>
  new StopError(
    `the take is silent: ${durationS(audio).toFixed(1)} s, ${inputsSaid(audio)}, no sample above -84 dBFS`,
    where,
    'Check that the track was playing, that the leads are in, and that the right input was recorded.',
  )

export const tooNoisy = (where: string): StopError =>
  new StopError(
    'the markers were found but their distance could not be read',
    where,
    'The take is too noisy to measure: raise the level or take it again.',
  )

export const nothingFound = ({ audio, where, nearest }: Seen): StopError =>
  new StopError(
    `no track found in ${durationS(audio).toFixed(1)} s of ${inputsSaid(audio)}: the nearest fit of a marker was ${(100 * nearest.fit).toFixed(0)} % at ${nearest.atS.toFixed(1)} s`,
    where,
    'Check that the track was played, at a level well above the noise.',
  )

/** @param placeOf where what follows an opening marker is late by so much */
export function noWholeTrack(seen: Seen, placeOf: (opening: Pair, jumpS: number) => Jump): StopError {
  const lengthS = durationS(seen.audio)
  const stop = (what: string, remedy: string): StopError => new StopError(what, seen.where, remedy)
  const bestFit = seen.chirps.reduce((best, { fit }) => Math.max(best, fit), 0)
  const chirps = seen.chirps.filter(({ fit }) => fit >= FIT_OF_BEST_MIN * bestFit)
  const { openings, closings } = markersIn(chirps)
  const speed = speedOf(chirps)
  if (speed !== null) {
    const known = WRONG_SPEEDS.find(({ ratio }) => Math.abs(ratio / speed - 1) < CLOCK_RATIO_MAX)
    return stop(
      `the track runs at ${(100 / speed).toFixed(1)} % of its speed${known?.says ?? ''}`,
      'Set player and head unit to the rate of the track file, or make the track at their rate (track: sample_rate_hz in the job file).',
    )
  }
  const other = otherRevision(chirps)
  if (other !== null) {
    const age = other < TRACK_REVISION ? 'an older' : 'a newer'
    return stop(
      `the track is of ${age} revision: ${other}, this program measures ${TRACK_REVISION}`,
      other < TRACK_REVISION
        ? 'Make the track anew with "linetrue track JOB --out FILE" and record it again.'
        : 'Update linetrue, or make the track with this version.',
    )
  }
  // Of several passes the last one that has an end, else the last one.
  const ended = openings.flatMap((opening, i) => {
    const next = openings[i + 1]?.atS ?? Number.POSITIVE_INFINITY
    const closing = closings.find(({ atS }) => atS > opening.atS && atS < next)
    return closing ? [{ opening, closing }] : []
  })
  const { opening, closing } = ended.at(-1) ?? {
    opening: openings.at(-1),
    closing: openings[0] ? undefined : closings[0],
  }
  if (opening && !closing) {
    const missingS = opening.atS - sectionStartS('opening') + trackDurationS() - lengthS
    return stop(
      missingS > 0
        ? `the track is cut short: it begins at ${startOf(opening).toFixed(1)} s, the recording ends ${missingS.toFixed(1)} s before it does`
        : `the track begins at ${startOf(opening).toFixed(1)} s, but its closing marker is missing`,
      'Record the track to its end, without a pause.',
    )
  }
  if (closing && !opening) {
    return stop(
      `the track's beginning is missing: its closing marker is at ${closing.atS.toFixed(1)} s, the opening one is not there`,
      'Start the recording before the track, and record it whole.',
    )
  }
  if (opening && closing) {
    const apartS = closing.atS - opening.atS
    const lateS = apartS - DISTANCE_S
    const takeS = (tS: number): number => opening.atS - sectionStartS('opening') + tS
    const says = `it ${lateS > 0 ? 'stood still for' : 'left out'} ${Math.abs(lateS).toFixed(1)} s ${placeSaid(placeOf(opening, lateS), takeS)}`
    return stop(
      `the markers are ${apartS.toFixed(2)} s apart, the track's are ${DISTANCE_S.toFixed(2)} s: ${says}`,
      'The track was paused, skipped or played at another speed: play it through once more.',
    )
  }
  return nothingFound(seen)
}

/** A whole track at another speed: both inner distances and the outer one are stretched alike. */
function speedOf(chirps: readonly Chirp[]): number | null {
  for (const first of chirps) {
    for (const second of chirps) {
      const speed = (second.atS - first.atS) / openingSpacingS(TRACK_REVISION)
      if (speed > 1.25) break
      if (speed < 0.8 || Math.abs(speed - 1) < CLOCK_RATIO_MAX) continue
      const closing = pairsAt(chirps, CLOSING_SPACING_S * speed).find(
        ({ atS }) => Math.abs((atS - first.atS) / (DISTANCE_S * speed) - 1) < 0.01,
      )
      // The long distance tells the speed far better than the short one.
      if (closing) return (closing.atS - first.atS) / DISTANCE_S
    }
  }
  // Only its beginning is there: the two wrong speeds that machines make, by the inner distance alone.
  const fit = WRONG_SPEEDS.map(({ ratio }) => ({ ratio, off: offBy(chirps, openingSpacingS(TRACK_REVISION) * ratio) }))
  const best = fit.sort((a, b) => a.off - b.off)[0]
  const others = Array.from({ length: REVISION_COUNT }, (_, revision) => offBy(chirps, openingSpacingS(revision)))
  const nearest = Math.min(...others, offBy(chirps, CLOSING_SPACING_S))
  return best.off < 0.0015 && best.off < nearest ? best.ratio : null
}

/** How far the best pair of chirps is from an inner distance; infinite where none is near. */
const offBy = (chirps: readonly Chirp[], spacingS: number): number =>
  Math.min(Number.POSITIVE_INFINITY, ...pairsAt(chirps, spacingS).map((pair) => Math.abs(pair.spacingS - spacingS)))

/** The revision whose inner distance is there while this one's is not. */
function otherRevision(chirps: readonly Chirp[]): number | null {
  const own = offBy(chirps, openingSpacingS(TRACK_REVISION))
  let best = { revision: -1, off: Number.POSITIVE_INFINITY }
  for (let revision = 0; revision < REVISION_COUNT; revision++) {
    const off = offBy(chirps, openingSpacingS(revision))
    if (revision !== TRACK_REVISION && off < best.off) best = { revision, off }
  }
  return Number.isFinite(best.off) && !Number.isFinite(own) ? best.revision : null
}
