/**
 * Reads samples at any positions, by a windowed sinc: another rate, a clock that runs a little faster, a delay of part of
 * a sample. Up to 20 kHz, for rates from 44.1 kHz up, the error is below -110 dB of the signal (tested).
 */
import { kaiserAt, kaiserBeta } from './kaiser.js'

/** Zero crossings of the sinc on each side; with the window below, the transition is 0.08 of the lower rate wide. */
const CROSSING_COUNT = 48
const BETA = kaiserBeta(120)
/** Stored kernels between two samples. A straight line between two of them is off by pi²/8 of 1/count², -131 dB. */
const PHASE_COUNT = 2048

/**
 * Reads channels at positions that are evenly spaced, or nearly.
 *
 * @param channels equal lengths; 0 outside their samples
 * @param firstAt position of the first result, in input samples from the first one
 * @param step distance of the first two results in input samples: input rate over output rate; above 1 what would fold is
 *   taken out
 * @param bend what the distance grows by from one result to the next, for a clock that drifts: far below 1
 * @returns for each channel `count` values at firstAt + n * step + n (n - 1) / 2 * bend
 * @throws RangeError when the step is not above 0 and at most 8
 */
export function resample(
  channels: readonly Float32Array[],
  firstAt: number,
  step: number,
  count: number,
  bend = 0,
): Float32Array[] {
  const { tapCount, table } = kernelFor(step)
  const inputCount = channels[0].length
  const outs = channels.map(() => new Float32Array(count))
  // One look-up of taps serves two channels; the last of an odd count goes twice.
  for (let pair = 0; pair < channels.length; pair += 2) {
    const other = Math.min(pair + 1, channels.length - 1)
    const [left, right] = [channels[pair], channels[other]]
    const [outLeft, outRight] = [outs[pair], outs[other]]
    for (let n = 0; n < count; n++) {
      const at = firstAt + n * (step + 0.5 * (n - 1) * bend)
      const whole = Math.floor(at)
      const start = whole + 1 - tapCount / 2
      const first = Math.max(0, -start)
      const last = Math.min(tapCount, inputCount - start)
      const place = (at - whole) * PHASE_COUNT
      const phase = Math.floor(place)
      const share = place - phase
      const row = phase * tapCount
      let [sumLeft, sumRight] = [0, 0]
      for (let k = first; k < last; k++) {
        const near = table[row + k]
        const tap = near + share * (table[row + tapCount + k] - near)
        sumLeft += tap * left[start + k]
        sumRight += tap * right[start + k]
      }
      outLeft[n] = sumLeft
      outRight[n] = sumRight
    }
  }
  return outs
}

/** Delays a channel in place, by any part of a sample too; less than 0 is earlier. What leaves it at an end is lost. */
export function shift(samples: Float32Array, delaySamples: number): void {
  const whole = Math.floor(delaySamples)
  const fraction = delaySamples - whole
  if (fraction > 0) {
    // Read at n - fraction, which is 1 - fraction behind the sample before it; the taps are the same all along.
    const { tapCount, table } = kernelFor(1)
    const place = (1 - fraction) * PHASE_COUNT
    const row = Math.floor(place) * tapCount
    const taps = new Float64Array(tapCount)
    for (let k = 0; k < tapCount; k++) {
      taps[k] = table[row + k] + (place % 1) * (table[row + tapCount + k] - table[row + k])
    }
    const reach = tapCount / 2
    const source = new Float32Array(samples.length + tapCount)
    source.set(samples, reach)
    for (let n = 0; n < samples.length; n++) {
      let sum = 0
      for (let k = 0; k < tapCount; k++) sum += taps[k] * source[n + k]
      samples[n] = sum
    }
  }
  if (whole === 0) return
  samples.copyWithin(Math.max(0, whole), Math.max(0, -whole))
  if (whole > 0) samples.fill(0, 0, whole)
  else samples.fill(0, Math.max(0, samples.length + whole))
}

interface Kernel {
  readonly tapCount: number
  /** Row p: taps for a position p / PHASE_COUNT behind a sample, for the tapCount / 2 samples up to it and after it. */
  readonly table: Float64Array
}

let kernelCache: { cutoff: number; kernel: Kernel } | null = null

function kernelFor(step: number): Kernel {
  if (!(step > 0 && step <= 8)) throw new RangeError(`resample: step ${step}, want above 0 and at most 8`)
  // The same for every step up to 1, so that a clock that runs fast and a mere delay share it.
  const cutoff = Math.min(1, 1 / step)
  if (kernelCache?.cutoff !== cutoff) kernelCache = { cutoff, kernel: makeKernel(cutoff) }
  return kernelCache.kernel
}

/** @param cutoff band that is kept, as a part of the input's own */
function makeKernel(cutoff: number): Kernel {
  const reach = Math.ceil(CROSSING_COUNT / cutoff)
  const tapCount = 2 * reach
  const table = new Float64Array((PHASE_COUNT + 1) * tapCount)
  for (let phase = 0; phase <= PHASE_COUNT; phase++) {
    const row = table.subarray(phase * tapCount, (phase + 1) * tapCount)
    let sum = 0
    for (let k = 0; k < tapCount; k++) {
      const t = (k + 1 - reach - phase / PHASE_COUNT) * cutoff
      row[k] = (t === 0 ? 1 : Math.sin(Math.PI * t) / (Math.PI * t)) * kaiserAt(t / CROSSING_COUNT, BETA)
      sum += row[k]
    }
    // A constant stays what it is.
    for (let k = 0; k < tapCount; k++) row[k] /= sum
  }
  return { tapCount, table }
}
