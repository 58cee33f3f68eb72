/**
 * Clipping, hard and soft, as an amplifier does it: on the voltage between the samples too.
 *
 * A clipped wave has no end to its harmonics; made at the sample rate, those above half of it fold back into the band. So
 * the voltage is read at 32 times the rate, clipped there, and only what the clipping changed is brought back. Filters are
 * half-band stages good to 110 dB; what folds at 32 times the rate is below 2e-6 of the peak.
 */
import { kaiserAt, kaiserBeta } from './kaiser.js'

/** Odd taps on each side of the half-band filters, from the sample rate up: each has more room than the one before it. */
const STAGES = [24, 9, 6, 5, 4].map(halfBand)
const BLOCK = 2048
/** Reach of all stages, up and down again, in samples of the channel. */
const MARGIN = 80

/** Between two samples the voltage may peak, but no signal of up to 20 kHz by more than this. */
const BETWEEN_RATIO = 2
/** Below this part of its end a soft curve is a straight line: (1e-3)² / 3 of the signal is -130 dB. */
const STRAIGHT_RATIO = 1e-3

/** Clips in place: nothing passes limitVpk on either side. */
export function clipHard(samples: Float32Array, limitVpk: number): void {
  shape(samples, (v) => (v > limitVpk ? limitVpk - v : v < -limitVpk ? -limitVpk - v : 0), limitVpk / BETWEEN_RATIO)
}

/** Clips in place along limit × tanh(v / limit): its slope at 0 is 1. */
export function clipSoft(samples: Float32Array, limitVpk: number): void {
  shape(samples, (v) => limitVpk * Math.tanh(v / limitVpk) - v, limitVpk * STRAIGHT_RATIO)
}

/**
 * @param changeAt what the curve adds to a voltage
 * @param quietVpk stretches whose samples stay below are left alone
 */
function shape(samples: Float32Array, changeAt: (v: number) => number, quietVpk: number): void {
  const source = samples.slice()
  const wide = BLOCK + 2 * MARGIN
  const rooms = Array.from({ length: STAGES.length + 1 }, (_, stage) => new Float64Array(wide * 2 ** stage))
  const top = rooms[STAGES.length]
  for (let from = 0; from < samples.length; from += BLOCK) {
    let peak = 0
    for (let k = 0; k < wide; k++) {
      const v = source[from - MARGIN + k] ?? 0
      rooms[0][k] = v
      peak = Math.max(peak, Math.abs(v))
    }
    if (peak < quietVpk) continue
    STAGES.forEach((taps, stage) => {
      doubled(rooms[stage], taps, rooms[stage + 1])
    })
    let isChanged = false
    for (let k = 0; k < top.length; k++) {
      top[k] = changeAt(top[k])
      isChanged ||= top[k] !== 0
    }
    if (!isChanged) continue
    for (let stage = STAGES.length - 1; stage >= 0; stage--) halved(rooms[stage + 1], STAGES[stage], rooms[stage])
    const end = Math.min(BLOCK, samples.length - from)
    for (let k = 0; k < end; k++) samples[from + k] += rooms[0][MARGIN + k]
  }
}

/** Twice the rate: the samples, and between them what the filter reads there. What lies beyond the ends counts as 0. */
function doubled(input: Float64Array, taps: Float64Array, out: Float64Array): void {
  const reach = taps.length
  for (let n = 0; n < input.length; n++) {
    let sum = 0
    const isInside = n - reach + 1 >= 0 && n + reach < input.length
    if (isInside) for (let k = 0; k < reach; k++) sum += taps[k] * (input[n - k] + input[n + 1 + k])
    out[2 * n] = input[n]
    out[2 * n + 1] = sum
  }
}

/** Half the rate: low-passed, every second one. */
function halved(input: Float64Array, taps: Float64Array, out: Float64Array): void {
  const reach = taps.length
  for (let n = 0; n < out.length; n++) {
    const middle = 2 * n
    let sum = 0
    const isInside = middle - 2 * reach + 1 >= 0 && middle + 2 * reach - 1 < input.length
    if (isInside)
      for (let k = 0; k < reach; k++) sum += taps[k] * (input[middle + 1 + 2 * k] + input[middle - 1 - 2 * k])
    // Half of the doubled rate's gain comes from each of the two phases.
    out[n] = 0.5 * (input[middle] + sum)
  }
}

/** Odd taps of a half-band low-pass, doubled: sinc at half places under a Kaiser window, a constant kept exactly. */
function halfBand(tapCount: number): Float64Array {
  const beta = kaiserBeta(110)
  const taps = Float64Array.from({ length: tapCount }, (_, k) => {
    const distance = k + 0.5
    return (Math.sin(Math.PI * distance) / (Math.PI * distance)) * kaiserAt(distance / tapCount, beta)
  })
  const sum = taps.reduce((a, b) => a + b)
  return taps.map((tap) => (0.5 * tap) / sum)
}
