/** What hands have done to the modelled vehicle by now, and when: its parts ask this, and know of no prompt. */
import type { Act, Ignition, MeterPlace } from '../rig/acts.js'

export interface Hands {
  readonly ignition: Ignition
  readonly doors: 'open' | 'shut' | 'locked' | 'unlocked'
  readonly meterAt: MeterPlace
  /** null: the engine stands. */
  readonly engineRpm: number | null
  /** Input voltage for rated output, by amplifier channel; a channel that nobody touched is not in it. */
  readonly sensitivityVrms: ReadonlyMap<string, number>
  /** All that was done, the oldest first; times of the model's clock. */
  readonly done: readonly { readonly act: Act; readonly atS: number }[]
}

/** The ignition is on, because the vehicle plays; it was when the run began. */
export const HANDS_AT_FIRST: Hands = {
  ignition: 'on',
  doors: 'open',
  meterAt: { at: 'input' },
  engineRpm: null,
  sensitivityVrms: new Map(),
  done: [],
}

export function afterAct(hands: Hands, act: Act, atS: number): Hands {
  const next = { ...hands, done: [...hands.done, { act, atS }] }
  switch (act.kind) {
    case 'ignition':
      return { ...next, ignition: act.to, engineRpm: act.to === 'on' ? hands.engineRpm : null }
    case 'doors':
      return { ...next, doors: act.to }
    case 'meter':
      return { ...next, meterAt: act.to }
    case 'engine':
      return { ...next, engineRpm: act.speedRpm }
    case 'sensitivity':
      return { ...next, sensitivityVrms: new Map([...hands.sensitivityVrms, [act.channel, act.inputVrms]]) }
    case 'chime':
      return next
  }
}
