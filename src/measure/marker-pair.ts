/**
 * The first chirps of both markers on one input: the same signal twice, half a minute apart.
 *
 * What is alike in both came through the same response at the same time after the other; what isn't tells of lost or
 * added samples, or of processing that changes with time. Both stretches are cut alike, so that what a long response
 * loses at their ends is the same too.
 */
import { inverseReal, realSpectrum, sizeFor } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { CHIRP, CLOSING_SPACING_S, chirpAt, sectionStartS } from '../stimulus/layout.js'
import type { Located } from './analysis.js'

/** The second chirp of the closing marker begins 0.34 s after the first; so much may be looked at, from a little before. */
const BEFORE_S = 0.015
const LENGTH_S = CLOSING_SPACING_S
const FADE_S = 0.012
/** A bin counts where both chirps are this far above the noise (power). */
const CLEAR = 10

export interface MarkerPair {
  /** Interleaved spectra on a size's bins; the closing one is turned so that both begin at the same fraction of a sample. */
  readonly opening: Float64Array
  readonly closing: Float64Array
  readonly size: number
  readonly samplesPerS: number
  /** Mean square that noise alone gives in a bin. */
  readonly noisePower: number
}

/** By how many samples of the take the closing chirp comes later than it should, with its standard uncertainty. */
export interface Lateness {
  readonly samples: number
  readonly samplesU: number
  /** Rms of the phase that a delay doesn't explain, over what noise does; about 1 where there is but a delay. */
  readonly excess: number
  /** The same rms in radians, each bin by its weight. */
  readonly phaseRms: number
}

/**
 * @param closingLate samples by which the closing marker is looked for later than the clock says, a whole number
 * @returns arrays that the next call overwrites; null where the take does not hold both
 */
export function markerPair(channel: Float32Array, located: Located, closingLate = 0): MarkerPair | null {
  const { samplesPerS } = located
  const window = windowOf(samplesPerS)
  const size = sizeFor(window.length)
  const [one, two] = (['opening', 'closing'] as const).map((kind) => placeOf(located, kind))
  const [first, second] = [Math.floor(one), Math.floor(two) + closingLate]
  if (first < 0 || second + window.length > channel.length) return null
  const opening = spectrumAt(channel, first, window, room('marker spectrum opening', size + 2))
  const closing = spectrumAt(channel, second, window, room('marker spectrum closing', size + 2))
  // The places lie at different fractions of a sample.
  turn(closing, two + closingLate - second - (one - first), size)
  let squares = 0
  for (const gain of window) squares += gain * gain
  return { opening, closing, size, samplesPerS, noisePower: squares * silencePower(channel, located) }
}

/** Spectrum of the first opening chirp as a wire of gain 1 would capture it, cut as in a pair. */
export function playedOpening(located: Located): Float64Array {
  const { samplesPerS } = located
  const played = playedSamples(located, windowOf(samplesPerS).length)
  return openingSpectrum(played, samplesPerS)
}

/** The first opening chirp as a wire of gain 1 would capture it, from where a pair's cut begins. */
export function playedSamples(located: Located, count: number): Float64Array {
  const { startSample, samplesPerS } = located
  const first = Math.floor(placeOf(located, 'opening'))
  const startS = sectionStartS('opening')
  return Float64Array.from(
    { length: count },
    (_, i) => CHIRP.peakFs * chirpAt((first + i - startSample) / samplesPerS - startS).inPhase,
  )
}

/** Spectrum of samples from where a pair's cut begins, cut as in a pair. */
export function openingSpectrum(samples: Float64Array, samplesPerS: number): Float64Array {
  const window = windowOf(samplesPerS)
  return spectrumAt(samples, 0, window, new Float64Array(sizeFor(window.length) + 2))
}

const placeOf = ({ startSample, samplesPerS }: Located, kind: 'opening' | 'closing'): number =>
  startSample + (sectionStartS(kind) - BEFORE_S) * samplesPerS

let kept: { readonly samplesPerS: number; readonly window: Float64Array } | null = null

/** Soft ends; the last one is kept, for all inputs of a take have the same. */
function windowOf(samplesPerS: number): Float64Array {
  if (kept?.samplesPerS !== samplesPerS) {
    const length = Math.floor(LENGTH_S * samplesPerS)
    const fade = Math.floor(FADE_S * samplesPerS)
    const window = Float64Array.from({ length }, (_, n) => {
      const edge = Math.min(n / fade, (length - 1 - n) / fade, 1)
      return 0.5 - 0.5 * Math.cos(Math.PI * edge)
    })
    kept = { samplesPerS, window }
  }
  return kept.window
}

