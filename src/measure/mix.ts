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
    for (let k = 0; k < turns.length; k++) {
      peakFs = Math.max(peakFs, addTurned(re, im, audio.channels[k], turns[k], first, stop))
    }
  }
  return { re, im, peakFs }
}

/** Adds a stretch of one input to the mix; returns its largest magnitude. */
function addTurned(
  re: Float32Array,
  im: Float32Array,
  channel: Float32Array,
  turn: readonly number[],
  first: number,
  stop: number,
): number {
  const a = turn[0]
  const b = turn[1]
  let most = 0
  for (let n = first; n < stop; n++) {
    const sample = channel[n]
    re[n] += a * sample
    im[n] += b * sample
    most = Math.max(most, Math.abs(sample))
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
  const count = Math.floor(signal.re.length / factor)
  const re = new Float64Array(count)
  const im = new Float64Array(count)
  for (let m = 0; m < count; m++) {
    const centre = m * factor
    const from = Math.max(0, centre - reach)
    const to = Math.min(signal.re.length - 1, centre + reach)
    let [a, b] = [0, 0]
    for (let n = from; n <= to; n++) {
      const tap = taps[n - centre + reach]
      a += tap * signal.re[n]
      b += tap * signal.im[n]
    }
    re[m] = a / sum
    im[m] = b / sum
  }
  return { re, im }
}
