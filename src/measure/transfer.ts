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
    return { firstSample, inverse: inverseOf(realSpectrum(samples, size), samplesPerS / size) }
  })
  return { size, samplesPerS, sides }
}

/** The sweep on the capture's clock, from a moment just before its start. */
function sweepSamples(startS: number, samplesPerS: number, size: number): Float64Array {
  const samples = room('reference samples', size)
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
      const [a, b, c, d] = [spectrum[k], spectrum[k + 1], inverse[k], inverse[k + 1]]
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
    const [c, d] = [played[2 * k], played[2 * k + 1]]
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
    const at = (n + size) % size
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
  for (let n = -before; n < after; n++) {
    const gain = gainAt(n)
    const from = (centre + n + 2 * total) % total
    const to = 2 * ((n + size) % size)
    out[to] = gain * left[from]
    out[to + 1] = gain * right[from]
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
  const sides = [0, 1].map(() => [new Float64Array(GRID_HZ.length), new Float64Array(GRID_HZ.length)])
  const at = (bin: number, side: number, part: number): number => {
    // One transform of left + i right; its even part is the left spectrum, its odd part the right one.
    const [k, m] = [2 * ((bin + size) % size), 2 * ((size - bin) % size)]
    const [zr, zi, yr, yi] = [spectrum[k], spectrum[k + 1], spectrum[m], spectrum[m + 1]]
    if (side === 0) return part === 0 ? 0.5 * (zr + yr) : 0.5 * (zi - yi)
    return part === 0 ? 0.5 * (zi + yi) : 0.5 * (yr - zr)
  }
  GRID_HZ.forEach((freqHz, i) => {
    const place = freqHz / binHz
    const bin = Math.floor(place)
    const turn = (-2 * Math.PI * freqHz * centre) / samplesPerS
    const low = lowEdge(freqHz)
    const lowPower = low.re * low.re + low.im * low.im
    const c = (Math.cos(turn) * low.re + Math.sin(turn) * low.im) / lowPower
    const s = (Math.sin(turn) * low.re - Math.cos(turn) * low.im) / lowPower
    for (const side of [0, 1]) {
      const [re, im] = [0, 1].map((part) =>
        cubic(
          place - bin,
          at(bin - 1, side, part),
          at(bin, side, part),
          at(bin + 1, side, part),
          at(bin + 2, side, part),
        ),
      )
      sides[side][0][i] = re * c - im * s
      sides[side][1][i] = im * c + re * s
    }
  })
  return { leftRe: sides[0][0], leftIm: sides[0][1], rightRe: sides[1][0], rightIm: sides[1][1] }
}

/** Cubic through four equally spaced values (Lagrange), t from 0 to 1 between the middle two. */
function cubic(t: number, before: number, first: number, second: number, after: number): number {
  return (
    (-t * (t - 1) * (t - 2) * before) / 6 +
    ((t + 1) * (t - 1) * (t - 2) * first) / 2 -
    ((t + 1) * t * (t - 2) * second) / 2 +
    ((t + 1) * t * (t - 1) * after) / 6
  )
}

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
