/**
 * Reads one short step of a tone: peak, and harmonics where a look at the rest says that there are any.
 *
 * Steps of one frequency are alike in length, so the sines that they are compared with are made once and kept.
 */
import { turning } from '../dsp/projection.js'
import { room } from '../dsp/room.js'
import { BLACKMAN_HARRIS_4 } from '../dsp/tables/harris-1978.js'
import { cosineWindow } from '../dsp/windows.js'
import { amplitudeOf, type LinePower, over, type Reading, SILENT_FS } from './line-power.js'

export const STEP_ORDER_MAX = 9
const TOP_HZ = 20_000
/** Lobes of the window are 4 bins wide on each side (Harris 1978): noise is looked for at places no nearer to a harmonic. */
const LOBE_BINS = 4
const NOISE_COUNT = 8

/**
 * Noise of eight places has 16 degrees of freedom: Student's t for 95.45 % is 2.17 in place of 2, and its square widens the
 * variance (GUM, G.3).
 */
const STUDENT_VARIANCE = (2.17 / 2) ** 2

interface Wave {
  readonly cosine: Float32Array
  readonly sine: Float32Array
}

/** What all steps of a frequency share. */
export interface StepReader {
  readonly freqHz: number
  readonly count: number
  readonly window: Float64Array
  readonly windowSum: number
  readonly windowSquares: number
  readonly fundamental: Wave
  /** Orders 2 and up, as far as they lie below 20 kHz. */
  readonly harmonics: readonly Wave[]
  readonly between: readonly Wave[]
}

export interface Step {
  readonly peakFs: number
  /** Mean square of what is left without direct voltage and fundamental. */
  readonly restMeanSquare: number
  /** Largest sample, with the step's edges. */
  readonly samplePeakFs: number
  /** Distortion with its harmonics, orders 2 and up: more work, so only on demand. */
  readDistortion(): StepDistortion
}

export interface StepDistortion {
  readonly thd: Reading
  /** Squared peaks, noise taken off. */
  readonly powers: readonly number[]
  /** Mean square that noise adds to a line, widened for how little it is known. */
  readonly noise: number
}

const readers = new Map<string, StepReader>()
const READERS_KEPT = 6

export function stepReader(freqHz: number, count: number, samplesPerS: number): StepReader {
  const key = `${freqHz} ${count} ${samplesPerS}`
  const kept = readers.get(key)
  if (kept) return kept
  const waveAt = (hz: number): Wave => turning(count, (2 * Math.PI * hz) / samplesPerS)
  const topHz = Math.min(TOP_HZ, 0.49 * samplesPerS)
  const orderCount = Math.min(STEP_ORDER_MAX, Math.floor(topHz / freqHz))
  const window = cosineWindow(BLACKMAN_HARRIS_4, count)
  const reader: StepReader = {
    freqHz,
    count,
    window,
    windowSum: window.reduce((sum, weight) => sum + weight, 0),
    windowSquares: window.reduce((sum, weight) => sum + weight * weight, 0),
    fundamental: waveAt(freqHz),
    harmonics: Array.from({ length: orderCount - 1 }, (_, k) => waveAt((k + 2) * freqHz)),
    between: betweenHz(freqHz, orderCount, (LOBE_BINS * samplesPerS) / count).map(waveAt),
  }
  if (readers.size >= READERS_KEPT) readers.clear()
  readers.set(key, reader)
  return reader
}

/** Places for the noise: in the middle between orders, or on more places where there are few orders. */
function betweenHz(freqHz: number, orderCount: number, lobeHz: number): number[] {
  const gaps = Math.max(1, orderCount - 1)
  const perGap = Math.max(1, Math.min(Math.ceil(NOISE_COUNT / gaps), Math.floor((freqHz - 2 * lobeHz) / lobeHz) + 1))
  const out: number[] = []
  for (let gap = 1; gap <= gaps; gap++) {
    for (let k = 1; k <= perGap; k++) out.push(freqHz * (gap + k / (perGap + 1)))
  }
  return out
}

/** @param samples as many as the reader's count, or more */
export function readStep(samples: Float32Array, reader: StepReader): Step {
  const { count, window, windowSum, windowSquares, fundamental } = reader
  if (samples.length < count) throw new RangeError(`readStep: ${samples.length} samples, want ${count}`)
  const { cosine, sine } = fundamental
  let [direct, re, im, samplePeakFs] = [0, 0, 0, 0]
  for (let n = 0; n < count; n++) {
    const sample = samples[n]
    const weighted = window[n] * sample
    direct += weighted
    re += weighted * cosine[n]
    im += weighted * sine[n]
    if (sample > samplePeakFs) samplePeakFs = sample
    else if (-sample > samplePeakFs) samplePeakFs = -sample
  }
  const [a, b, mean] = [(2 * re) / windowSum, (2 * im) / windowSum, direct / windowSum]
  let squares = 0
  for (let n = 0; n < count; n++) {
    const left = window[n] * (samples[n] - mean - a * cosine[n] - b * sine[n])
    squares += left * left
  }
  const peakFs = Math.hypot(a, b)
  return {
    peakFs,
    restMeanSquare: squares / windowSquares,
    samplePeakFs,
    readDistortion: () => {
      const rest = room('step rest', count)
      for (let n = 0; n < count; n++) rest[n] = window[n] * (samples[n] - mean - a * cosine[n] - b * sine[n])
      return distortionOf(rest, reader, peakFs)
    },
  }
}

function distortionOf(rest: Float64Array, reader: StepReader, peakFs: number): StepDistortion {
  const toPeak = (2 / reader.windowSum) ** 2
  const squaredPeak = (wave: Wave): number => {
    const { re, im } = against(rest, wave)
    return toPeak * (re * re + im * im)
  }
  const { harmonics, between } = reader
  const noise = between.reduce((sum, wave) => sum + squaredPeak(wave), 0) / between.length
  const powers = harmonics.map((wave) => squaredPeak(wave) - noise)
  const spread = STUDENT_VARIANCE * noise
  const line: LinePower = {
    power: powers.reduce((sum, power) => sum + power, 0),
    noise: spread,
    // The same noise is taken off every harmonic, so what it is off by adds up in step.
    fixedVariance: noise * noise * (powers.length + powers.length ** 2 / between.length),
  }
  return { thd: over(amplitudeOf(line), peakFs, Math.sqrt(0.5 * spread)), powers, noise: spread }
}

/** The most that distortion can be where it was not read: all that is left, noise included. */
export const distortionBound = ({ peakFs, restMeanSquare }: Step): Reading => ({
  value: Math.sqrt(2 * restMeanSquare) / Math.max(peakFs, SILENT_FS),
  u: 0,
  isAtMost: true,
})

function against(samples: Float64Array, { cosine, sine }: Wave): { re: number; im: number } {
  // Two sums each, so that one addition need not wait for the one before.
  let [re, im, nextRe, nextIm] = [0, 0, 0, 0]
  const even = cosine.length & ~1
  for (let n = 0; n < even; n += 2) {
    const [here, next] = [samples[n], samples[n + 1]]
    re += here * cosine[n]
    im += here * sine[n]
    nextRe += next * cosine[n + 1]
    nextIm += next * sine[n + 1]
  }
  if (even < cosine.length) {
    re += samples[even] * cosine[even]
    im += samples[even] * sine[even]
  }
  return { re: re + nextRe, im: im + nextIm }
}
