/**
 * A narrow band around a frequency as complex samples at a low rate: lines close together are then read for a fraction of
 * what a transform of the whole band costs.
 *
 * Blocks of samples are summed under a Blackman-Harris window four blocks long, turned to the band's middle. The window's
 * own response is known, so it can be divided out; from one block rate away on nothing comes through (-92 dB).
 */
import { room } from '../dsp/room.js'
import { BLACKMAN_HARRIS_4 } from '../dsp/tables/harris-1978.js'
import { cosineWindow } from '../dsp/windows.js'
import { complexLineSpectrum, type LineSpectrum } from './line-spectrum.js'

const BLOCKS_LONG = 4

interface Filter {
  readonly cosine: Float64Array
  readonly sine: Float64Array
}

const filters = new Map<string, Filter>()
const FILTERS_KEPT = 16

/** Sum 1. */
function windowOf(blockLength: number): Float64Array {
  const window = cosineWindow(BLACKMAN_HARRIS_4, BLOCKS_LONG * blockLength)
  return window.map((weight) => weight / (BLACKMAN_HARRIS_4[0] * window.length))
}

/** The window turned by the band's middle. */
function filterOf(stepRad: number, blockLength: number): Filter {
  const key = `${stepRad} ${blockLength}`
  let filter = filters.get(key)
  if (!filter) {
    const window = windowOf(blockLength)
    filter = {
      cosine: window.map((weight, k) => weight * Math.cos(stepRad * k)),
      sine: window.map((weight, k) => -weight * Math.sin(stepRad * k)),
    }
    if (filters.size >= FILTERS_KEPT) filters.clear()
    filters.set(key, filter)
  }
  return filter
}

export interface NarrowBand {
  readonly spectrum: LineSpectrum
  /** Gain of the block filter at a frequency of the band. */
  gainAt(freqHz: number): number
}

/**
 * @param samples one channel
 * @param centreHz middle of the band; lines are read up to a quarter of ratePerS away from it
 * @param ratePerS how many complex samples a second are wanted; the nearest rate that whole blocks give is taken
 */
export function narrowBand(samples: Float32Array, centreHz: number, samplesPerS: number, ratePerS: number): NarrowBand {
  const blockLength = Math.max(2, Math.round(samplesPerS / ratePerS))
  const stepRad = (2 * Math.PI * centreHz) / samplesPerS
  const { cosine, sine } = filterOf(stepRad, blockLength)
  const length = cosine.length
  const count = Math.floor((samples.length - length) / blockLength) + 1
  if (count < 30)
    throw new RangeError(`narrowBand: ${samples.length} samples, want ${length + 29 * blockLength} or more`)
  const out = room('narrow band', 2 * count)
  for (let m = 0; m < count; m++) {
    const from = m * blockLength
    // The window's length is even: two sums each, so that one addition need not wait for the one before.
    let re = 0
    let im = 0
    let nextRe = 0
    let nextIm = 0
    for (let k = 0; k < length; k += 2) {
      const sample = samples[from + k]
      const next = samples[from + k + 1]
      re += cosine[k] * sample
      im += sine[k] * sample
      nextRe += cosine[k + 1] * next
      nextIm += sine[k + 1] * next
    }
    re += nextRe
    im += nextIm
    const turn = -stepRad * from
    const [c, s] = [Math.cos(turn), Math.sin(turn)]
    out[2 * m] = re * c - im * s
    out[2 * m + 1] = re * s + im * c
  }
  return {
    spectrum: complexLineSpectrum(out, count, samplesPerS / blockLength, centreHz),
    gainAt: (freqHz) => blockGain(((freqHz - centreHz) * length) / samplesPerS),
  }
}

/**
 * Response of the block window at a distance from the band's middle, 1 at 0: the transform of a cosine-sum window, as of a
 * continuous one (with 60 samples or more that is 0.1 % off at most where the band is used).
 */
function blockGain(bins: number): number {
  // The closed form is 0 / 0 on whole bins.
  const x = Math.abs(bins - Math.round(bins)) < 1e-6 ? bins + 1e-6 : bins
  const sum = BLACKMAN_HARRIS_4.reduce((total, a, k) => total + ((k % 2 ? -a : a) * x * x) / (x * x - k * k), 0)
  return (Math.sin(Math.PI * x) / (Math.PI * x * BLACKMAN_HARRIS_4[0])) * sum
}
