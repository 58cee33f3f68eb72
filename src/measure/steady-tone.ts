/**
 * Reads a steady tone whose frequency is known but for the clocks: its peak, and how far noise may have moved it.
 *
 * For the rig's own checks, where level is all. A window whose top is flat stands in for whole periods.
 */
import { project, takeOff } from '../dsp/projection.js'
import { HANN } from '../dsp/tables/harris-1978.js'
import { HFT144D } from '../dsp/tables/heinzel-ruediger-schilling-2002.js'
import { cosineWindow } from '../dsp/windows.js'

export const STEADY_TONE_METHOD = 'steady tone, flat-top window/1'

export interface SteadyTone {
  /** As it stands on the capture's clock. */
  readonly freqHz: number
  readonly peakFs: number
  /** Standard uncertainty of the peak from the noise on both sides of it. */
  readonly noiseFs: number
}

/** Clocks of player and capture differ by no more than this, or what is found is no tone. */
const CLOCK_RATIO_MAX = 0.0025
/** Where noise is read, in bins of 1 / length beside the tone: outside the window's main lobe (first null at 7). */
const BESIDE_BINS = [9, 12, 15, 18, 21]

/**
 * The tone's frequency on the capture's clock, from how its phase moves between two stretches: first short ones, which
 * can't be wrong by a whole turn, then long ones.
 *
 * @returns nominalHz where nothing like it is there
 */
export function clockedHz(samples: Float32Array, nominalHz: number, sampleRateHz: number): number {
  let freqHz = nominalHz
  for (const stretchS of [0.05, 0.25]) {
    const count = Math.min(Math.floor(stretchS * sampleRateHz), samples.length >> 1)
    const first = (samples.length >> 1) - count
    const [before, after] = [first, first + count].map((from) =>
      phaseRad(samples.subarray(from, from + count), freqHz, sampleRateHz),
    )
    const turnRad = after - before - (2 * Math.PI * freqHz * count) / sampleRateHz
    freqHz += ((turnRad - 2 * Math.PI * Math.round(turnRad / (2 * Math.PI))) * sampleRateHz) / (2 * Math.PI * count)
  }
  return Math.abs(freqHz / nominalHz - 1) <= CLOCK_RATIO_MAX ? freqHz : nominalHz
}

/**
 * @param samples one channel while the tone is steady, half a second or more
 * @param freqHz on the capture's clock
 */
export function readSteadyTone(samples: Float32Array, freqHz: number, sampleRateHz: number): SteadyTone {
  const weighted = weightedBy(samples, flatTop(samples.length))
  // The mean of this window is 1.
  const scale = 2 / samples.length
  const peakAt = (hz: number): number => {
    const { cosine, sine } = project(weighted, 0, weighted.length, (2 * Math.PI * hz) / sampleRateHz)
    return scale * Math.hypot(cosine, sine)
  }
  const binHz = sampleRateHz / samples.length
  const beside = BESIDE_BINS.flatMap((bins) => [freqHz - bins * binHz, freqHz + bins * binHz])
    .filter((hz) => hz > 0 && hz < sampleRateHz / 2)
    .map((hz) => peakAt(hz) ** 2)
    .sort((a, b) => a - b)
  // The median of a chi-squared value with two degrees of freedom is ln 2 of its mean; half of that is in phase with the tone.
  const meanSquare = (beside[beside.length >> 1] ?? 0) / Math.LN2
  return { freqHz, peakFs: peakAt(freqHz), noiseFs: Math.sqrt(meanSquare / 2) }
}

/**
 * Rms of all but a tone, over the tone's own rms; a constant part doesn't count.
 *
 * The tone is taken off as it fits best, twice: what one pass leaves because the stretch holds no whole periods, the second takes.
 */
export function restRatio(samples: Float32Array, { freqHz, peakFs }: SteadyTone, sampleRateHz: number): number {
  const rest = Float64Array.from(samples)
  const mean = rest.reduce((sum, sample) => sum + sample, 0) / rest.length
  for (let n = 0; n < rest.length; n++) rest[n] -= mean
  const stepRad = (2 * Math.PI * freqHz) / sampleRateHz
  for (let pass = 0; pass < 2; pass++) {
    const { cosine, sine } = project(rest, 0, rest.length, stepRad)
    takeOff(rest, stepRad, (2 * cosine) / rest.length, (2 * sine) / rest.length)
  }
  const meanSquare = rest.reduce((sum, sample) => sum + sample * sample, 0) / rest.length
  return peakFs > 0 ? Math.sqrt(2 * meanSquare) / peakFs : 0
}

let kept: Float64Array | null = null

/** The window of a length; the last one is kept, for tones of one take are alike in length. */
function flatTop(count: number): Float64Array {
  if (kept?.length !== count) kept = cosineWindow(HFT144D, count)
  return kept
}

function phaseRad(samples: Float32Array, freqHz: number, sampleRateHz: number): number {
  const weighted = weightedBy(samples, cosineWindow(HANN, samples.length))
  const { cosine, sine } = project(weighted, 0, weighted.length, (2 * Math.PI * freqHz) / sampleRateHz)
  // x = cos(wn + phase) gives (cos phase, -sin phase); the angle at sample 0 of the stretch.
  return Math.atan2(-sine, cosine)
}

function weightedBy(samples: Float32Array, window: Float64Array): Float64Array {
  const weighted = new Float64Array(samples.length)
  for (let n = 0; n < samples.length; n++) weighted[n] = window[n] * samples[n]
  return weighted
}
