/**
 * A rig: what is wired, as checked data. A rig file says the same in snake case; `parse.ts` checks it and renames once.
 */
import { ratioFromDb, type Vrms, vrms } from '../units/level.js'
import type { FrameKind, LinePattern, MeterDriver, MeterFunction, PortLine } from './meter-spec.js'

export interface Rig {
  readonly name: string
  readonly capture: CaptureSpec
  readonly player: PlayerSpec
  readonly meter: MeterSpec | null
  readonly inputs: readonly RigInput[]
  /** Hook-ups by name; null: outputs fill the inputs as often as it takes, sums and pairs together. */
  readonly patches: readonly PatchSpec[] | null
  /** For the simulated vehicle only: its faults file, as written, relative to the rig file. */
  readonly faultsPath: string | null
  /** Its calibration file, as written, relative to the rig file; null: the rig file's name with .calibration.yaml. */
  readonly calibrationPath?: string | null
}

export interface CaptureSpec {
  readonly driver: 'simulated' | 'recording' | 'pulse' | 'alsa' | 'ffmpeg'
  /** Name as its driver lists it; null: the default one. */
  readonly device: string | null
  /** What ffmpeg captures through; missing: as usual on the system. */
  readonly inputFormat?: 'avfoundation' | 'dshow' | 'pulse' | 'alsa'
  readonly sampleRateHz: number
  readonly bits: 16 | 24 | 32
}

export interface PlayerSpec {
  /** none: for recordings; stick: a person starts the track. */
  readonly driver: 'simulated' | 'none' | 'stick' | 'computer' | 'alsa' | 'ffmpeg'
  /** Name as its driver lists it; null: the default one. */
  readonly device: string | null
  /** What ffmpeg plays through; missing: as usual on the system. */
  readonly outputFormat?: 'audiotoolbox' | 'pulse' | 'alsa'
}

/** A player that plays only when a person starts it. */
export const isStartedByHand = ({ driver }: PlayerSpec): boolean => driver === 'none' || driver === 'stick'

export interface MeterSpec {
  readonly driver: MeterDriver
  /** As the system names it, or serial: and its serial number. */
  readonly port: string | null
  readonly baudRate: number
  /** Missing: as usual for the driver. */
  readonly line?: PortLine
  /** Driver lines; missing: the ready-made forms with a unit. */
  readonly patterns?: readonly LinePattern[]
  /** Driver lines: the meter's own words for its functions, besides the usual ones. */
  readonly functions?: Readonly<Record<string, MeterFunction>>
  /** Driver frames; missing: segments. */
  readonly frame?: FrameKind
  /** The rig input (1 is the first) whose lead the meter is across. */
  readonly inputNumber: number
  /** Accuracy as its data sheet says it: percent of reading and a fixed part in volts. */
  readonly accuracyPct: number
  readonly accuracyVrms: number
}

/** What the meter may be off by at a reading, volts, as its data sheet says it. */
export const meterLimitVrms = ({ accuracyPct, accuracyVrms }: MeterSpec, readVrms: number): number =>
  (accuracyPct / 100) * readVrms + accuracyVrms

export interface RigInput {
  /** Rms voltage of the sine that just reaches digital full scale at the card's own terminal. */
  readonly fullScaleVrms: Vrms
  /** Attenuation between the vehicle's lead and the card, 0 or more. */
  readonly padDb: number
  /** Expanded uncertainty (k = 2) of full scale and pad together. */
  readonly levelUncertaintyDb: number
  /** What that uncertainty is made of, standard uncertainties in dB; missing where the rig file alone says it. */
  readonly levelBudget?: readonly { readonly source: string; readonly u: number }[]
  /** When its volts were held against a meter (ISO 8601, UTC); missing or null: never, the rig file's values count. */
  readonly calibratedAt?: string | null
  /** What the rig itself adds on this input; missing or null: not measured. */
  readonly own?: RigLimits | null
}

/** What a rig reads where a perfect vehicle would give nothing: figures as low as this are "at most". */
export interface RigLimits {
  readonly floor: OwnFloor | null
  readonly loop: OwnLoop | null
}

/** With the input shorted at its lead. Levels: 0 dBFS is a full-scale sine. */
export interface OwnFloor {
  readonly madeAt: string
  readonly noiseDbfs: number
  readonly noiseADbfs: number
  /** Expanded uncertainty of both, dB. */
  readonly noiseU: number
  /** Third octaves by their exact centres. */
  readonly bandHz: readonly number[]
  readonly bandDbfs: readonly number[]
  readonly humDbfs: number
  /** No mains series stands out: there is no more than this. */
  readonly isHumAtMost: boolean
}

/** With the player's own output looped back: player, pad and card together. */
export interface OwnLoop {
  readonly madeAt: string
  /** Level of the steady tones at the input. */
  readonly levelDbfs: number
  /** Rms sum of the harmonics over the fundamental, for each steady tone. */
  readonly thd: readonly OwnRatio[]
  readonly intermodulation: readonly (OwnRatio & { readonly kind: 'smpte' | 'difference' })[]
  /** Against 1 kHz. */
  readonly response: readonly { readonly freqHz: number; readonly deviationDb: number }[]
  readonly responseU: number
  /** Level against the middle one of all inputs, in volts by the rig file. */
  readonly matchDb: number
  readonly matchU: number
  /** null where it is not sure. */
  readonly polarity: 1 | -1 | null
  /** Later than the middle one of all inputs; null where inputs were fed one after the other. */
  readonly delayS: number | null
  readonly delayU: number | null
  /** The most that gets in from another input, in decibels of what that one gets; null where it was not measured. */
  readonly crosstalk: {
    readonly fromInput: number
    readonly freqHz: number
    readonly db: number
    readonly u: number
    readonly isAtMost: boolean
  } | null
}

/** A ratio of amplitudes with its expanded uncertainty; at most: as much may be noise. */
export interface OwnRatio {
  readonly freqHz: number
  readonly ratio: number
  readonly u: number
  readonly isAtMost: boolean
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
