/**
 * A job: one vehicle's work, as checked data. What is expected of each output stands in the channel map.
 *
 * A job file says the same in snake case; `parse.ts` checks it and renames once.
 */
import type { Vrms } from '../units/level.js'

export interface Job {
  readonly name: string
  readonly vehicle: {
    readonly maker: string | null
    readonly model: string
    readonly year: number | null
    readonly vin: string | null
    readonly plate: string | null
  }
  readonly jobNumber: string | null
  readonly technician: string | null
  readonly customer: string | null
  /** Rig file to use when the command names none; as written, relative to the job file. */
  readonly rigPath: string | null
  readonly track: { readonly sampleRateHz: 44100 | 48000; readonly bits: 16 | 24 }
  /** Asks for one more take of each patch with the fader to the front: tells front outputs from rear ones. */
  readonly hasFaderTake: boolean
  readonly outputs: readonly OutputSpec[]
  readonly limits: Limits
  /** What a technician should know though it stops nothing: a VIN whose check digit is wrong. */
  readonly warnings: readonly string[]
}

/** One line of the channel map. */
export interface OutputSpec {
  readonly number: number
  readonly label: string
  /** Share of the left and right source side that it hears: 1 and 0 for a left output, 0.5 and 0.5 for a mono one. */
  readonly leftGain: number
  readonly rightGain: number
  /** Corner frequencies (-3 dB) of the band it carries; null where nothing limits it. */
  readonly lowHz: number | null
  readonly highHz: number | null
  /** Level at its reference frequency for 0 dBFS on a side that it hears with gain 1. */
  readonly levelVrms: Vrms
  readonly levelToleranceDb: number
  readonly polarity: 1 | -1
  readonly faderGroup: 'front' | 'rear' | 'none'
  /** Delay against the earliest output of the map. */
  readonly delayS: number
  /** Outputs with the same pair name are held against each other. */
  readonly pair: string | null
  /** Where level is read and to which the response refers. */
  readonly referenceHz: number
}

/** Limits of one job: a named profile with the job's own values over it. Names of the limits are the file's, renamed. */
export interface Limits {
  readonly profile: string
  readonly levelToleranceDb: number
  readonly pairBalanceDbMax: number
  readonly flatnessDbMax: number
  readonly delayToleranceS: number
  readonly thdPctMax: number
  readonly thdNPctMax: number
  readonly noiseDbvMax: number
  readonly noiseDbvAMax: number
  readonly humDbvMax: number
  readonly crosstalkDbMax: number
  /** An output this far below its expected level counts as dead. */
  readonly deadDbBelow: number
  /** Largest difference between the meter and the capture on the same lead. */
  readonly meterAgreementDbMax: number
}
