/**
 * Finds the track in a take and the ratio of the two clocks, or says what is there instead.
 *
 * Four chirps mark the track, two at each end. The distance inside a pair tells opening from closing and the revision;
 * the distance of the pairs tells the speed. The chirp is exponential: played at a wrong speed it still fits, only
 * shifted, and by the same amount each time. Of several whole tracks the one that came through best is taken.
 */
import { sectionStartS, TRACK_REVISION } from '../stimulus/layout.js'
import { type Audio, frameCountOf } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import type { Located } from './analysis.js'
import { type Chirp, CLOCK_RATIO_MAX, chirpsIn, markersIn, type Track, tracksOf } from './chirps.js'
import { missingSamples } from './jump-words.js'
import { chirpTemplate, matchedFilter } from './matched-filter.js'
import { type Complex, factorFor, halved, type Mixed, mixOf, peakOf, turnsOf } from './mix.js'
import { nothingFound, noWholeTrack, silentTake, tooNoisy } from './refusals.js'
import { type HeardTrack, hear, hearSteady, isJump, jumpPlaceOf, placeIn } from './take-jump.js'
import { FIRST_AT_S } from './time-map.js'
import { listeningTo } from './tones-heard.js'

/** Below this peak a take is silent: a 16-bit card's last bit is -90 dBFS. */
const SILENT_PEAK_FS = 10 ** (-84 / 20)
/** The track is looked for at this rate first, which is quick, then at twice that, where a tweeter's chirp is longer. */
const SEARCH_HZ = 6000
/** A longer jump spoils what comes after it; a shorter one is measured, said, and counted as uncertainty of the clock. */
const JUMP_MOST_S = 0.5e-3
/** Where chirps fit worse than this, what is there beside the track may have moved the markers. */
const MATCH_SURE = 0.5
/** Tracks whose chirps fit so nearly alike came through alike; the quieter silence decides. */
const MATCH_ALIKE = 0.06

/** One whole track, measured. */
interface Candidate {
  readonly match: number
  /** Mean square of the mix while the track is silent. */
  readonly noise: number
  readonly found: Located | StopError
}

/**
 * @param audio a take; the track may stand anywhere in it
 * @param where file or device, for messages
 * @throws StopError when the take is silent or holds no whole track, or one of another revision or speed, or with samples lost
 */
export function locate(audio: Audio, where: string): Located {
  if (peakOf(audio, SILENT_PEAK_FS) < SILENT_PEAK_FS) throw silentTake(audio, where)
  const mixed: Mixed = { audio, turns: turnsOf(audio) }
  const factor = factorFor(audio, 2 * SEARCH_HZ)
  const rateHz = audio.sampleRateHz / factor
  const firstS = (factor - 1) / 2 / audio.sampleRateHz
  const mix = mixOf(mixed, factor, 0, Math.floor(frameCountOf(audio) / factor))

  let seen = search(halved(mix), rateHz / 2, firstS)
  let candidates = candidatesOf(mixed, tracksOf(markersIn(seen.chirps)), where)
  if (candidates.length === 0) {
    seen = search(mix, rateHz, firstS)
    candidates = candidatesOf(mixed, tracksOf(markersIn(seen.chirps)), where)
  }
  if (candidates.length === 0) {
    const explained = { audio, where, ...seen }
    throw tracksOf(markersIn(seen.chirps)).length > 0
      ? nothingFound(explained)
      : noWholeTrack(explained, (opening, jumpS) =>
          placeIn(mixed, (opening.atS - sectionStartS('opening')) * audio.sampleRateHz, audio.sampleRateHz, jumpS),
        )
  }
  const best = bestOf(candidates)
  if (best.found instanceof StopError) throw best.found
  return { ...best.found, trackCount: candidates.length, trackNumber: 1 + candidates.indexOf(best) }
}

function search(mix: Complex, rateHz: number, firstS: number): { chirps: Chirp[]; nearest: Chirp } {
  const fit = matchedFilter(mix, chirpTemplate(rateHz))
  let best = 0
  for (let n = 0; n < fit.length; n++) if (fit[n] > fit[best]) best = n
  return {
    chirps: chirpsIn(fit, rateHz, firstS),
    nearest: { atS: firstS + best / rateHz, fit: fit[best] ?? 0, alikeS: [] },
  }
}

/** The tracks that have tones between their markers, in the order of time. */
function candidatesOf(mixed: Mixed, tracks: readonly Track[], where: string): Candidate[] {
  return tracks.flatMap((track) => {
    const heard = hear(mixed, track)
    // Four chance fits may stand at any distance, and have no tones between them.
    if (!heard || !(Math.abs(offsetOf(heard)) < CLOCK_RATIO_MAX)) return []
    const match = Math.min(track.opening.fit, track.closing.fit)
    const noise = powerOf(listeningTo(mixed, heard.straight).silence)
    return [{ match, noise, found: foundOf(heard, track, match, where) }]
  })
}

const offsetOf = ({ mixed, straight }: HeardTrack): number => straight.samplesPerS / mixed.audio.sampleRateHz - 1

function foundOf(first: HeardTrack, track: Track, match: number, where: string): Located | StopError {
  const heard = (isJump(first.walk) && hearSteady(first.mixed, track)) || first
  const { mixed, straight, walk } = heard
  const { sampleRateHz } = mixed.audio
  const isMoved = isJump(walk)
  if (isMoved && Math.abs(walk.jumpS) > JUMP_MOST_S) {
    if (match < MATCH_SURE) return tooNoisy(where)
    const tonesPerS = straight.samplesPerS * (1 + walk.besideJump.offset)
    const takeS = (tS: number): number =>
      (straight.startSample + FIRST_AT_S * straight.samplesPerS + (tS - FIRST_AT_S) * tonesPerS) / sampleRateHz
    return missingSamples(jumpPlaceOf(heard), sampleRateHz, where, takeS)
  }
  const line = isMoved ? walk.besideJump : walk
  // The opening marker stays where it is.
  const samplesPerS = straight.samplesPerS * (1 + line.offset)
  return {
    startSample: straight.startSample - (samplesPerS - straight.samplesPerS) * FIRST_AT_S,
    samplesPerS,
    clockOffsetPpm: 1e6 * (samplesPerS / sampleRateHz - 1),
    clockOffsetPpmU: 2e6 * line.offsetError,
    clockDriftPpm: 1e6 * line.walk,
    clockDriftPpmU: 2e6 * line.walkError,
    clockJumpS: isMoved ? walk.jumpS : 0,
    revision: TRACK_REVISION,
    match,
  }
}

function powerOf({ re, im }: Complex): number {
  let power = 0
  for (let n = 0; n < re.length; n++) power += re[n] * re[n] + im[n] * im[n]
  return power / re.length
}

/** One that lost no samples, else one that lost few; then the best fit; where fits are alike, the one with least noise. */
function bestOf(candidates: readonly Candidate[]): Candidate {
  const faultOf = ({ found }: Candidate): number => (found instanceof StopError ? 2 : found.clockJumpS === 0 ? 0 : 1)
  const least = Math.min(...candidates.map(faultOf))
  const among = candidates.filter((one) => faultOf(one) === least)
  const match = Math.max(...among.map((one) => one.match))
  return among.filter((one) => one.match > match - MATCH_ALIKE).reduce((a, b) => (b.noise < a.noise ? b : a))
}
