/**
 * A job: one vehicle's work, as checked data. What is expected of each output stands in the channel map.
 *
 * A job file says the same in snake case; `parse.ts` checks it and renames once.
 */
import type { Vrms } from '../units/level.js'
import type { ChimeSpec } from './chimes.js'
import type { EngineSpec } from './engine.js'
import type { FlatSpec } from './flat.js'
import type { AmplifierSpec, GainsSpec } from './gains.js'
import type { PinSpec } from './pins.js'
import type { StandbySpec } from './standby.js'

export interface Job {
  readonly name: string
  readonly vehicle: {
    readonly maker: string | null
    readonly model: string
    readonly year: number | null
    readonly vin: string | null
    readonly plate: string | null
  }
  /** Vehicles of one platform share one channel map; null where nobody named it. */
  readonly platform: string | null
  readonly jobNumber: string | null
  readonly technician: string | null
  readonly customer: string | null
  /** Rig file to use when the command names none; as written, relative to the job file. */
  readonly rigPath: string | null
  /** Path of the test track into the head unit; null where nobody wrote it down. */
  readonly source: Source | null
  readonly track: { readonly sampleRateHz: 44100 | 48000; readonly bits: 16 | 24 }
  /** What the head unit's volume reads at the reference take; null where nobody wrote it down. */
  readonly volumeStep: number | null
  /** Takes of each patch beyond the reference, in the order in which they are made. */
  readonly extraTakes: readonly ExtraTake[]
  /** What the job consists of, in the order in which it is done. */
  readonly stages: readonly StageName[]
  readonly outputs: readonly OutputSpec[]
  /** Outputs that are one speaker line together, as band-split fronts are: their electrical sum is held for flatness. */
  readonly sums: readonly SumSpec[]
  readonly flat: FlatSpec
  /** Amplifier channels; empty where the job names none. */
  readonly amplifiers: readonly AmplifierSpec[]
  readonly gains: GainsSpec
  /** Chimes and warnings that have to sound; empty where the job names none. */
  readonly chimes: readonly ChimeSpec[]
  readonly engine: EngineSpec
  /** Pins of the harness; empty where the job has no table of them. */
  readonly pins: readonly PinSpec[]
  /** null: waking, sleeping and standby current are not asked for. */
  readonly standby: StandbySpec | null
  readonly limits: Limits
  /** What a technician should know though it stops nothing: a VIN whose check digit is wrong. */
  readonly warnings: readonly string[]
}

export const SOURCES = ['stick', 'disc', 'usb', 'aux', 'bluetooth', 'wireless', 'other'] as const
export type Source = (typeof SOURCES)[number]

/** In the order in which a technician works: nothing asks for power before the pins are right; sleep comes last. */
export const STAGES = ['pins', 'outputs', 'flat', 'gains', 'chimes', 'engine', 'standby'] as const
export type StageName = (typeof STAGES)[number]

/**
 * A take at another setting: fader to the front (tells front outputs from rear ones), another volume (loudness curve,
 * level against volume), engine running (whine). It answers what one take cannot.
 */
export type ExtraTake = 'fader_front' | 'engine_running' | `volume_${number}`

/** The volume of a take at another volume; null for the others. */
export const volumeOf = (take: string): number | null =>
  take.startsWith('volume_') ? Number(take.slice('volume_'.length)) : null

/** Outputs whose voltages are added, each once in one sum; all of them hear a common side. */
export interface SumSpec {
  readonly name: string
  readonly outputs: readonly number[]
}

/** One line of the channel map. */
export interface OutputSpec {
  readonly number: number
  readonly label: string
  /** Share of the left and right source side that it hears: 1 and 0 for a left output, 0.5 and 0.5 for a mono one. */
  readonly leftGain: number
  readonly rightGain: number
  /** Corner frequencies (-3 dB) of the band it carries, whatever its shape; null where nothing limits it. */
  readonly lowHz: number | null
  readonly highHz: number | null
  /** The band as the map names it: Linkwitz-Riley corners are where it is 6 dB down. */
  readonly crossover: Crossover
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

/** Slopes of a band: fourth order for both. Two Linkwitz-Riley outputs at one frequency sum flat, two Butterworth do not. */
export type BandShape = 'butterworth' | 'linkwitz_riley'

export interface Crossover {
  readonly shape: BandShape
  readonly lowHz: number | null
  readonly highHz: number | null
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
  /** Intermodulation, for two low and high tones (SMPTE) and for two near ones (difference tones). */
  readonly imdPctMax: number
  /** An output has to be clean up to this source level at least. */
  readonly cleanLevelDbfsMin: number
  /** Idle noise, ITU-R 468 weighting with 0 dB at 1 kHz, rms. */
  readonly noise468DbvMax: number
  /** Full-scale level over the noise under a -60 dBFS tone. */
  readonly dynamicRangeDbMin: number
  /** From the earliest to the latest output, after the map's own delays. */
  readonly delaySpreadSMax: number
  /** Gain that moves by itself: between long and short signals of one level, either way. */
  readonly gainChangeDbMax: number
  /** Change of the response's shape from one volume to another, where volume_ takes are made. */
  readonly loudnessDbMax: number
  /** Sum of the series that moves with the engine. */
  readonly whineDbvMax: number
  /** By how much the noise rises when the engine runs. */
  readonly engineRiseDbMax: number
  /** Deviation of an electrical sum from flat, either way. */
  readonly sumFlatnessDbMax: number
  readonly calibrationAgeDaysMax: number
}
