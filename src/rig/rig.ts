/**
 * A rig: what is wired, as checked data. A rig file says the same in snake case; `parse.ts` checks it and renames once.
 */
import { ratioFromDb, type Vrms, vrms } from '../units/level.js'

export interface Rig {
  readonly name: string
  readonly capture: CaptureSpec
  readonly player: PlayerSpec
  readonly meter: MeterSpec | null
  readonly inputs: readonly RigInput[]
  /** Hook-ups by name; null: outputs fill the inputs in the map's order, as often as it takes. */
  readonly patches: readonly PatchSpec[] | null
  /** For the simulated vehicle only: its faults file, as written, relative to the rig file. */
  readonly faultsPath: string | null
}

export interface CaptureSpec {
  readonly driver: 'simulated' | 'recording' | 'pulse'
  /** Source name as the sound server lists it; null: its default. */
  readonly device: string | null
  readonly sampleRateHz: number
  readonly bits: 16 | 24 | 32
}

export interface PlayerSpec {
  readonly driver: 'simulated' | 'none' | 'computer'
  /** Sink name as the sound server lists it; null: its default. */
  readonly device: string | null
}

export interface MeterSpec {
  readonly driver: 'simulated' | 'scpi'
  readonly port: string | null
  readonly baudRate: number
  /** The rig input (1 is the first) whose lead the meter is across. */
  readonly inputNumber: number
  /** Accuracy as its data sheet says it: percent of reading and a fixed part in volts. */
  readonly accuracyPct: number
  readonly accuracyVrms: number
}

export interface RigInput {
  /** Rms voltage of the sine that just reaches digital full scale at the card's own terminal. */
  readonly fullScaleVrms: Vrms
  /** Attenuation between the vehicle's lead and the card, 0 or more. */
  readonly padDb: number
  /** Expanded uncertainty (k = 2) of full scale and pad together. */
  readonly levelUncertaintyDb: number
}

export interface PatchSpec {
  readonly name: string
  readonly leads: readonly Lead[]
}

/** Input 1 is the card's first; output numbers are the channel map's. */
export interface Lead {
  readonly inputNumber: number
  readonly outputNumber: number
}

/** Full scale as seen at the vehicle's lead, in front of the pad. */
export const fullScaleAtLead = (input: RigInput): Vrms => vrms(input.fullScaleVrms * ratioFromDb(input.padDb))
