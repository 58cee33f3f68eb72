/**
 * Finds the track in a take and the ratio of the two clocks, or says what is there instead.
 *
 * Four chirps mark the track, two at each end. The distance inside a pair tells opening from closing and the revision;
 * the distance of the pairs tells the speed. The chirp is exponential: played at a wrong speed it still fits, only
 * shifted, and by the same amount each time.
 */
import { complexSpectrum, sizeFor } from '../dsp/fft.js'
import {
  CHIRP,
  CLOSING_SPACING_S,
  openingSpacingS,
  REVISION_COUNT,
  sectionStartS,
  TRACK_REVISION,
  trackDurationS,
} from '../stimulus/layout.js'
import { type Audio, durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import type { Located } from './analysis.js'
import { chirpTemplate, matchedFilter } from './matched-filter.js'
import { type Complex, decimate, mixOf } from './mix.js'

/** Below this peak a take is silent: a 16-bit card's last bit is -90 dBFS. */
const SILENT_PEAK_FS = 10 ** (-84 / 20)
/** Fit from which a place counts as a chirp: white noise gets here once in 10^12 places (time-bandwidth 1300). */
const FIT_MIN = 0.15
/** A subwoofer's slow lobes move a chirp by a few milliseconds, in each pair alike. */
const SPACING_TOLERANCE_S = 0.004
/** Clocks further apart than this are a wrong rate, not a tolerance (references: worst class is 2500 ppm). */
const CLOCK_RATIO_MAX = 0.003
const DISTANCE_S = sectionStartS('closing') - sectionStartS('opening')

/** Player's rate over the file's rate, when a machine takes one for the other. */
const WRONG_SPEEDS = [
  { ratio: 44_100 / 48_000, says: 'a 44.1 kHz track played as 48 kHz' },
  { ratio: 48_000 / 44_100, says: 'a 48 kHz track played as 44.1 kHz' },
] as const

interface Chirp {
  readonly atS: number
  readonly fit: number
}
interface Pair {
  readonly atS: number
  readonly fit: number
  /** Inner distance. */
  readonly spacingS: number
}

/**
 * @param audio a take; the track may stand anywhere in it
 * @param where file or device, for messages
 * @throws StopError when the take is silent or holds no track, several, a part of one, or one of another revision or speed
 */
export function locate(audio: Audio, where: string): Located {
  const lengthS = durationS(audio)
  const inputsSaid = audio.channels.length === 1 ? '1 input' : `${audio.channels.length} inputs`
  const stop = (what: string, remedy: string): StopError => new StopError(what, where, remedy)
  const mix = mixOf(audio)
  if (mix.peakFs < SILENT_PEAK_FS) {
    throw stop(
      `the take is silent: ${lengthS.toFixed(1)} s, ${inputsSaid}, no sample above -84 dBFS`,
      'Check that the track was playing, that the leads are in, and that the right input was recorded.',
    )
  }

  const factor = Math.max(1, Math.floor(audio.sampleRateHz / 12_000))
  const coarseHz = audio.sampleRateHz / factor
  const fit = matchedFilter(decimate(mix, factor), chirpTemplate(coarseHz))
  const chirps = chirpsIn(fit, coarseHz)

  const openings = pairsAt(chirps, openingSpacingS(TRACK_REVISION))
  const closings = pairsAt(chirps, CLOSING_SPACING_S)
  const tracks = tracksOf(openings, closings, 1)
  if (tracks.length > 1) {
    const places = tracks.map(({ opening }) => `${opening.atS.toFixed(1)} s`).join(' and ')
    throw stop(
      `the track is there ${tracks.length === 2 ? 'twice' : `${tracks.length} times`}, from ${places}`,
      'Cut the recording so that one whole track is left.',
    )
  }
  if (tracks.length === 1) return refine(mix, audio.sampleRateHz, tracks[0], where)
  throw explain({ chirps, openings, closings, fit, coarseHz, lengthS, inputsSaid, stop })
}

/** Opening and closing at their distance, at a speed of 1 or another. */
function tracksOf(
  openings: readonly Pair[],
  closings: readonly Pair[],
  speed: number,
): { opening: Pair; closing: Pair }[] {
  const tracks: { opening: Pair; closing: Pair }[] = []
  for (const opening of openings) {
    const closing = closings.find(
      ({ atS }) => Math.abs((atS - opening.atS) / (DISTANCE_S * speed) - 1) < CLOCK_RATIO_MAX,
    )
    if (closing) tracks.push({ opening, closing })
  }
  return tracks
}

/** Local maxima of the fit that stand alone within a third of the shortest inner distance. */
function chirpsIn(fit: Float64Array, rateHz: number): Chirp[] {
  const reach = Math.round(0.11 * rateHz)
  const chirps: Chirp[] = []
  for (let n = 0; n < fit.length; n++) {
    if (fit[n] < FIT_MIN) continue
    let isHighest = true
    for (let m = Math.max(0, n - reach); m <= Math.min(fit.length - 1, n + reach) && isHighest; m++) {
      isHighest = fit[m] < fit[n] || m === n || (fit[m] === fit[n] && m > n)
    }
    if (isHighest) chirps.push({ atS: n / rateHz, fit: fit[n] })
  }
  return chirps
}

function pairsAt(chirps: readonly Chirp[], spacingS: number, toleranceS = SPACING_TOLERANCE_S): Pair[] {
  const pairs: Pair[] = []
  for (const first of chirps) {
    const second = chirps.find(({ atS }) => Math.abs(atS - first.atS - spacingS) < toleranceS)
    // Two chirps of one marker went the same way, so they fit about as well as each other.
    if (!second || Math.min(first.fit, second.fit) < 0.5 * Math.max(first.fit, second.fit)) continue
    pairs.push({ atS: first.atS, fit: Math.min(first.fit, second.fit), spacingS: second.atS - first.atS })
  }
  return pairs
}

/** Why there is no whole track of this revision at this speed. */
function explain(seen: {
  chirps: readonly Chirp[]
  openings: readonly Pair[]
  closings: readonly Pair[]
  fit: Float64Array
  coarseHz: number
  lengthS: number
  inputsSaid: string
  stop: (what: string, remedy: string) => StopError
}): StopError {
  const { chirps, openings, closings, lengthS, stop } = seen
  for (const { ratio, says } of WRONG_SPEEDS) {
    const fast = tracksOf(
      pairsAt(chirps, openingSpacingS(TRACK_REVISION) * ratio),
      pairsAt(chirps, CLOSING_SPACING_S * ratio),
      ratio,
    )
    if (fast.length > 0) {
      return stop(
        `the track runs at ${(100 / ratio).toFixed(2)} % of its speed: ${says}`,
        'Set player and head unit to the rate of the track file, or make the track at their rate (track: sample_rate_hz in the job file).',
      )
    }
  }
  for (let revision = 0; revision < REVISION_COUNT; revision++) {
    if (revision === TRACK_REVISION) continue
    const other = pairsAt(chirps, openingSpacingS(revision)).find(
      (pair) => Math.abs(pair.spacingS - openingSpacingS(revision)) < SPACING_TOLERANCE_S,
    )
    if (other && !openings.some(({ atS }) => Math.abs(atS - other.atS) < 0.05)) {
      const age = revision < TRACK_REVISION ? 'an older' : 'a newer'
      return stop(
        `the track is of ${age} revision: ${revision}, this program measures ${TRACK_REVISION}`,
        revision < TRACK_REVISION
          ? 'Make the track anew with "linetrue track JOB --out FILE" and record it again.'
          : 'Update linetrue, or make the track with this version.',
      )
    }
  }
  const opening = openings[0]
  const closing = closings.at(-1)
  if (opening && !closing) {
    const missingS = opening.atS - sectionStartS('opening') + trackDurationS() - lengthS
    return stop(
      missingS > 0
        ? `the track is cut short: it begins at ${Math.max(0, opening.atS - sectionStartS('opening')).toFixed(1)} s, the recording ends ${missingS.toFixed(1)} s before it does`
        : `the track begins at ${(opening.atS - sectionStartS('opening')).toFixed(1)} s, but its closing marker is missing`,
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
    return stop(
      `the markers are ${(closing.atS - opening.atS).toFixed(2)} s apart, the track's are ${DISTANCE_S.toFixed(2)} s`,
      'The track was paused, skipped or played at another speed: play it through once more.',
    )
  }
  let best = 0
  for (let n = 0; n < seen.fit.length; n++) if (seen.fit[n] > seen.fit[best]) best = n
  const share = (100 * (seen.fit[best] ?? 0)).toFixed(0)
  return stop(
    `no track found in ${lengthS.toFixed(1)} s of ${seen.inputsSaid}: the nearest fit of a marker was ${share} % at ${(best / seen.coarseHz).toFixed(1)} s`,
    'Check that the track was played, at a level well above the noise.',
  )
}

/** Sharpens the coarse place at the full rate: clock ratio by the phase between the last chirps of both markers. */
function refine(mix: Complex, sampleRateHz: number, track: { opening: Pair; closing: Pair }, where: string): Located {
  // The second chirp of each marker is followed by silence, so its whole response can be compared.
  const firstS = track.opening.atS + openingSpacingS(TRACK_REVISION)
  const secondS = track.closing.atS + CLOSING_SPACING_S
  const distanceS = DISTANCE_S + CLOSING_SPACING_S - openingSpacingS(TRACK_REVISION)

  const beforeS = 0.02
  const lengthS = CHIRP.durationS + 0.2
  const size = 2 * sizeFor(Math.ceil(lengthS * sampleRateHz))
  const from = (atS: number): number => Math.round((atS - beforeS) * sampleRateHz)
  const [firstAt, secondAt] = [from(firstS), from(secondS)]
  const first = complexSpectrum(cut(mix, firstAt, lengthS * sampleRateHz, size))
  const second = complexSpectrum(cut(mix, secondAt, lengthS * sampleRateHz, size))
  const shift = shiftBetween(first, second)
  const samplesPerS = (secondAt - firstAt + shift.samples) / distanceS
  const clockOffsetPpm = (samplesPerS / sampleRateHz - 1) * 1e6
  if (!(Math.abs(clockOffsetPpm) < CLOCK_RATIO_MAX * 1e6)) {
    throw new StopError(
      'the markers were found but their distance could not be read',
      where,
      'The take is too noisy to measure: raise the level or take it again.',
    )
  }

  const template = chirpTemplate(samplesPerS)
  const windowAt = firstAt
  const around = {
    re: mix.re.subarray(Math.max(0, windowAt), windowAt + Math.round((beforeS * 2 + CHIRP.durationS) * sampleRateHz)),
    im: mix.im.subarray(Math.max(0, windowAt), windowAt + Math.round((beforeS * 2 + CHIRP.durationS) * sampleRateHz)),
  }
  const fine = matchedFilter(around, template)
  let best = 0
  for (let n = 0; n < Math.min(fine.length, 2 * beforeS * sampleRateHz); n++) if (fine[n] > fine[best]) best = n
  const chirpAtSample = Math.max(0, windowAt) + best
  const startS = sectionStartS('opening') + openingSpacingS(TRACK_REVISION)
  return {
    startSample: chirpAtSample - startS * samplesPerS,
    samplesPerS,
    clockOffsetPpm,
    clockOffsetPpmU: ((2 * shift.samplesError) / (distanceS * sampleRateHz)) * 1e6,
    revision: TRACK_REVISION,
    match: Math.min(track.opening.fit, track.closing.fit),
  }
}

/** Samples of the mix from a place on, with a soft end, zero-padded and interleaved. */
function cut(mix: Complex, at: number, length: number, size: number): Float64Array {
  const out = new Float64Array(2 * size)
  const count = Math.floor(length)
  const fade = Math.floor(0.1 * count)
  for (let n = 0; n < count; n++) {
    const source = at + n
    if (source < 0 || source >= mix.re.length) continue
    const gain = n > count - fade ? 0.5 - 0.5 * Math.cos((Math.PI * (count - n)) / fade) : 1
    out[2 * n] = gain * mix.re[source]
    out[2 * n + 1] = gain * mix.im[source]
  }
  return out
}

/** By how many samples (fraction included) the second is later than the first: peak of the correlation, then phase slope. */
function shiftBetween(first: Float64Array, second: Float64Array): { samples: number; samplesError: number } {
  const size = first.length / 2
  const cross = new Float64Array(2 * size)
  for (let k = 0; k < 2 * size; k += 2) {
    cross[k] = second[k] * first[k] + second[k + 1] * first[k + 1]
    cross[k + 1] = second[k + 1] * first[k] - second[k] * first[k + 1]
  }
  const correlation = correlationPeak(cross)
  let samples = correlation
  let samplesError = Number.POSITIVE_INFINITY
  // Each pass takes off the shift found so far, so that the phase left over stays far from half a turn.
  for (let pass = 0; pass < 3; pass++) {
    let [weightSum, slopeSum, phaseSquares] = [0, 0, 0]
    for (let k = 1; k < size; k++) {
      const bin = k <= size / 2 ? k : k - size
      const turn = (2 * Math.PI * bin) / size
      const [c, s] = [Math.cos(turn * samples), Math.sin(turn * samples)]
      const re = cross[2 * k] * c - cross[2 * k + 1] * s
      const im = cross[2 * k + 1] * c + cross[2 * k] * s
      const weight = Math.hypot(re, im)
      const phase = Math.atan2(im, re)
      weightSum += weight * turn * turn
      slopeSum += weight * turn * phase
      phaseSquares += weight * phase * phase
    }
    if (weightSum === 0) break
    samples -= slopeSum / weightSum
    samplesError = Math.sqrt(phaseSquares / weightSum / Math.max(1, size / 8))
  }
  return { samples, samplesError }
}

/** Lag (whole samples, negative too) of the largest magnitude of the correlation. */
function correlationPeak(cross: Float64Array): number {
  const size = cross.length / 2
  // The inverse transform by the forward one of the conjugate: the magnitudes are the same, the order is kept.
  const conjugate = cross.map((part, i) => (i % 2 === 1 ? -part : part))
  const lags = complexSpectrum(conjugate)
  let best = 0
  const magnitude = (n: number): number => Math.hypot(lags[2 * n], lags[2 * n + 1])
  for (let n = 1; n < size; n++) if (magnitude(n) > magnitude(best)) best = n
  return best <= size / 2 ? best : best - size
}