function spectrumAt(
  channel: Float32Array | Float64Array,
  first: number,
  window: Float64Array,
  out: Float64Array,
): Float64Array {
  const size = out.length - 2
  const cut = room('marker samples', size)
  cut.fill(0, window.length)
  for (let n = 0; n < window.length; n++) cut[n] = window[n] * channel[first + n]
  return realSpectrum(cut, size, out)
}

/** Moves a signal earlier by a number of samples, in its spectrum. */
function turn(spectrum: Float64Array, samples: number, size: number): void {
  for (let k = 0; k <= size / 2; k++) {
    const angle = (2 * Math.PI * k * samples) / size
    const c = Math.cos(angle)
    const s = Math.sin(angle)
    const re = spectrum[2 * k]
    const im = spectrum[2 * k + 1]
    spectrum[2 * k] = re * c - im * s
    spectrum[2 * k + 1] = im * c + re * s
  }
}

/** Mean square of a second of the silence, its mean taken off. */
export function silencePower(channel: Float32Array, { startSample, samplesPerS }: Located): number {
  const from = Math.max(0, Math.round(startSample + (sectionStartS('silence') + 1) * samplesPerS))
  const to = Math.min(channel.length, from + Math.round(samplesPerS))
  let [sum, squares] = [0, 0]
  for (let n = from; n < to; n++) {
    sum += channel[n]
    squares += channel[n] * channel[n]
  }
  const mean = sum / (to - from)
  return Math.max(squares / (to - from) - mean * mean, 1e-20)
}

/** @returns null where the chirps do not stand out of the noise */
export function latenessOf({ opening, closing, size, noisePower }: MarkerPair): Lateness | null {
  const cross = room('marker cross', size + 2)
  const weights = room('marker weights', size / 2)
  let clearBins = 0
  for (let i = 0; i < cross.length; i += 2) {
    const a = closing[i]
    const b = closing[i + 1]
    const c = opening[i]
    const d = opening[i + 1]
    cross[i] = a * c + b * d
    cross[i + 1] = b * c - a * d
    if (i === 0 || i === size) continue
    const one = c * c + d * d
    const two = a * a + b * b
    // One over the variance of a bin's phase: half of the noise's power lies across the signal.
    const isClear = Math.min(one, two) > CLEAR * noisePower
    weights[i / 2] = isClear ? (2 * one * two) / (noisePower * (one + two)) : 0
    if (isClear) clearBins++
  }
  if (clearBins < 8) return null
  const spectrum = room('marker cross copy', size + 2)
  spectrum.set(cross)
  const correlation = inverseReal(spectrum, size, room('marker correlation', size))
  let best = 0
  let largest = 0
  for (let n = 0; n < size; n++) {
    const magnitude = Math.abs(correlation[n])
    if (magnitude > largest) {
      largest = magnitude
      best = n
    }
  }
  let samples = best > size / 2 ? best - size : best
  // Of a rest of the track that is inverted nothing is said here: the phase is taken against the sign of the peak.
  const sign = Math.sign(correlation[best])
  let lateness: Lateness | null = null
  for (let pass = 0; pass < 2; pass++) {
    const { slope, weight, misfit, total } = phaseFit(cross, weights, samples, sign, size)
    samples -= slope / weight
    const excess = Math.sqrt(misfit / clearBins)
    // What noise doesn't explain widens the uncertainty as if thirty neighbours at a time were alike.
    const widened = excess > 1.5 ? 1 + 30 * excess * excess : 1
    lateness = { samples, samplesU: Math.sqrt(widened / weight), excess, phaseRms: Math.sqrt(misfit / total) }
  }
  return lateness
}

/** Weighted sums of the phase that a delay leaves: against frequency, of frequency squared, and squared. */
function phaseFit(
  cross: Float64Array,
  weights: Float64Array,
  samples: number,
  sign: number,
  size: number,
): { slope: number; weight: number; misfit: number; total: number } {
  let slope = 0
  let weight = 0
  let misfit = 0
  let total = 0
  const step = (2 * Math.PI) / size
  const stepRe = Math.cos(step * samples)
  const stepIm = Math.sin(step * samples)
  let c = sign * stepRe
  let s = sign * stepIm
  for (let k = 1; k < size / 2; k++) {
    if (weights[k] > 0) {
      const re = cross[2 * k]
      const im = cross[2 * k + 1]
      const phase = Math.atan2(im * c + re * s, re * c - im * s)
      slope += weights[k] * step * k * phase
      weight += weights[k] * step * k * step * k
      misfit += weights[k] * phase * phase
      total += weights[k]
    }
    const next = c * stepRe - s * stepIm
    s = s * stepRe + c * stepIm
    c = next
  }
  return { slope, weight, misfit, total }
}
