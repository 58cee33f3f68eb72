/**
 * A calibration: what a rig's inputs are worth, as measured on a day with a meter, and what the rig adds by itself.
 *
 * Three parts, each made by a command and each with its own date and circumstances: volts, the floor with inputs shorted,
 * the loop-back. A calibration file says the same in snake case; `calibration-file.ts` reads and writes it.
 */
import type { CaptureSpec, OwnFloor, OwnLoop } from './rig.js'

export interface Calibration {
  /** Name of the rig that it belongs to. */
  readonly rigName: string
  readonly volts: VoltsPart | null
  readonly shorted: (Made & { readonly inputs: readonly FloorOfInput[] }) | null
  readonly looped: (Made & { readonly feed: Feed; readonly inputs: readonly LoopOfInput[] }) | null
}

/** Inputs fed in parallel, one after the other, or first in parallel and then one after the other. */
export type Feed = 'all' | 'each' | 'both'

/** When and with what a part was made. */
export interface Made {
  /** ISO 8601, UTC. */
  readonly madeAt: string
  readonly program: string
  /** The card by the rig file of that day; its driver as that file wrote it. */
  readonly capture: Omit<CaptureSpec, 'driver'> & { readonly driver: string; readonly says: string }
}

export interface VoltsPart extends Made {
  readonly meter: { readonly says: string; readonly accuracyPct: number; readonly accuracyVrms: number }
  readonly feed: Feed
  readonly inputs: readonly VoltsOfInput[]
}

interface OfInput {
  readonly inputNumber: number
  /** The pad that was in front of it, by the rig file of that day. */
  readonly padDb: number
}

export interface VoltsOfInput extends OfInput {
  /** Rms of the sine at the lead, in front of the pad, that just reaches digital full scale. */
  readonly fullScaleVrms: number
  /** Expanded uncertainty (k times u), dB. */
  readonly expandedDb: number
  readonly k: number
  /** Effective degrees of freedom; infinite where nothing with few readings counts. */
  readonly dof: number
  /** What the rig file said of full scale at the lead, how far off that may be (k = 2), and how much more was found. */
  readonly rigFileVrms: number
  readonly rigFileU: number
  readonly differenceDb: number
  readonly budget: readonly BudgetPart[]
  readonly points: readonly VoltsPoint[]
}

export interface BudgetPart {
  readonly source: string
  /** Standard uncertainty (k = 1), dB. */
  readonly u: number
  readonly dof: number
}

/** What one frequency and level gave. */
export interface VoltsPoint {
  readonly freqHz: number
  readonly meterVrms: number
  readonly levelDbfs: number
  readonly fullScaleVrms: number
  readonly readingCount: number
  /** Standard deviation of one reading, dB. */
  readonly spreadDb: number
}

export type FloorOfInput = OfInput & Omit<OwnFloor, 'madeAt'>
export type LoopOfInput = OfInput & Omit<OwnLoop, 'madeAt'>

/** A calibration with nothing in it, for a rig. */
export const emptyCalibration = (rigName: string): Calibration => ({
  rigName,
  volts: null,
  shorted: null,
  looped: null,
})

/** Said in every file: why the source's own resistance doesn't enter. */
export const LOADING =
  'Meter and input on the same lead: the source, loaded by both, enters neither. A vehicle output drops by its own resistance against the input.'
