/**
 * Response of an input to both source sides, from the two sweeps.
 *
 * The sweep that was played is computed again on the capture's own clock, so nothing is resampled: a clock offset, or a
 * capture at another rate, is in the reference. The impulse response is then cut to its linear part; the harmonics of
 * the sweep lie before it (L ln n) and fall outside.
 */
import { complexSpectrum, inverseReal, realSpectrum, sizeFor } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { SWEEP, sectionStartS, sweepAt } from '../stimulus/layout.js'
import type { Located, Transfer } from './analysis.js'
import { GRID_HZ } from './grid.js'
import { lowEdge, responseWindow } from './response-window.js'
import { sampleAt, samplesPerSAt } from './time-map.js'

/** The largest sample of the response is looked for from here to there, against where the track says it is. */
const LATENCY_S = { early: 0.1, late: 0.6 } as const
/** A stretch after the response and before the harmonics, where only noise is left. */
const QUIET_FROM_S = 0.75

/** What all inputs of a take share: for both sweeps, what turns the spectrum of a capture into a response. */
export interface SweepReference {
  readonly size: number
  readonly samplesPerS: number
  readonly sides: readonly { readonly firstSample: number; readonly inverse: Float64Array }[]
}

export function sweepReference(located: Located): SweepReference {
  const { samplesPerS } = located
  const lengthS = SWEEP.durationS + SWEEP.tailS
  const size = sizeFor(Math.ceil(lengthS * samplesPerS))
  const sides = (['sweep_left', 'sweep_right'] as const).map((kind) => {
    const startS = sectionStartS(kind)
    const at = sampleAt(located, startS)
    // The clocks' ratio may walk: the sweep is played at the one of its own time.
    const ownPerS = samplesPerSAt(located, startS + SWEEP.durationS / 2)
    // The room in front lets a response come earlier than located, as it does when a slow output set the place.
    const firstSample = Math.floor(at)
    const samples = sweepSamples((firstSample - at) / ownPerS, ownPerS, size)
    return {
      firstSample,
      inverse: inverseOf(realSpectrum(samples, size, room('sweep spectrum', size + 2)), samplesPerS / size),
    }
  })
  return { size, samplesPerS, sides }
}

/** The sweep on the capture's clock, from a moment just before its start. */
function sweepSamples(startS: number, samplesPerS: number, size: number): Float64Array {
  const samples = room('sweep samples', size)
  samples.fill(0)
  const count = Math.min(size, Math.ceil(SWEEP.durationS * samplesPerS) + 2)
  for (let n = 0; n < count; n++) samples[n] = SWEEP.peakFs * sweepAt(startS + n / samplesPerS)
  return samples
}

/** Impulse responses of one input to both sides, circular: sample 0 is the located start, negative times lie at the end. */
export interface ImpulseResponses {
  readonly left: Float64Array
  readonly right: Float64Array
  /** Sample of the largest magnitude of either side, against sample 0; may be negative. */
  readonly centre: number
  readonly samplesPerS: number
}

/**
 * @param channel one input of the take
 * @returns arrays that the next call overwrites
 */
export function deconvolve(channel: Float32Array, reference: SweepReference): ImpulseResponses {
  const { size, samplesPerS } = reference
  const lengthSamples = Math.floor((SWEEP.durationS + SWEEP.tailS) * samplesPerS)
  const [left, right] = reference.sides.map(({ firstSample, inverse }, side) => {
    const taken = room('sweep samples', size)
    const spectrum = room('sweep spectrum', size + 2)
    const from = Math.max(0, firstSample)
    taken.fill(0)
    taken.set(channel.subarray(from, Math.min(channel.length, firstSample + lengthSamples)), from - firstSample)
    realSpectrum(taken, size, spectrum)
    for (let k = 0; k < spectrum.length; k += 2) {
      const a = spectrum[k]
      const b = spectrum[k + 1]
      const c = inverse[k]
      const d = inverse[k + 1]
      spectrum[k] = a * c - b * d
      spectrum[k + 1] = a * d + b * c
    }
    return inverseReal(spectrum, size, room(`impulse response ${side}`, size))
  })
  return { left, right, centre: centreOf(left, right, samplesPerS), samplesPerS }
}

/** @returns responses on GRID_HZ: the linear part, cut out of the impulse responses */
export function transferFrom({ left, right, centre, samplesPerS }: ImpulseResponses): Transfer {
  const linear = onGrid(windowed(left, right, centre, samplesPerS), centre, samplesPerS)
  const quietAt = centre + Math.round(QUIET_FROM_S * samplesPerS)
  const quiet = onGrid(windowed(left, right, quietAt, samplesPerS), quietAt, samplesPerS)
  return {
    freqHz: GRID_HZ,
    leftRe: linear.leftRe,
    leftIm: linear.leftIm,
    rightRe: linear.rightRe,
    rightIm: linear.rightIm,
    leftError: errorOf(quiet.leftRe, quiet.leftIm),
    rightError: errorOf(quiet.rightRe, quiet.rightIm),
    centreS: centre / samplesPerS,
  }
}

/** @param channel one input of the take */
export const transferOf = (channel: Float32Array, reference: SweepReference): Transfer =>
  transferFrom(deconvolve(channel, reference))

