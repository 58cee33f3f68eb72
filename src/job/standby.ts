/**
 * What a job asks of waking, sleeping and standby current, and the battery that pays for it.
 *
 * No standard sets a limit for any of it: each default is common practice, no source.
 */
import { z } from 'zod'
import { complain, numberField } from '../document/fields.js'

export const SCENARIO_STEPS = ['unlock', 'ignition_on', 'ignition_off', 'doors_shut', 'lock'] as const
export type ScenarioStep = (typeof SCENARIO_STEPS)[number]

export interface StandbySpec {
  readonly currentAMax: number
  readonly sleepSMax: number
  readonly wakeSMax: number
  /** null: nobody said how large the battery is. */
  readonly batteryAh: number | null
  /** Part of it that may be used before the vehicle does not start. */
  readonly usableShare: number
  /** What the rest of the vehicle draws while it sleeps. */
  readonly otherDrainA: number
  readonly intervalS: number
  /** How long it may take to fall asleep before it counts as staying awake. */
  readonly watchS: number
  /** In this order; what follows ignition_on puts it to sleep. */
  readonly scenario: readonly ScenarioStep[]
}

export const standbyField = z
  .strictObject({
    standby_current_a_max: numberField(1e-6, 5)
      .default(0.001)
      .describe('Highest current of the interface asleep (A); 0.001 is common practice'),
    sleep_s_max: numberField(1, 7200)
      .default(180)
      .describe('Longest time from the last step of the scenario until the remote turn-on falls (s)'),
    wake_s_max: numberField(0.1, 120)
      .default(5)
      .describe('Longest time from ignition on until the remote turn-on rises (s)'),
    battery_ah: numberField(1, 1000).optional().describe("The battery's capacity (Ah), for the days until it is flat"),
    usable_pct: numberField(1, 100)
      .default(50)
      .describe('Part of it that may be used until the engine no longer starts (%)'),
    other_drain_a: numberField(0, 10).default(0.02).describe('What the rest of the vehicle draws while it sleeps (A)'),
    log_interval_s: numberField(0.5, 60).default(1).describe('From one reading to the next (s)'),
    watch_s: numberField(30, 14_400).default(600).describe('How long it is watched for falling asleep (s)'),
    scenario: z
      .array(z.enum(SCENARIO_STEPS))
      .default([...SCENARIO_STEPS])
      .describe('What is done, in this order: unlock, ignition_on, ignition_off, doors_shut, lock'),
  })
  .superRefine(({ scenario, watch_s, sleep_s_max }, context) => {
    const twice = scenario.findIndex((step, index) => scenario.indexOf(step) < index)
    const [on, off] = [scenario.indexOf('ignition_on'), scenario.indexOf('ignition_off')]
    if (twice >= 0) {
      complain(context, ['scenario', twice], `${scenario[twice]} is given twice`, 'Name each step once.')
    } else if (on < 0 || off < on) {
      const remedy = 'Give ignition_on, and ignition_off after it: the vehicle has to wake and to sleep.'
      complain(context, ['scenario'], 'the scenario does not switch the ignition on and off', remedy)
    }
    if (watch_s > sleep_s_max) return
    const remedy = 'Watch longer than the vehicle may take to sleep.'
    complain(context, ['watch_s'], `watch_s is ${watch_s}, not above sleep_s_max ${sleep_s_max}`, remedy)
  })
  .optional()
  .describe('Waking, sleeping and standby current')

export const standbyOf = (file: z.infer<typeof standbyField>): StandbySpec | null =>
  file === undefined
    ? null
    : {
        currentAMax: file.standby_current_a_max,
        sleepSMax: file.sleep_s_max,
        wakeSMax: file.wake_s_max,
        batteryAh: file.battery_ah ?? null,
        usableShare: file.usable_pct / 100,
        otherDrainA: file.other_drain_a,
        intervalS: file.log_interval_s,
        watchS: file.watch_s,
        scenario: file.scenario,
      }
