/**
 * What an output does to its signal after the filters: volts, soft curve, clipping, gaps, delay, mute, coupling capacitor.
 *
 * The soft curve is computed here, sample by sample, and not by the library's shaper. That one is exact enough (151 dB
 * below a tone, measured), but holds its input at ±1 and folds its harmonics; and where it oversamples against that, it
 * starts its filters anew in every block of 128 samples: a straight line for a curve then leaves a residue at -33 dB
 * (measured at 60, 997 and 6300 Hz). The library's delay reads between samples by a straight line, which takes 3 dB off a
 * quarter of the rate; the delay here is that of `resample.ts`.
 */

import { clipHard, clipSoft } from './clipping.js'
import { distort } from './distortion.js'
import type { OutputModel } from './model.js'
import { shift } from './resample.js'
import { coefficientsOf, magnitudeOf } from './sections.js'
import { applyTimeFaults } from './time-faults.js'

/** How fast an output opens and closes its mute. */
const MUTE_RAMP_S = 0.005

export interface OutputTiming {
  /** The capture's clock in its own samples for each second of the player's. */
  readonly samplesPerS: number
  /** Place at which a time of the sound arrives, without the output's own delay; 0 is the first played sample. */
  sampleAt(timeS: number): number
}

/**
 * Turns an output of the graph into volts at its pins, in place: without noise, hum and crosstalk.
 *
 * @param gain what the fader leaves
 * @param mute one value for each sample, 1 open and 0 shut; null for an output that never mutes
 */
export function shapeOutput(
  samples: Float32Array,
  output: OutputModel,
  gain: number,
  mute: Float32Array | null,
  { samplesPerS, sampleAt }: OutputTiming,
): void {
  const coupling = { kind: 'high_pass_1', freqHz: output.couplingHz } as const
  const atReference = magnitudeOf([...output.healthyFilters, coupling], output.referenceHz, samplesPerS)
  const volts = (gain * output.peakV) / atReference
  for (let n = 0; n < samples.length; n++) samples[n] *= volts
  distort(samples, output.fullVpk, output.secondRatio, output.thirdRatio)
  if (output.softClipVpk !== null) clipSoft(samples, output.softClipVpk)
  if (output.clipVpk !== null) clipHard(samples, output.clipVpk)
  applyTimeFaults(samples, output.timeFaults, sampleAt)
  shift(samples, output.delayS * samplesPerS)
  if (mute) for (let n = 0; n < samples.length; n++) samples[n] *= mute[n]

  const { b, a } = coefficientsOf(coupling, samplesPerS)
  let [before, result] = [0, 0]
  for (let n = 0; n < samples.length; n++) {
    result = b[0] * samples[n] + b[1] * before - a[1] * result
    before = samples[n]
    samples[n] = result
  }
}

/**
 * When an output that mutes on silence is open: at once when a side gets loud, shut after a while below the threshold.
 * Before the first sound it has long been shut.
 *
 * @param source left and right as they reach the interface
 * @param thresholdFs peak of a sine at the threshold, fraction of full scale
 */
export function muteCurve(
  source: readonly [Float32Array, Float32Array],
  thresholdFs: number,
  afterS: number,
  samplesPerS: number,
): Float32Array {
  const [left, right] = source
  const curve = new Float32Array(left.length)
  const step = 1 / (MUTE_RAMP_S * samplesPerS)
  const patience = afterS * samplesPerS
  let [quietFor, open] = [Number.POSITIVE_INFINITY, 0]
  for (let n = 0; n < left.length; n++) {
    const isLoud = Math.abs(left[n]) >= thresholdFs || Math.abs(right[n]) >= thresholdFs
    quietFor = isLoud ? 0 : quietFor + 1
    open = quietFor <= patience ? Math.min(1, open + step) : Math.max(0, open - step)
    curve[n] = open
  }
  return curve
}
