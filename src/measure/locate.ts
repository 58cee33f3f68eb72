/**
 * Finds the track in a take and the ratio of the two clocks, or says what is there instead.
 *
 * Four chirps mark the track, two at each end. The distance inside a pair tells opening from closing and the revision;
 * the distance of the pairs tells the speed. The chirp is exponential: played at a wrong speed it still fits, only
 * shifted, and by the same amount each time.
 */
import { complexSpectrum, sizeFor } from '../dsp/fft.js'
import { project } from '../dsp/projection.js'
import {
  CHIRP,
  CLOSING_SPACING_S,
  openingSpacingS,
  REVISION_COUNT,
  sectionStartS,
  sectionsOf,
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
/**
 * Fit from which a place counts as a chirp. Real ones reach 0.3 even on a tweeter from 9 kHz up; music and other pink noise
 * may come near it by chance, but not at four right distances with the right tones between (tried on hours of it).
 */
const FIT_MIN = 0.28
/** Chirps of one track fit about as well as each other; what fits much worse than the best is chance. */
const FIT_OF_BEST_MIN = 0.6
/** A subwoofer's slow lobes move a chirp by a few milliseconds, in each pair alike. */
const SPACING_TOLERANCE_S = 0.004
/** Clocks further apart than this are a wrong rate, not a tolerance (USB 2.0 full speed allows 2500 ppm). */
const CLOCK_RATIO_MAX = 0.003
/** The steady tones and the markers must agree on the clock as well as this, or samples are missing between them. */
const TONE_AGREEMENT_PPM = 20
const TONE_AGREEMENT_RAD = 0.05
const DISTANCE_S = sectionStartS('closing') - sectionStartS('opening')

/** Length over the track's own, when a machine takes one rate for another. */
const WRONG_SPEEDS = [
  { ratio: 44_100 / 48_000, says: ': a 44.1 kHz track played as 48 kHz' },
  { ratio: 48_000 / 44_100, says: ': a 48 kHz track played as 44.1 kHz' },
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
    const places = tracks.map(({ opening }) => `${startOf(opening).toFixed(1)} s`).join(' and ')
    throw stop(
      `the track is there ${tracks.length === 2 ? 'twice' : `${tracks.length} times`}, from ${places}`,
      'Cut the recording so that one whole track is left.',
    )
  }
  if (tracks.length === 1) {
    const located = refine(mix, audio.sampleRateHz, tracks[0], where)
    const tone = toneBetween(mix, located)
    // Four chance fits have no tones between them.
    if (tone === null) throw nothingFound(fit, coarseHz, lengthS, inputsSaid, stop)
    if (Math.abs(tone.offsetRad) > Math.max(TONE_AGREEMENT_RAD, tone.radPerPpm * TONE_AGREEMENT_PPM)) {
      throw stop(
        `samples are missing or were added in the take: the markers are ${Math.abs(1e-3 * located.clockOffsetPpm * DISTANCE_S).toFixed(0)} ms further ${located.clockOffsetPpm < 0 ? 'together' : 'apart'} than the clock of the tones between them allows`,
        'Close other programs on the recording computer, record into a larger buffer, and take it again.',
      )
    }
    return located
  }
  throw explain({ chirps, fit, coarseHz, lengthS, inputsSaid, stop })
}

/** Where the track begins, from its opening marker; a recording may have begun after that. */
const startOf = (opening: Pair): number => Math.max(0, opening.atS - sectionStartS('opening'))

/**
 * The strongest steady tone against the clock that the markers say: by how much its phase runs away over 0.85 s.
 * @returns null where no tone holds a fiftieth of what is there
 */
function toneBetween(mix: Complex, located: Located): { offsetRad: number; radPerPpm: number } | null {
  const { samplesPerS, startSample } = located
  const halfS = 0.85
  const count = Math.floor(halfS * samplesPerS)
  let best: { offsetRad: number; radPerPpm: number } | null = null
  let share = 0.02
  for (const section of sectionsOf().filter(({ kind }) => kind === 'tone')) {
    const { freqHz } = section.tones[0]
    const turn = (2 * Math.PI * freqHz) / samplesPerS
    const from = Math.round(startSample + (section.startS + 0.2) * samplesPerS)
    if (from < 0 || from + 2 * count > mix.re.length) continue
    let power = 0
    for (let n = from; n < from + 2 * count; n++) power += mix.re[n] * mix.re[n] + mix.im[n] * mix.im[n]
    const [first, later] = [from, from + count].map((at) => {
      const [re, im] = [project(mix.re, at, count, turn), project(mix.im, at, count, turn)]
      return { re: re.cosine + im.sine, im: im.cosine - re.sine }
    })
    // The second half begins count steps later: its angle there is taken off.
    const [c, s] = [Math.cos(turn * count), Math.sin(turn * count)]
    const second = { re: later.re * c + later.im * s, im: later.im * c - later.re * s }
    const held =
      (first.re ** 2 + first.im ** 2 + second.re ** 2 + second.im ** 2) / count / Math.max(power, Number.MIN_VALUE)
    if (!(held > share)) continue
    share = held
    best = {
      offsetRad: Math.atan2(second.im * first.re - second.re * first.im, second.re * first.re + second.im * first.im),
      radPerPpm: 2 * Math.PI * freqHz * halfS * 1e-6,
    }
  }
  return best
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

type Stop = (what: string, remedy: string) => StopError

/** Why there is no whole track of this revision at this speed. */
function explain(seen: {
  chirps: readonly Chirp[]
  fit: Float64Array
  coarseHz: number
  lengthS: number
  inputsSaid: string
  stop: Stop
}): StopError {
  const { lengthS, stop } = seen
  const bestFit = seen.chirps.reduce((best, { fit }) => Math.max(best, fit), 0)
  const chirps = seen.chirps.filter(({ fit }) => fit >= FIT_OF_BEST_MIN * bestFit)
  const openings = pairsAt(chirps, openingSpacingS(TRACK_REVISION))
  const closings = pairsAt(chirps, CLOSING_SPACING_S)
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
  const opening = openings[0]
  const closing = closings.at(-1)
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
    return stop(
      `the markers are ${(closing.atS - opening.atS).toFixed(2)} s apart, the track's are ${DISTANCE_S.toFixed(2)} s`,
      'The track was paused, skipped or played at another speed: play it through once more.',
    )
  }
  return nothingFound(seen.fit, seen.coarseHz, lengthS, seen.inputsSaid, stop)
}

