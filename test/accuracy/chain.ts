/**
 * The take of a drawn vehicle: every sample from closed forms, Gaussian noise on top, as a 32-bit card hands it over.
 *
 * Making the track is what takes long, so one player and one clock serve many vehicles.
 */
import type { RigInput } from '../../src/rig/rig.js'
import { vrms } from '../../src/units/level.js'
import { filtered } from '../kit/biquad.js'
import { uniformFrom } from '../kit/random.js'
import { type Played, playTrack } from '../kit/track.js'
import { addNoise } from './gaussian.js'
import { LEVEL_U_DB, RATE_HZ, type Vehicle } from './vehicle.js'

/** Room for the loudest output with the most boost. */
export const FULL_SCALE_VRMS = 10
export const CLOCK_PPM_MAX = 100

export const INPUT: RigInput = { fullScaleVrms: vrms(FULL_SCALE_VRMS), padDb: 0, levelUncertaintyDb: LEVEL_U_DB }

/** One player on one clock. */
export interface Base {
  readonly ppm: number
  readonly early: Played
  /** The same, by a part of a sample later. */
  readonly late: Played
  readonly lateSamples: number
}

export function baseOf(seed: number): Base {
  const uniform = uniformFrom(seed)
  const ppm = 2 * CLOCK_PPM_MAX * (uniform() - 0.5)
  const leadInS = 0.5 + uniform() / RATE_HZ
  const lateSamples = uniform()
  return {
    ppm,
    lateSamples,
    early: playTrack({ ppm, leadInS, tailS: 0.4 }),
    late: playTrack({ ppm, leadInS: leadInS + lateSamples / RATE_HZ, tailS: 0.4 }),
  }
}

/** Noise over a full-scale sine, both rms, at the lead and from 0 Hz to half the rate. */
export const noiseRatio = (snrDb: number): number => 10 ** (-snrDb / 20)

/** Channels in the order of the outputs; which input hears which is the vehicle's isExchanged. */
export function channelsOf(base: Base, vehicle: Vehicle, snrDb: number): Float32Array[] {
  const { cutFs, a2, a3, leak, filters, levelVrms, sign, calibrationDb, wholeSamples, seed } = vehicle
  const [left, right] = [base.early.left, base.early.right]
  const source = new Float64Array(left.length)
  for (let n = 0; n < source.length; n++) source[n] = left[n] + leak * right[n]
  const first = filtered(source, filters[0])
  if (cutFs !== null) for (let n = 0; n < first.length; n++) first[n] = Math.max(-cutFs, Math.min(cutFs, first[n]))
  else for (let n = 0; n < first.length; n++) first[n] *= 1 + first[n] * (a2 + first[n] * a3)
  // A sine of FULL_SCALE_VRMS peaks at 1 in the file.
  const noiseRms = noiseRatio(snrDb) * Math.SQRT1_2
  const phases = uniformFrom(seed + 0xbea7)
  for (const { freqHz, rmsOverNoise } of vehicle.hum) {
    addSine(first, rmsOverNoise * noiseRms * sign[0] * Math.SQRT2, freqHz / base.early.samplesPerS, phases())
  }
  const wires = [first, filtered(base.late.right, filters[1])]
  return wires.map((wire, k) => {
    const gain = (sign[k] * levelVrms[k] * 10 ** (calibrationDb[k] / 20)) / FULL_SCALE_VRMS
    const late = k === 1 ? wholeSamples : 0
    const out = new Float32Array(source.length)
    for (let n = late; n < out.length; n++) out[n] = gain * wire[n - late]
    addNoise(out, Math.abs(gain) * noiseRms, 2 * seed + k + 1)
    return out
  })
}

/** @param turns cycles for each sample, and where in a cycle it begins */
function addSine(to: Float64Array, peak: number, turns: number, phaseTurns: number): void {
  const [c, s] = [Math.cos(2 * Math.PI * turns), Math.sin(2 * Math.PI * turns)]
  let [re, im] = [peak * Math.cos(2 * Math.PI * phaseTurns), peak * Math.sin(2 * Math.PI * phaseTurns)]
  for (let n = 0; n < to.length; n++) {
    to[n] += im
    const next = re * c - im * s
    im = im * c + re * s
    re = next
  }
}
