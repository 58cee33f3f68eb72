/**
 * Finds an excerpt of the track in a take: where the whole track would begin, of which the excerpt is a part.
 *
 * As `locate` does it, by the chirps of both markers; there are no steady tones to tell a walking clock or lost samples.
 */
import { EXCERPT_OPENING_SPACING_S, type Excerpt } from '../stimulus/excerpt.js'
import { CLOSING_SPACING_S, TRACK_REVISION } from '../stimulus/layout.js'
import { type Audio, frameCountOf } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import type { Located } from './analysis.js'
import { CLOCK_RATIO_MAX, chirpsIn, pairsAt, type Track } from './chirps.js'
import { chirpTemplate, matchedFilter } from './matched-filter.js'
import { factorFor, mixOf, turnsOf } from './mix.js'
import { refine } from './refine.js'

/** A tweeter's chirp is long enough at this rate. */
const SEARCH_HZ = 12_000

/**
 * @param audio a take; the excerpt may stand anywhere in it
 * @param where file or device, for messages
 * @returns place and speed of the whole track, so that its timetable holds for the sections of the excerpt
 * @throws StopError when both markers are not there at their distance
 */
export function locateExcerpt(audio: Audio, excerpt: Excerpt, where: string): Located {
  const mixed = { audio, turns: turnsOf(audio) }
  const factor = factorFor(audio, SEARCH_HZ)
  const rateHz = audio.sampleRateHz / factor
  const mix = mixOf(mixed, factor, 0, Math.floor(frameCountOf(audio) / factor))
  const fit = matchedFilter(mix, chirpTemplate(rateHz))
  const chirps = chirpsIn(fit, rateHz, (factor - 1) / 2 / audio.sampleRateHz)
  const distanceS = excerpt.closingS - excerpt.openingS
  const closings = pairsAt(chirps, CLOSING_SPACING_S)
  const tracks = pairsAt(chirps, EXCERPT_OPENING_SPACING_S).flatMap((opening) =>
    closings
      .filter(({ atS }) => Math.abs((atS - opening.atS) / distanceS - 1) < CLOCK_RATIO_MAX)
      .map((closing): Track => ({ opening, closing })),
  )
  const matchOf = ({ opening, closing }: Track): number => Math.min(opening.fit, closing.fit)
  const [best] = tracks.sort((a, b) => matchOf(b) - matchOf(a))
  if (!best) {
    throw new StopError(
      `the markers of the ${excerpt.kind} were not found in the take`,
      where,
      'Check that the sound comes through the vehicle, well above the noise, and take it again.',
      'instrument',
    )
  }
  const betweenS = distanceS + CLOSING_SPACING_S - EXCERPT_OPENING_SPACING_S
  const { startSample, samplesPerS, distanceError } = refine(mixed, best, {
    openingSpacingS: EXCERPT_OPENING_SPACING_S,
    closingSpacingS: CLOSING_SPACING_S,
    firstChirpS: excerpt.openingS + EXCERPT_OPENING_SPACING_S,
    betweenS,
  })
  return {
    startSample: startSample - excerpt.laterInTrackS * samplesPerS,
    samplesPerS,
    clockOffsetPpm: 1e6 * (samplesPerS / audio.sampleRateHz - 1),
    clockOffsetPpmU: (2e6 * distanceError) / (betweenS * samplesPerS),
    revision: TRACK_REVISION,
    match: matchOf(best),
  }
}
