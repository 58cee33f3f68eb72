/** A simulated rig for the tests of its own checks: three inputs, and faults of the card as the lines of a file. */
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Bench } from '../../src/rig/roles.js'
import { simulatedCard } from '../../src/vehicle/bench.js'
import { parseFaults } from '../../src/vehicle/faults.js'

export const GO_ON = new AbortController().signal
export const MADE = { madeAt: '2026-04-01T10:00:00Z', program: 'linetrue test' }
export const METER = 'meter: { driver: simulated, across_input: 2, accuracy_pct: 0.5, accuracy_vrms: 0.002 }'

export const rigOf = (inputs = '{ count: 3, full_scale_vrms: 4, level_uncertainty_db: 0.1 }', meter = METER): Rig =>
  parseRig(
    `name: bench\ncapture: { driver: simulated }\nplayer: { driver: simulated }\n${meter}\ninputs: ${inputs}\n`,
    'rig',
  )

/** Little before and after what is played: the takes are short. */
export const cardOf = (rig: Rig, faults = '', seed = 1): Bench =>
  simulatedCard(
    rig,
    parseFaults(`seed: ${seed}\ncapture: { lead_in_s: 0.3, trail_s: 0.3, ${faults} }\n`, 'faults.yaml'),
  )

/** What it was asked to wire, in words. */
export function hearing(bench: Bench): { readonly bench: Bench; readonly wired: string[] } {
  const wired: string[] = []
  return {
    wired,
    bench: {
      ...bench,
      connect: async (to, signal) => {
        if (typeof to === 'string') wired.push(to)
        else if (to.kind === 'shorted') wired.push('shorted')
        else wired.push(`${to.inputNumbers.join(',')} meter ${to.meterInput}`)
        await bench.connect(to, signal)
      },
    },
  }
}
