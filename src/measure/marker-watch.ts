/**
 * Whether a stretch of a capture that goes on holds the track's opening marker, or its closing one, whole.
 *
 * Finding a track in a whole take asks for all four chirps and the tones between; here the rest has not been played yet. So a
 * pair of chirps at the right distance counts only where both are the same sound, and where it is quiet after them, as the
 * track is. All inputs are looked at together.
 */
import { CHIRP, CLOSING_SPACING_S, openingSpacingS, TRACK_REVISION } from '../stimulus/layout.js'
import { type Audio, frameCountOf } from '../units/audio.js'
import { chirpsIn, type Pair, pairsAt } from './chirps.js'
import { chirpTemplate, matchedFilter } from './matched-filter.js'
import { type Complex, factorFor, halved, type Mixed, mixOf, peakOf, turnsOf } from './mix.js'

export const MARKER_WATCH_METHOD = 'pair of chirps with quiet after it/1'

/** From the first chirp to where the quiet after an opening marker has been heard for long enough. */
export const OPENING_HEARD_S = openingSpacingS(TRACK_REVISION) + CHIRP.durationS + 1.2

/** Half of it is the rate at which a whole track is looked for; a tweeter's chirp needs the whole. */
const RATE_HZ = 12_000
/** Under this peak nothing is looked for: a 16-bit card's last bit is -90 dBFS. */
const SILENT_PEAK_FS = 10 ** (-84 / 20)
/** Cosine between both chirps of a marker; two notes of a song that are as alike do not sound like the chirp as well. */
const ALIKE_MIN = 0.6
/** Power after the marker against power in it: the track is silent there. */
const QUIET_MOST = 0.25
const QUIET_AFTER_S = 0.2
const QUIET_S = 0.9
/** Chirps are held against each other at no less than this rate: what a lower one folds back is not alike. */
const ALIKE_HZ = 40_000
/** The distance of the fit's peaks is good to this. */
const LAG_MOST_S = 0.0004

export interface MarkerHeard {
  /** First chirp, seconds from the stretch's first sample. */
  readonly atS: number
  /** Of the weaker chirp, 0 to 1. */
  readonly fit: number
}

/** The earliest opening marker of a stretch, with the quiet after it. */
export const openingIn = (stretch: Audio): MarkerHeard | null =>
  markerIn(stretch, openingSpacingS(TRACK_REVISION), true)

/** The earliest closing marker of a stretch; what comes after the track is open. */
export const closingIn = (stretch: Audio): MarkerHeard | null => markerIn(stretch, CLOSING_SPACING_S, false)

function markerIn(stretch: Audio, spacingS: number, isQuietAfter: boolean): MarkerHeard | null {
  if (peakOf(stretch, SILENT_PEAK_FS) < SILENT_PEAK_FS) return null
  const factor = factorFor(stretch, RATE_HZ)
  const rateHz = stretch.sampleRateHz / factor
  const firstS = (factor - 1) / 2 / stretch.sampleRateHz
  const mixed = { audio: stretch, turns: turnsOf(stretch) }
  const mix = mixOf(mixed, factor, 0, Math.floor(frameCountOf(stretch) / factor))
  for (const [signal, signalHz] of [
    [halved(mix), rateHz / 2],
    [mix, rateHz],
  ] as const) {
    const chirps = chirpsIn(matchedFilter(signal, chirpTemplate(signalHz)), signalHz, firstS)
    const found = pairsAt(chirps, spacingS).find((pair) => isMarker(pair, mixed, mix, rateHz, isQuietAfter))
    if (found) return { atS: found.atS, fit: found.fit }
  }
  return null
}

function isMarker(pair: Pair, mixed: Mixed, mix: Complex, rateHz: number, isQuietAfter: boolean): boolean {
  const at = (timeS: number): number => Math.max(0, Math.round(timeS * rateHz))
  if (isQuietAfter) {
    const quiet = at(pair.atS + pair.spacingS + CHIRP.durationS + QUIET_AFTER_S)
    const count = Math.floor(QUIET_S * rateHz)
    if (quiet + count > mix.re.length) return false
    const power = powerOf(mix, at(pair.atS), Math.floor(CHIRP.durationS * rateHz))
    if (powerOf(mix, quiet, count) > QUIET_MOST * power) return false
  }
  return alikeness(mixed, pair) >= ALIKE_MIN
}

/** The largest cosine between both chirps, the second moved by a little; 0 where they are not both there. */
function alikeness(mixed: Mixed, { atS, spacingS }: Pair): number {
  const { sampleRateHz } = mixed.audio
  const factor = factorFor(mixed.audio, ALIKE_HZ)
  const count = Math.floor((CHIRP.durationS * sampleRateHz) / factor)
  const lagMost = Math.ceil((LAG_MOST_S * sampleRateHz) / factor)
  const first = Math.round(atS * sampleRateHz)
  const second = Math.round((atS + spacingS) * sampleRateHz) - lagMost * factor
  if (first < 0 || second + (count + 2 * lagMost) * factor > frameCountOf(mixed.audio)) return 0
  const one = mixOf(mixed, factor, first, count)
  const other = mixOf(mixed, factor, second, count + 2 * lagMost)
  let most = 0
  for (let lag = 0; lag <= 2 * lagMost; lag++) most = Math.max(most, cosineOf(one, other, lag))
  return most
}

function powerOf({ re, im }: Complex, from: number, count: number): number {
  let sum = 0
  for (let n = from; n < from + count; n++) sum += re[n] * re[n] + im[n] * im[n]
  return sum / count
}

/** Real part: a sound that comes again is the same in sign as well. */
function cosineOf(one: Complex, other: Complex, lag: number): number {
  let [cross, a, b] = [0, 0, 0]
  for (let n = 0; n < one.re.length; n++) {
    const [p, q, r, s] = [one.re[n], one.im[n], other.re[n + lag], other.im[n + lag]]
    cross += p * r + q * s
    a += p * p + q * q
    b += r * r + s * s
  }
  return a > 0 && b > 0 ? cross / Math.sqrt(a * b) : 0
}
