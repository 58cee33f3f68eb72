/**
 * What a bench offers to a run: the roles that real hardware and the simulated vehicle both fill.
 *
 * A capture delivers blocks as they come, and the run decides where they go; so a driver needs no disk, and a
 * simulated vehicle needs no real time. A player's promise ends when its last sample has been played. Every call
 * that waits takes an AbortSignal; when it is aborted, sound stops at once and the promise rejects with the reason.
 */
import type { Audio } from '../units/audio.js'
import type { Vrms } from '../units/level.js'
import type { Act, Clock } from './acts.js'

/** Samples of all inputs, one array for each input, equal lengths; the receiver may keep them. */
export type Block = readonly Float32Array[]

/** Something that makes a take untrustworthy though it could be read: said in the result, and the take is offered again. */
export interface CaptureFault {
  readonly kind: 'overrun' | 'short' | 'vanished' | 'clipped' | 'rate' | 'silent'
  readonly says: string
  /** Where in the take, where that is known. */
  readonly atS: number | null
}

export interface CaptureRun {
  readonly sampleRateHz: number
  readonly inputCount: number
  /** Resolves, and never rejects, when a fault has spoilt the take while it still runs: playing on is for nothing. */
  readonly failed?: Promise<CaptureFault>
  /** Ends the capture; resolves when the last block has been delivered. */
  stop(): Promise<readonly CaptureFault[]>
}

export interface Capture {
  /** Device or file, for messages. */
  readonly where: string
  /**
   * Starts delivering blocks to onBlock; resolves once samples flow.
   * @throws StopError when the device is missing, busy or of another format
   */
  start(onBlock: (block: Block) => void, signal: AbortSignal): Promise<CaptureRun>
}

export interface Player {
  readonly where: string
  /** Plays stereo audio once; resolves when its last sample has been played. */
  play(audio: Audio, signal: AbortSignal): Promise<void>
}

export type MeterQuantity = 'acVolts' | 'dcVolts' | 'ohms' | 'dcAmps'

/** In the unit without a prefix; AC volts are rms. */
export interface MeterReading {
  readonly value: number
  readonly unit: 'V' | 'Ω' | 'A'
}

export interface Meter {
  readonly where: string
  /** Maker, model, serial number, firmware, as the meter says them; of one that says nothing of itself, what it sends. */
  identify(signal: AbortSignal): Promise<string>
  /**
   * One settled reading at the meter's leads, begun after the call.
   * @throws StopError when the meter is on another function, shows overload, doesn't settle, or doesn't answer as it should
   */
  read(quantity: MeterQuantity, signal: AbortSignal): Promise<MeterReading>
  /** The next reading, settled or not. */
  readOnce(quantity: MeterQuantity, signal: AbortSignal): Promise<MeterReading>
  /** One settled reading of AC volts. */
  readAcVrms(signal: AbortSignal): Promise<Vrms>
}

/** How head unit and engine are set for a take; volume_20 is the volume at 20, all else as for the reference. */
export type Setting = 'reference' | 'fader_front' | 'engine_running' | `volume_${number}`

/**
 * How a rig is wired to be checked by itself. Inputs that are not named are shorted.
 *
 * shorted: signal and ground of every lead joined where the vehicle would be. looped: the left side of the player's own
 * output on the leads of these inputs, in parallel where there are several; with the meter across the lead of one of
 * them where one is named.
 */
export type HookUp =
  | { readonly kind: 'shorted' }
  | { readonly kind: 'looped'; readonly inputNumbers: readonly number[]; readonly meterInput: number | null }

export interface Bench {
  /** What a person should know about this bench: 'simulated vehicle', device names. */
  readonly says: string
  readonly isSimulated: boolean
  readonly capture: Capture
  readonly player: Player
  readonly meter: Meter | null
  /**
   * Connects the leads of a patch by its name, or wires the rig to be checked by itself: a person does it, or the model.
   * @param prompt what a person is shown; left out, the bench's own words
   */
  connect(to: string | HookUp, signal: AbortSignal, prompt?: string): Promise<void>
  /** Sets the head unit: a person does it, or the model. */
  set(setting: Setting, signal: AbortSignal): Promise<void>
  /** Something else that hands do: the model does it; of a live bench a person has been asked already. */
  act(act: Act, signal: AbortSignal): Promise<void>
  readonly clock: Clock
  /** Lets go of every device; safe to call twice. */
  close(): Promise<void>
}