/** One over the spectrum that was played, held to the band in which the sweep has energy. */
function inverseOf(played: Float64Array, binHz: number): Float64Array {
  const topHz = Math.min(SWEEP.freqHzEnd, 0.495 * binHz * (played.length - 2))
  const out = new Float64Array(played.length)
  for (let k = Math.ceil(1 / binHz); k * binHz < topHz; k++) {
    const freqHz = k * binHz
    const gain = 1 - edge(freqHz, 0.985 * topHz, topHz)
    const c = played[2 * k]
    const d = played[2 * k + 1]
    const scale = gain / (c * c + d * d)
    const low = lowEdge(freqHz)
    out[2 * k] = scale * (low.re * c + low.im * d)
    out[2 * k + 1] = scale * (low.im * c - low.re * d)
  }
  return out
}

/** 0 below the first frequency, 1 above the second, a raised cosine between. */
function edge(freqHz: number, lowHz: number, highHz: number): number {
  if (freqHz <= lowHz) return 0
  if (freqHz >= highHz) return 1
  return 0.5 - 0.5 * Math.cos((Math.PI * (freqHz - lowHz)) / (highHz - lowHz))
}

/** Sample of the largest magnitude of either side within reach of the origin; negative when it is early. */
function centreOf(left: Float64Array, right: Float64Array, samplesPerS: number): number {
  const size = left.length
  let best = 0
  let largest = -1
  for (let n = -Math.round(LATENCY_S.early * samplesPerS); n <= LATENCY_S.late * samplesPerS; n++) {
    const at = n < 0 ? n + size : n
    const magnitude = Math.max(Math.abs(left[at]), Math.abs(right[at]))
    if (magnitude > largest) {
      largest = magnitude
      best = n
    }
  }
  return best
}

/**
 * A stretch of both impulse responses around a sample, with soft ends and its sample 0 at the centre, ready to transform:
 * left as the real part, right as the imaginary one.
 */
function windowed(left: Float64Array, right: Float64Array, centre: number, samplesPerS: number): Float64Array {
  const total = left.length
  const { before, after, gainAt } = responseWindow(samplesPerS)
  const size = 2 * sizeFor(before + after)
  const out = room('response samples', 2 * size)
  out.fill(0)
  let from = (centre - before + 2 * total) % total
  for (let n = -before; n < after; n++) {
    const gain = gainAt(n)
    const to = 2 * (n < 0 ? n + size : n)
    out[to] = gain * left[from]
    out[to + 1] = gain * right[from]
    if (++from === total) from = 0
  }
  return out
}

interface Sides {
  readonly leftRe: Float64Array
  readonly leftIm: Float64Array
  readonly rightRe: Float64Array
  readonly rightIm: Float64Array
}

/** Spectra of both sides read at the grid's frequencies; phases refer to the origin, not to the centre. */
function onGrid(samples: Float64Array, centre: number, samplesPerS: number): Sides {
  const spectrum = complexSpectrum(samples, room('response spectrum', samples.length))
  const size = samples.length / 2
  const binHz = samplesPerS / size
  const [leftRe, leftIm, rightRe, rightIm] = [0, 1, 2, 3].map(() => new Float64Array(GRID_HZ.length))
  for (let i = 0; i < GRID_HZ.length; i++) {
    const freqHz = GRID_HZ[i]
    const place = freqHz / binHz
    const below = Math.floor(place) - 1
    const weights = cubicWeights(place - below - 1)
    // One transform of left + i right; its even part is the left spectrum, its odd part the right one.
    let evenRe = 0
    let evenIm = 0
    let oddRe = 0
    let oddIm = 0
    for (let t = 0; t < 4; t++) {
      const k = 2 * ((below + t + size) % size)
      const m = 2 * ((size - below - t) % size)
      const weight = 0.5 * weights[t]
      evenRe += weight * (spectrum[k] + spectrum[m])
      evenIm += weight * (spectrum[k + 1] - spectrum[m + 1])
      oddRe += weight * (spectrum[k + 1] + spectrum[m + 1])
      oddIm += weight * (spectrum[m] - spectrum[k])
    }
    const turn = (-2 * Math.PI * freqHz * centre) / samplesPerS
    const low = lowEdge(freqHz)
    const lowPower = low.re * low.re + low.im * low.im
    const c = (Math.cos(turn) * low.re + Math.sin(turn) * low.im) / lowPower
    const s = (Math.sin(turn) * low.re - Math.cos(turn) * low.im) / lowPower
    leftRe[i] = evenRe * c - evenIm * s
    leftIm[i] = evenIm * c + evenRe * s
    rightRe[i] = oddRe * c - oddIm * s
    rightIm[i] = oddIm * c + oddRe * s
  }
  return { leftRe, leftIm, rightRe, rightIm }
}

/** What a cubic through four equally spaced values (Lagrange) weighs them with, t from 0 to 1 between the middle two. */
const cubicWeights = (t: number): readonly number[] => [
  (-t * (t - 1) * (t - 2)) / 6,
  ((t + 1) * (t - 1) * (t - 2)) / 2,
  (-(t + 1) * t * (t - 2)) / 2,
  ((t + 1) * t * (t - 1)) / 6,
]

/** Rms of the noise in each grid point, smoothed over a third of an octave to be a level and not a sample. */
function errorOf(re: Float64Array, im: Float64Array): Float64Array {
  const reach = 8
  return Float64Array.from(re, (_, i) => {
    let [sum, count] = [0, 0]
    for (let k = Math.max(0, i - reach); k <= Math.min(re.length - 1, i + reach); k++) {
      sum += re[k] * re[k] + im[k] * im[k]
      count++
    }
    return Math.sqrt(sum / count)
  })
}
