/**
 * What a head unit does to its source before volume and tone: the band limit of a lossy source, a limiter, and the copy of
 * one side that a surround effect sends elsewhere. All of it on the capture's clock.
 */
import { inverseReal, realSpectrum } from '../dsp/fft.js'
import { ratioFromDb } from '../units/level.js'
import type { HeadUnitFault } from './fault-source.js'
import { kaiserAt, kaiserBeta } from './kaiser.js'
import { between, evenRandom } from './seeded.js'

const STOP_DB = 100
const TRANSITION_HZ = 400

/**
 * Cuts off steeply above a frequency, in place: 6 dB down there, nothing 200 Hz below, 100 dB down 200 Hz above. Without
 * delay, as a codec has none left.
 *
 * Kaiser's design formula for the number of taps; convolution by overlap and add.
 */
export function cutAbove(samples: Float32Array, highHz: number, samplesPerS: number): void {
  const reach = Math.ceil(((STOP_DB - 7.95) / (14.36 * TRANSITION_HZ)) * samplesPerS * 0.5)
  const w = (2 * highHz) / samplesPerS
  const beta = kaiserBeta(STOP_DB)
  const taps = Float64Array.from({ length: 2 * reach + 1 }, (_, k) => {
    const t = k - reach
    return (t === 0 ? w : Math.sin(Math.PI * w * t) / (Math.PI * t)) * kaiserAt(t / (reach + 1), beta)
  })
  const size = 16_384
  const step = size - 2 * reach
  const filter = realSpectrum(taps, size)
  const out = new Float64Array(samples.length + 2 * size)
  for (let from = 0; from < samples.length; from += step) {
    const spectrum = realSpectrum(samples.subarray(from, from + step), size)
    for (let i = 0; i < spectrum.length; i += 2) {
      const [re, im] = [spectrum[i], spectrum[i + 1]]
      spectrum[i] = re * filter[i] - im * filter[i + 1]
      spectrum[i + 1] = re * filter[i + 1] + im * filter[i]
    }
    const piece = inverseReal(spectrum, size)
    for (let k = 0; k < size; k++) out[from + k] += piece[k]
  }
  for (let n = 0; n < samples.length; n++) samples[n] = out[n + reach]
}

/** Half a period of 20 Hz: a sine's peak is held from one to the next, so that the gain stands still under it. */
const HOLD_S = 0.025

/**
 * A limiter or automatic gain, in place, both sides by the louder one. Level is the peak of the last 25 ms; above the
 * threshold T, L dBFS become T + (L - T) / ratio. The gain in dB follows with one time constant down and one up.
 */
export function limit(
  sides: readonly [Float32Array, Float32Array],
  { thresholdDbfs, ratio, attackS, releaseS }: NonNullable<HeadUnitFault['limiter']>,
  samplesPerS: number,
): void {
  const [left, right] = sides
  const holdCount = Math.round(HOLD_S * samplesPerS)
  const down = -Math.expm1(-1 / (attackS * samplesPerS))
  const up = -Math.expm1(-1 / (releaseS * samplesPerS))
  // Places whose value no later one of the window exceeds, in falling order: the first is the window's peak.
  const places = new Int32Array(left.length)
  const peakAt = (n: number): number => Math.max(Math.abs(left[n]), Math.abs(right[n]))
  const peaks = Float32Array.from(left, (_, n) => peakAt(n))
  let [head, tail] = [0, 0]
  let [loudest, targetDb, gainDb] = [0, 0, 0]
  for (let n = 0; n < left.length; n++) {
    while (tail > head && peaks[places[tail - 1]] <= peaks[n]) tail--
    places[tail++] = n
    if (places[head] <= n - holdCount) head++
    const peak = peaks[places[head]]
    if (peak !== loudest) {
      loudest = peak
      targetDb = -Math.max(0, 20 * Math.log10(Math.max(peak, 1e-12)) - thresholdDbfs) * (1 - 1 / ratio)
    }
    gainDb += (targetDb < gainDb ? down : up) * (targetDb - gainDb)
    const gain = ratioFromDb(gainDb)
    left[n] *= gain
    right[n] *= gain
  }
}

const TAP_COUNT = 6
const TAP_S = [0.003, 0.06] as const
const TURN_HZ = [1, 6] as const

/**
 * An incoherent, time-variant copy of a side: six echoes whose gains swing slowly, each at its own pace, so that over some
 * seconds nothing of the side itself is left in their sum. A steady tone comes out as lines a few hertz beside it, on the
 * average with the power that it had.
 */
export function incoherentCopy(side: Float32Array, seed: number, samplesPerS: number): Float32Array {
  const even = evenRandom(seed)
  const copy = new Float32Array(side.length)
  for (let tap = 0; tap < TAP_COUNT; tap++) {
    // Paces lie apart, so that no two echoes swing together.
    const share = (tap + between(even, 0.2, 0.8)) / TAP_COUNT
    const step = (2 * Math.PI * (TURN_HZ[0] + (TURN_HZ[1] - TURN_HZ[0]) * share)) / samplesPerS
    const phaseRad = between(even, 0, 2 * Math.PI)
    const late = Math.round(between(even, ...TAP_S) * samplesPerS)
    const peak = Math.sqrt(2 / TAP_COUNT)
    for (let n = late; n < side.length; n++) copy[n] += peak * Math.cos(step * n + phaseRad) * side[n - late]
  }
  return copy
}
