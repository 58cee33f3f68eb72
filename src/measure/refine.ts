/**
 * Sharpens the coarse places of the markers: place to a fraction of a sample, clock ratio by the phase between the last
 * chirps of both markers.
 */
import { complexSpectrum, sizeFor } from '../dsp/fft.js'
import { CHIRP, CLOSING_SPACING_S, openingSpacingS, TRACK_REVISION } from '../stimulus/layout.js'
import type { Track } from './chirps.js'
import { correlation, crossOf, turnBack } from './cross-spectrum.js'
import { peakOf, peaksOf, type Ring, sameOutput } from './marker-peaks.js'
import { chirpTemplate } from './matched-filter.js'
import { type Complex, factorFor, type Mixed, mixOf } from './mix.js'
import { BETWEEN_S, FIRST_CHIRP_S } from './time-map.js'

/** All that the track needs. */
const RATE_HZ = 44_100

/** The place and clock that the markers tell. */
export interface Straight {
  readonly startSample: number
  readonly samplesPerS: number
  /** Standard uncertainty of the distance of the markers, in samples of the take. */
  readonly distanceError: number
}

/** Stretches of a take in which a chirp lies: so much before its coarse place, so much in all. */
const BEFORE_S = 0.02
const LENGTH_S = CHIRP.durationS + 0.2
/** What is left of a chirp after its matched filter: a subwoofer's rings for some 40 ms, to both sides. */
const RING_S = 0.0425

/** Where the chirps stand that place and clock are read from. */
export interface Marks {
  /** Inner distances of the markers. */
  readonly openingSpacingS: number
  readonly closingSpacingS: number
  /** Start of the opening marker's second chirp, and from there to the closing one's. */
  readonly firstChirpS: number
  readonly betweenS: number
}

const TRACK_MARKS: Marks = {
  openingSpacingS: openingSpacingS(TRACK_REVISION),
  closingSpacingS: CLOSING_SPACING_S,
  firstChirpS: FIRST_CHIRP_S,
  betweenS: BETWEEN_S,
}

export function refine(mixed: Mixed, { opening, closing }: Track, marks: Marks = TRACK_MARKS): Straight {
  const { sampleRateHz } = mixed.audio
  const factor = factorFor(mixed.audio, RATE_HZ)
  const rateHz = sampleRateHz / factor
  const count = Math.floor(LENGTH_S * rateHz)
  const reach = Math.floor(RING_S * rateHz)
  const size = sizeFor(count)
  const template = new Float64Array(2 * size)
  template.set(chirpTemplate(rateHz))
  const played = complexSpectrum(template)
  // The second chirp of each marker is followed by silence, so its whole response can be compared.
  const [first, last] = [opening.atS + marks.openingSpacingS, closing.atS + marks.closingSpacingS].map((atS) => {
    const from = Math.round((atS - BEFORE_S) * sampleRateHz)
    const heard = complexSpectrum(softened(mixOf(mixed, factor, from, count), size))
    const filtered = correlation(heard, played)
    const lags = peaksOf(filtered, 2 * BEFORE_S * rateHz)
    return { from, filtered, lags, ...ringAt(filtered, lags[0], reach) }
  })
  const guess = sameOutput(first, last)
  const moved = ringAt(last.filtered, last.middle + Math.round(guess), reach)
  const shift = shiftBetween(first.ring, moved.ring, guess - Math.round(guess))
  const samplesPerS = (last.from - first.from + factor * (moved.middle - first.middle + shift.samples)) / marks.betweenS
  const lag = first.middle - reach + placeOf(first.ring, reach, rateHz, samplesPerS / sampleRateHz - 1)
  const chirpAt = first.from + (factor - 1) / 2 + factor * lag
  return {
    startSample: chirpAt - marks.firstChirpS * samplesPerS,
    samplesPerS,
    distanceError: factor * shift.samplesError,
  }
}

function ringAt(filtered: Float64Array, lag: number, reach: number): Pick<Ring, 'middle' | 'ring'> {
  const middle = Math.round(lag)
  return { middle, ring: complexSpectrum(ringOf(filtered, middle, reach)) }
}

/** Interleaved, with a soft end, zero-padded. */
function softened({ re, im }: Complex, size: number): Float64Array {
  const out = new Float64Array(2 * size)
  const count = re.length
  const fade = Math.floor(0.1 * count)
  for (let n = 0; n < count; n++) {
    const gain = n > count - fade ? 0.5 - 0.5 * Math.cos((Math.PI * (count - n)) / fade) : 1
    out[2 * n] = gain * re[n]
    out[2 * n + 1] = gain * im[n]
  }
  return out
}

