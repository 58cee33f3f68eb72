/** The modelled meter: off by a little, mostly the same way; it reads whatever its leads are on. */

import { MeterOverload } from '../rig/overload.js'
import type { MeterSpec } from '../rig/rig.js'
import type { Meter, MeterQuantity, MeterReading } from '../rig/roles.js'
import { type Vrms, vrms } from '../units/level.js'
import { between, evenRandom, seedFor } from './seeded.js'

/** A healthy meter's error is within a third of what its data sheet allows; this part of it is the same in all readings. */
const ERROR_SHARE = 1 / 3
const STEADY_SHARE = 0.8
/** How long one reading of a common bench meter takes, and one that settles. */
const READING_S = 0.25
const SETTLED_S = 1

const UNIT_OF = { acVolts: 'V', dcVolts: 'V', ohms: 'Ω', dcAmps: 'A' } as const

/**
 * What is between the leads.
 * @returns null for an overload: an open circuit in ohms, or more than any range holds
 */
export type Truth = (quantity: MeterQuantity) => number | null

/** @param passTime moves the model's clock on */
export function modelMeter(
  spec: MeterSpec,
  seed: number,
  meterFactor: number,
  truth: Truth,
  passTime: (timeS: number) => void,
): Meter {
  const even = evenRandom(seedFor(seed, 'meter'))
  const steady = [between(even, -1, 1), between(even, -1, 1)]
  const error = (which: 0 | 1): number =>
    ERROR_SHARE * (STEADY_SHARE * steady[which] + (1 - STEADY_SHARE) * between(even, -1, 1))
  const where = `simulated meter across input ${spec.inputNumber}`
  const reader =
    (timeS: number) =>
    async (quantity: MeterQuantity, signal: AbortSignal): Promise<MeterReading> => {
      signal.throwIfAborted()
      passTime(timeS)
      const value = truth(quantity)
      if (value === null) {
        throw new MeterOverload('the meter shows overload', where, 'Check its leads and its range.', 'instrument')
      }
      // The data sheet's fixed part is of volts; a range of ohms or amperes has its own, which the model leaves out.
      const fixed = quantity === 'acVolts' || quantity === 'dcVolts' ? error(1) * spec.accuracyVrms : 0
      const shown = value * (1 + (error(0) * spec.accuracyPct) / 100) + fixed
      return {
        value: meterFactor * (quantity === 'acVolts' ? Math.max(0, shown) : shown),
        unit: UNIT_OF[quantity],
      }
    }
  const read = reader(SETTLED_S)
  return {
    where,
    identify: async (signal) => {
      signal.throwIfAborted()
      return 'Ostrevan,AC1 simulated,0001,1.0'
    },
    read,
    readOnce: reader(READING_S),
    readAcVrms: async (signal): Promise<Vrms> => vrms((await read('acVolts', signal)).value),
  }
}
