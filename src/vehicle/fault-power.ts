/** Faults of waking, sleeping and standby current, in the faults file, and of the meter that logs them. */
import { z } from 'zod'
import { countField, numberField } from '../document/fields.js'

export const powerField = z
  .strictObject({
    wake_delay_s: numberField(0, 600).default(0.8).describe('From ignition on until the remote turn-on rises (s)'),
    remote_hold_s: numberField(0, 14_400)
      .default(45)
      .describe('From locked (or ignition off, where that is later) until the remote turn-on falls (s)'),
    stays_awake: z.boolean().default(false).describe('It never sleeps'),
    never_wakes: z.boolean().default(false).describe('The remote turn-on never rises'),
    awake_a: numberField(0, 20).default(0.35).describe('Supply current of the interface awake (A)'),
    standby_a: numberField(0, 20).default(0.0004).describe('Supply current of the interface asleep (A)'),
    meter_gap: z
      .strictObject({
        at_s: numberField(0, 14_400).describe('From the moment of locking (s)'),
        duration_s: numberField(0, 3600).describe('How long it shows overload (s)'),
      })
      .optional()
      .describe('The meter has no reading of the current for a while'),
    ranging_jumps: countField(0, 20)
      .default(0)
      .describe('So many single readings, asleep, are ten times too high: a meter that changes its range'),
  })
  .prefault({})
  .describe('Waking, sleeping and standby current of the interface')

export interface PowerFault {
  readonly wakeDelayS: number
  readonly remoteHoldS: number
  readonly staysAwake: boolean
  readonly neverWakes: boolean
  readonly awakeA: number
  readonly standbyA: number
  readonly meterGap: { readonly atS: number; readonly durationS: number } | null
  readonly rangingJumpCount: number
}

export const powerFaultOf = (file: z.infer<typeof powerField>): PowerFault => ({
  wakeDelayS: file.wake_delay_s,
  remoteHoldS: file.remote_hold_s,
  staysAwake: file.stays_awake,
  neverWakes: file.never_wakes,
  awakeA: file.awake_a,
  standbyA: file.standby_a,
  meterGap: file.meter_gap ? { atS: file.meter_gap.at_s, durationS: file.meter_gap.duration_s } : null,
  rangingJumpCount: file.ranging_jumps,
})