/** What stands around a lag, reach to both sides, under a Hann window; the rest is noise and hum. Not conjugated any more. */
function ringOf(lags: Float64Array, middle: number, reach: number): Float64Array {
  const size = lags.length / 2
  const out = new Float64Array(2 * sizeFor(2 * reach))
  for (let n = 1; n < 2 * reach; n++) {
    const at = 2 * ((middle - reach + n + size) % size)
    // Flat for half of it.
    const gain = Math.min(1, 1 - Math.cos((Math.PI * n) / reach))
    out[2 * n] = gain * lags[at]
    out[2 * n + 1] = -gain * lags[at + 1]
  }
  return out
}

/**
 * Place (sample of the ring) of a chirp that was played on a clock that is off: against its template, each frequency has
 * moved by that offset times the moment at which it sounds.
 */
function placeOf(ring: Float64Array, reach: number, rateHz: number, offset: number): number {
  const size = ring.length / 2
  const turned = new Float64Array(2 * size)
  const rateS = CHIRP.durationS / Math.log(CHIRP.freqHzEnd / CHIRP.freqHzStart)
  for (let k = 0; k < size; k++) {
    const hz = ((k <= size / 2 ? k : k - size) * rateHz) / size
    const soundsS = Math.max(0, rateS * Math.log(Math.max(Math.abs(hz), 1) / CHIRP.freqHzStart))
    const turn = 2 * Math.PI * hz * offset * soundsS
    const [c, s] = [Math.cos(turn), Math.sin(turn)]
    turned[2 * k] = ring[2 * k] * c - ring[2 * k + 1] * s
    // Conjugated, for the inverse by the forward transform.
    turned[2 * k + 1] = -(ring[2 * k + 1] * c + ring[2 * k] * s)
  }
  return peakOf(complexSpectrum(turned), Math.floor(reach / 2), Math.ceil(1.5 * reach))
}

/** By how many samples (fraction included) the second is later than the first, near a guess: slope of the phase. */
function shiftBetween(
  first: Float64Array,
  second: Float64Array,
  guess: number,
): { samples: number; samplesError: number } {
  const size = first.length / 2
  let samples = guess
  const cross = crossOf(second, first)
  turnBack(cross, samples)
  const bins = coherentBins(cross)
  let samplesError = Number.POSITIVE_INFINITY
  // The second pass is for the phases that the first, with the larger error, may have turned over.
  for (let pass = 0; pass < 2; pass++) {
    let [weightSum, slopeSum, phaseSquares, plainSum, squareSum] = [0, 0, 0, 0, 0]
    for (const k of bins) {
      const turn = (2 * Math.PI * (k <= size / 2 ? k : k - size)) / size
      const [re, im] = [cross[2 * k], cross[2 * k + 1]]
      // The chirp's own power falls with frequency, and is in here twice.
      const weight = Math.abs(turn) * Math.sqrt(re * re + im * im)
      const phase = Math.atan2(im, re)
      weightSum += weight * turn * turn
      slopeSum += weight * turn * phase
      phaseSquares += weight * phase * phase
      plainSum += weight
      squareSum += weight * weight
    }
    if (weightSum === 0) break
    const left = -slopeSum / weightSum
    samples += left
    turnBack(cross, left)
    // Few bins may carry all the weight, and the window makes neighbours alike.
    const independent = Math.max(1, (0.5 * plainSum * plainSum) / squareSum)
    samplesError = Math.sqrt(phaseSquares / weightSum / independent)
  }
  return { samples, samplesError }
}

/**
 * Bins whose phase agrees with that of their neighbours: signal. Bins of noise have none in common, but there are many of
 * them, and high ones would pull hard on the slope.
 */
function coherentBins(cross: Float64Array): number[] {
  const size = cross.length / 2
  // Of some 16 bins, which the window leaves 10 of independent, those of noise agree so well once in 1000 places.
  const reach = 8
  const magnitudes = new Float64Array(size)
  for (let k = 0; k < size; k++) magnitudes[k] = Math.sqrt(cross[2 * k] ** 2 + cross[2 * k + 1] ** 2)
  const bins: number[] = []
  let [re, im, total] = [0, 0, 0]
  const take = (bin: number, sign: number): void => {
    const k = (bin + size) % size
    re += sign * cross[2 * k]
    im += sign * cross[2 * k + 1]
    total += sign * magnitudes[k]
  }
  for (let bin = -reach; bin < reach; bin++) take(bin, 1)
  for (let k = 0; k < size; k++) {
    take(k + reach, 1)
    if (k > 0 && Math.sqrt(re * re + im * im) > 0.8 * total) bins.push(k)
    take(k - reach, -1)
  }
  return bins
}
