/**
 * The stage with the engine running, in the job file: at which speeds, and what the supply may do.
 *
 * ISO 16750-2 says what equipment has to bear: alternator ripple of 1 V peak to peak (severity 1), 14 V with the generator
 * running. What a sound vehicle keeps to is common practice, no source.
 */
import { z } from 'zod'
import { complain, numberField } from '../document/fields.js'

export interface EngineSpec {
  /** In the order in which they are held; idle: whatever the engine does by itself. */
  readonly speedsRpm: readonly ('idle' | number)[]
  /** Ripple of the supply, peak to peak. */
  readonly rippleVppMax: number
  /** Supply while the engine runs. */
  readonly chargingVMin: number
  readonly chargingVMax: number
}

/** What a tachometer reads at idle where nobody says more. Common practice, no source. */
export const IDLE_RPM = 800

export const EngineFields = z
  .strictObject({
    speeds_rpm: z
      .array(z.union([z.literal('idle'), numberField(400, 6000)]))
      .min(1)
      .max(5)
      .default(['idle', 2000])
      .describe('Engine speeds at which noise and supply are read: idle, or turns per minute that a person holds'),
    ripple_vpp_max: numberField(0.05, 10)
      .default(1)
      .describe('Ripple of the supply, at most (V peak to peak); 1 V is severity 1 of ISO 16750-2'),
    charging_v_min: numberField(10, 32)
      .default(13.2)
      .describe('Supply with the engine running, at least (V); 13.2 is common practice for 12 V vehicles'),
    charging_v_max: numberField(10, 32)
      .default(14.8)
      .describe('Supply with the engine running, at most (V); 14.8 is common practice for 12 V vehicles'),
  })
  .superRefine(({ speeds_rpm, charging_v_min, charging_v_max }, context) => {
    speeds_rpm.forEach((speed, index) => {
      if (speeds_rpm.indexOf(speed) < index) {
        complain(context, ['speeds_rpm', index], `speed ${speed} is given twice`, 'Name each speed once.')
      }
    })
    if (charging_v_min < charging_v_max) return
    const what = `charging_v_min is ${charging_v_min}, not below charging_v_max ${charging_v_max}`
    complain(context, ['charging_v_min'], what, 'Allowed: charging_v_min below charging_v_max.')
  })

export const engineSpecOf = (file: z.infer<typeof EngineFields>): EngineSpec => ({
  speedsRpm: file.speeds_rpm,
  rippleVppMax: file.ripple_vpp_max,
  chargingVMin: file.charging_v_min,
  chargingVMax: file.charging_v_max,
})
