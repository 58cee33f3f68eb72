/**
 * One complex signal that stands for all inputs of a take, for finding the track.
 *
 * Inputs are scaled to equal rms and turned by the golden angle each, so that two of opposite polarity don't cancel and
 * a loud one doesn't hide the rest. What is linear in one input is linear in the mix.
 */
import type { Audio } from '../units/audio.js'
import { frameCountOf } from '../units/audio.js'

/** Float32 for a whole take, where memory counts; sums are made in double precision. */
export interface Complex {
  readonly re: Float32Array | Float64Array
  readonly im: Float32Array | Float64Array
}

const GOLDEN_ANGLE_RAD = Math.PI * (3 - Math.sqrt(5))

/** Samples that are worked on together: few enough to stay in the processor's near memory. */
const BLOCK = 4096

/** The mix, and the largest magnitude over all inputs (fraction of full scale). */
export function mixOf(audio: Audio): Complex & { readonly peakFs: number } {
  const frameCount = frameCountOf(audio)
  const re = new Float32Array(frameCount)
  const im = new Float32Array(frameCount)
  const turns = audio.channels.map((channel, k) => {
    let power = 0
    // Every 16th sample tells the rms well enough to scale by.
    for (let n = 0; n < frameCount; n += 16) power += channel[n] * channel[n]
    const scale = power === 0 ? 0 : Math.sqrt(frameCount / 16 / power)
    return [scale * Math.cos(k * GOLDEN_ANGLE_RAD), scale * Math.sin(k * GOLDEN_ANGLE_RAD)]
  })
  let peakFs = 0
  for (let first = 0; first < frameCount; first += BLOCK) {
    const stop = Math.min(frameCount, first + BLOCK)
    for (let k = 0; k < turns.length; k += 2) {
      const pair = [k, k + 1 < turns.length ? k + 1 : k] as const
      // An odd last input stands in for its own partner, with no weight.
      const second = pair[1] === k ? [0, 0] : turns[pair[1]]
      const peak = addTurned(re, im, audio.channels[k], turns[k], audio.channels[pair[1]], second, first, stop)
      peakFs = Math.max(peakFs, peak)
    }
  }
  return { re, im, peakFs }
}

/** Adds a stretch of two inputs to the mix; returns their largest magnitude. Two at a time halves the way to memory. */
function addTurned(
  re: Float32Array,
  im: Float32Array,
  one: Float32Array,
  turnOne: readonly number[],
  two: Float32Array,
  turnTwo: readonly number[],
  first: number,
  stop: number,
): number {
  const [a, b, c, d] = [turnOne[0], turnOne[1], turnTwo[0], turnTwo[1]]
  let most = 0
  for (let n = first; n < stop; n++) {
    const x = one[n]
    const y = two[n]
    re[n] += a * x + c * y
    im[n] += b * x + d * y
    most = Math.max(most, Math.abs(x), Math.abs(y))
  }
  return most
}

/** Low-passed and thinned out by a whole factor; sample m of the answer stands at sample m × factor. */
export function decimate(signal: Complex, factor: number): Complex {
  if (factor === 1) return signal
  const reach = 8 * factor
  const taps = new Float64Array(2 * reach + 1)
  let sum = 0
  for (let i = -reach; i <= reach; i++) {
    const x = (0.9 * i) / factor
    const sinc = i === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x)
    taps[i + reach] = sinc * (0.5 + 0.5 * Math.cos((Math.PI * i) / (reach + 1)))
    sum += taps[i + reach]
  }
  for (let i = 0; i < taps.length; i++) taps[i] /= sum
  return { re: thinned(signal.re, taps, factor), im: thinned(signal.im, taps, factor) }
}

/** One part of it; the taps are the same forwards and backwards. */
function thinned(samples: Complex['re'], taps: Float64Array, factor: number): Float64Array {
  const reach = (taps.length - 1) / 2
  const padded = new Float32Array(samples.length + 2 * reach)
  padded.set(samples, reach)
  const out = new Float64Array(Math.floor(samples.length / factor))
  for (let m = 0; m < out.length; m++) {
    const centre = m * factor + reach
    let value = taps[reach] * padded[centre]
    for (let i = 1; i <= reach; i++) value += taps[reach + i] * (padded[centre - i] + padded[centre + i])
    out[m] = value
  }
  return out
}
