/** What hands do to the vehicle and to the meter's leads between readings: a person is asked to, or the model does it. */

export type Ignition = 'off' | 'accessory' | 'on'

/** Where the meter's leads are; the black one at the reference that the place names. */
export type MeterPlace =
  /** Across the lead of the input that the rig names: where it is for the outputs. */
  | { readonly at: 'input' }
  /** At a pin of the harness, by connector and pin as the job's table names them, against a reference or another pin. */
  | {
      readonly at: 'pin'
      readonly connector: string
      readonly pin: string
      readonly against:
        | 'chassis'
        | 'battery minus'
        | 'battery plus'
        | { readonly connector: string; readonly pin: string }
    }
  /** At the remote turn-on output of the interface, against its ground. */
  | { readonly at: 'remote' }
  /** At the supply of the interface. */
  | { readonly at: 'supply' }
  /** In series with the supply of the interface, in a current range. */
  | { readonly at: 'supply current' }
  /** Across the speaker terminals of an amplifier channel, by its name. */
  | { readonly at: 'amplifier'; readonly channel: string }

export type Act =
  | { readonly kind: 'ignition'; readonly to: Ignition }
  /** Doors and lock, as the body computer sees them. */
  | { readonly kind: 'doors'; readonly to: 'open' | 'shut' | 'locked' | 'unlocked' }
  | { readonly kind: 'meter'; readonly to: MeterPlace }
  /** null: the engine is stopped. */
  | { readonly kind: 'engine'; readonly speedRpm: number | null }
  /** A warning or chime of the vehicle is made to sound once, now. */
  | { readonly kind: 'chime'; readonly name: string }
  /** An amplifier channel's gain is turned so that it puts out its rated voltage at this input voltage. */
  | { readonly kind: 'sensitivity'; readonly channel: string; readonly inputVrms: number }

/** Time as a run sees it: real, or the model's, which passes as fast as it is computed. */
export interface Clock {
  /** Seconds since some moment before the run. */
  nowS(): number
  /** @throws the signal's reason */
  pause(timeS: number, signal: AbortSignal): Promise<void>
}