function nothingFound(fit: Float64Array, coarseHz: number, lengthS: number, inputsSaid: string, stop: Stop): StopError {
  let best = 0
  for (let n = 0; n < fit.length; n++) if (fit[n] > fit[best]) best = n
  const share = (100 * (fit[best] ?? 0)).toFixed(0)
  return stop(
    `no track found in ${lengthS.toFixed(1)} s of ${inputsSaid}: the nearest fit of a marker was ${share} % at ${(best / coarseHz).toFixed(1)} s`,
    'Check that the track was played, at a level well above the noise.',
  )
}

/** A whole track at another speed: both inner distances and the outer one are stretched alike. */
function speedOf(chirps: readonly Chirp[]): number | null {
  for (const first of chirps) {
    for (const second of chirps) {
      const speed = (second.atS - first.atS) / openingSpacingS(TRACK_REVISION)
      if (speed < 0.8 || speed > 1.25 || Math.abs(speed - 1) < CLOCK_RATIO_MAX) continue
      const closing = pairsAt(chirps, CLOSING_SPACING_S * speed, SPACING_TOLERANCE_S).find(
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
  const aligned = new Float64Array(2 * size)
  for (let pass = 0; pass < 3; pass++) {
    for (let k = 0; k < size; k++) {
      const turn = (2 * Math.PI * (k <= size / 2 ? k : k - size) * samples) / size
      const [c, s] = [Math.cos(turn), Math.sin(turn)]
      aligned[2 * k] = cross[2 * k] * c - cross[2 * k + 1] * s
      aligned[2 * k + 1] = cross[2 * k + 1] * c + cross[2 * k] * s
    }
    const isSignal = coherentBins(aligned)
    let [weightSum, slopeSum, phaseSquares, plainSum, squareSum] = [0, 0, 0, 0, 0]
    for (let k = 1; k < size; k++) {
      if (isSignal[k] === 0) continue
      const turn = (2 * Math.PI * (k <= size / 2 ? k : k - size)) / size
      const weight = Math.hypot(aligned[2 * k], aligned[2 * k + 1])
      const phase = Math.atan2(aligned[2 * k + 1], aligned[2 * k])
      weightSum += weight * turn * turn
      slopeSum += weight * turn * phase
      phaseSquares += weight * phase * phase
      plainSum += weight
      squareSum += weight * weight
    }
    if (weightSum === 0) break
    samples -= slopeSum / weightSum
    // Zero-padding makes neighbours alike, and few bins may carry all the weight.
    const independent = Math.max(1, (0.25 * plainSum * plainSum) / squareSum)
    samplesError = Math.sqrt(phaseSquares / weightSum / independent)
  }
  return { samples, samplesError }
}

/**
 * Bins whose phase agrees with that of their neighbours: signal. Bins of noise have none in common, but there are many of
 * them, and high ones would pull hard on the slope.
 */
function coherentBins(cross: Float64Array): Uint8Array {
  const size = cross.length / 2
  // Some 80 bins, of which zero-padding leaves 30 independent: noise agrees so well by chance once in 10^8 places.
  const reach = 40
  const isSignal = new Uint8Array(size)
  let [re, im, total] = [0, 0, 0]
  const take = (bin: number, sign: number): void => {
    const k = (bin + size) % size
    re += sign * cross[2 * k]
    im += sign * cross[2 * k + 1]
    total += sign * Math.hypot(cross[2 * k], cross[2 * k + 1])
  }
  for (let bin = -reach; bin < reach; bin++) take(bin, 1)
  for (let k = 0; k < size; k++) {
    take(k + reach, 1)
    if (Math.hypot(re, im) > 0.8 * total) isSignal[k] = 1
    take(k - reach, -1)
  }
  return isSignal
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
