/**
 * Averaged power spectrum of a stretch of noise, and what it is worth: the scatter of any sum over it.
 *
 * Powers are fractions of a full-scale sine's mean square, one-sided, a value for each bin. Bin k stands for the
 * frequencies from k - 1/2 to k + 1/2 bins.
 */
import { realSpectrum } from '../dsp/fft.js'
import { project, takeOff } from '../dsp/projection.js'
import { room } from '../dsp/room.js'
import { HANN } from '../dsp/tables/harris-1978.js'
import { cosineWindow } from '../dsp/windows.js'

export interface NoiseSpectrum {
  /** Working room: gone at the next call of averagedPower. */
  readonly power: Float64Array
  readonly binHz: number
  /**
   * How many independent values of its frequency each bin is worth in a sum over many bins: the variance of a sum of powers is
   * the sum of their squares divided by this.
   */
  readonly sumCount: number
  /** How many independent values the power of one bin is the mean of. */
  readonly averageCount: number
}

interface Plan {
  readonly count: number
  readonly starts: readonly number[]
  readonly window: Float64Array
  readonly sumCount: number
  readonly averageCount: number
}

const plans = new Map<string, Plan>()

/**
 * Blocks and window for a stretch. Both counts are closed forms of the window's overlap (P. D. Welch, IEEE Trans. Audio
 * Electroacoust. 15(2), 70-73, 1967):
 * a sum over many bins is the mean of squares weighted by h = sum of the blocks' squared windows, so its relative
 * variance is that of (sum h)^2 / sum h^2 samples; neighbouring blocks share the squared overlap of their windows.
 */
function planOf(count: number, size: number): Plan {
  const key = `${count} ${size}`
  const kept = plans.get(key)
  if (kept) return kept
  // Blocks overlap by about half, wherever that comes out.
  const blockCount = 1 + Math.round((count - size) / (size / 2) - 0.1)
  const starts = Array.from({ length: blockCount }, (_, i) =>
    Math.floor((i * (count - size)) / Math.max(1, blockCount - 1)),
  )
  const window = cosineWindow(HANN, size)
  const heard = new Float64Array(count)
  for (const start of starts) for (let n = 0; n < size; n++) heard[start + n] += window[n] ** 2
  let [sum, squares, own] = [0, 0, 0]
  for (const value of heard) {
    sum += value
    squares += value * value
  }
  for (const value of window) own += value * value
  let shared = 0
  for (let lag = 1; lag < blockCount; lag++) {
    const shift = starts[lag] - starts[0]
    let overlap = 0
    for (let n = shift; n < size; n++) overlap += window[n] * window[n - shift]
    shared += 2 * (1 - lag / blockCount) * (overlap / own) ** 2
  }
  const plan: Plan = {
    count,
    starts,
    window,
    sumCount: (sum * sum) / squares / size,
    averageCount: blockCount / (1 + shared),
  }
  // Takes differ little in length; a handful of plans serves all sections of one.
  if (plans.size > 6) plans.clear()
  plans.set(key, plan)
  return plan
}

/** Samples of a block: about 1.4 s at any rate, so that hum lines stand apart and a few seconds still give several blocks. */
export const noiseBlockSize = (samplesPerS: number): number => 2 ** Math.round(Math.log2(1.4 * samplesPerS))

/** @throws RangeError when the stretch is shorter than a block */
export function averagedPower(samples: Float32Array | Float64Array, samplesPerS: number): NoiseSpectrum {
  const size = noiseBlockSize(samplesPerS)
  if (samples.length < size) throw new RangeError(`readNoise: ${samples.length} samples, want ${size} or more`)
  const { starts, window, sumCount, averageCount } = planOf(samples.length, size)
  const power = room('noise power', size / 2 + 1).fill(0)
  const block = room('noise samples', size)
  for (const from of starts) {
    // An offset needs no care: over a whole period a Hann window has it in bins 0 and 1 only, far below 20 Hz.
    block.set(samples.subarray(from, from + size))
    for (let n = 0; n < size; n++) block[n] *= window[n]
    const spectrum = realSpectrum(block, size, room('noise spectrum', size + 2))
    for (let bin = 0; bin <= size / 2; bin++) {
      const re = spectrum[2 * bin]
      const im = spectrum[2 * bin + 1]
      power[bin] += re * re + im * im
    }
  }
  // One-sided mean square 2 |X|^2 / (N sum w^2), doubled again because a full-scale sine's mean square is 1/2. A Hann
  // window's mean square over a whole period is 3/8.
  const scale = 4 / (size * 0.375 * size * starts.length)
  for (let bin = 0; bin < power.length; bin++) power[bin] *= scale
  return { power, binHz: samplesPerS / size, sumCount, averageCount }
}

/**
 * The samples without a tone of known frequency, by its least-squares fit: a window's skirts would leave more of it than
 * a quiet card has noise.
 * @returns rest is working room: gone at the next call
 */
export function withoutTone(
  samples: Float32Array | Float64Array,
  freqHz: number,
  samplesPerS: number,
): { rest: Float64Array; peakFs: number } {
  const stepRad = (2 * Math.PI * freqHz) / samplesPerS
  const count = samples.length
  // Sums of cos², sin² and cos × sin in closed form, by the sum of a geometric series at twice the angle.
  const [turn, scale] = [stepRad * (count - 1), Math.sin(stepRad * count) / Math.sin(stepRad)]
  const cc = 0.5 * (count + scale * Math.cos(turn))
  const ss = 0.5 * (count - scale * Math.cos(turn))
  const cs = 0.5 * scale * Math.sin(turn)
  const { cosine, sine } = project(samples, 0, count, stepRad)
  const determinant = cc * ss - cs * cs
  const rest = room('without tone', count)
  rest.set(samples)
  const [a, b] = [(cosine * ss - sine * cs) / determinant, (sine * cc - cosine * cs) / determinant]
  takeOff(rest, stepRad, a, b)
  return { rest, peakFs: Math.hypot(a, b) }
}

/** Median over mean of the average of `averageCount` powers of one bin: chi-squared (E. B. Wilson, M. M. Hilferty, 1931). */
export const medianOverMean = (averageCount: number): number => (1 - 1 / (9 * averageCount)) ** 3

export const powerAround = (power: Float64Array, centre: number, reach: number): number => {
  let sum = 0
  for (let bin = Math.max(1, centre - reach); bin <= Math.min(power.length - 1, centre + reach); bin++)
    sum += power[bin]
  return sum
}

/** What one bin holds around a place, by the median of bins beside it. */
export function floorAround(power: Float64Array, centre: number): number {
  const below = power.subarray(Math.max(2, centre - 16), Math.max(2, centre - 4))
  const above = power.subarray(centre + 5, centre + 17)
  const beside = new Float64Array(below.length + above.length)
  beside.set(below)
  beside.set(above, below.length)
  beside.sort()
  return beside[beside.length >> 1] ?? 0
}
