/**
 * The map of a platform: the channel map that its vehicles share, learned from vehicles that were known to be good, with what
 * each value came from and how far another vehicle may be off.
 */
import { dbv, vrmsFromDbv } from '../units/level.js'
import { cornersOf } from './crossover.js'
import type { BandShape, OutputSpec } from './job.js'

export interface PlatformMap {
  readonly platform: string
  readonly vehicles: readonly MapSource[]
  /** What a reader should know: a run that was not known to be good, a polarity that could not be told. */
  readonly notes: readonly string[]
  readonly outputs: readonly MapOutput[]
}

/** Of the run; recordings without a job are not judged. */
export const MAP_VERDICTS = ['pass', 'fail', 'unsure', 'not judged'] as const

/** A vehicle that the map was learned from. */
export interface MapSource {
  /** Run folder, or recordings, as they were named. */
  readonly run: string
  /** ISO 8601. */
  readonly date: string
  readonly vehicle: string
  readonly verdict: (typeof MAP_VERDICTS)[number]
}

/** A value that was measured: as a mean over the vehicles, each in the unit of the value. */
export interface Learned {
  readonly value: number
  /** Expanded uncertainty (k = 2) of the value. */
  readonly u: number
  /** Standard deviation from vehicle to vehicle; null where there was one vehicle. */
  readonly spread: number | null
  /** How far another good vehicle may be off, either way. */
  readonly tolerance: number
}

/** A corner in Hz, as a job's band names it for the shape; its uncertainty, spread and tolerance in per cent of it. */
export interface LearnedCorner extends Learned {
  /** Far out; null where it could not be read. */
  readonly slopeDbPerOctave: number | null
}

export const FADER_FROM = ['measured', 'job', 'label', 'not measured'] as const
export type FaderFrom = (typeof FADER_FROM)[number]

export interface MapOutput {
  readonly number: number
  readonly label: string
  /** Shares of the source sides: their sizes add up to 1. */
  readonly left: number
  readonly right: number
  /** The smaller size of the two, 0 for an output that hears one side: uncertainty and tolerance hold for both. */
  readonly share: Learned
  /** null where nothing ends the band. */
  readonly low: LearnedCorner | null
  readonly high: LearnedCorner | null
  readonly shape: BandShape
  /** dBV for 0 dBFS on a side heard with gain 1. */
  readonly levelDbv: Learned
  readonly referenceHz: number
  /** Against most of the outputs; null where it could not be told. */
  readonly polarity: 1 | -1 | null
  readonly fader: 'front' | 'rear' | 'none'
  /** Where the fader group comes from. */
  readonly faderFrom: FaderFrom
  /** Against the earliest output of its group, s; null where it could not be read. */
  readonly delay: Learned | null
  /** Outputs of one number were taken together: only their delays compare. */
  readonly delayGroup: number
  readonly pair: string | null
}

/** What is known of an output before it is measured. */
export interface OutputLabel {
  readonly number: number
  readonly label: string
  /** As the job has them; null where there is no job. */
  readonly fader: MapOutput['fader'] | null
  readonly pair: string | null
}

/** A map entry that carries the same as a job's. */
export function specOfMap(output: MapOutput): OutputSpec {
  const { low, high, shape, levelDbv, referenceHz } = output
  const crossover = { shape, lowHz: low?.value ?? null, highHz: high?.value ?? null }
  return {
    number: output.number,
    label: output.label,
    leftGain: output.left,
    rightGain: output.right,
    ...cornersOf(crossover),
    crossover,
    levelVrms: vrmsFromDbv(dbv(levelDbv.value)),
    levelToleranceDb: levelDbv.tolerance,
    polarity: output.polarity ?? 1,
    faderGroup: output.fader,
    delayS: output.delay?.value ?? 0,
    pair: output.pair,
    referenceHz,
  }
}
