/**
 * The vehicle's supply at the interface, as a meter reads it: a battery at rest, charged while the engine runs.
 *
 * Healthy values are common practice for 12 V vehicles, no source; 14 V with the generator running is ISO 16750-2's.
 */
import type { MeterQuantity } from '../rig/roles.js'

export interface SupplyModel {
  readonly restingV: number
  readonly chargingV: number
  /** AC of the supply, rms: what the battery leaves of the alternator's ripple. */
  readonly rippleVrms: number
}

export const HEALTHY_SUPPLY: SupplyModel = { restingV: 12.6, chargingV: 14.2, rippleVrms: 0.03 }

/** AC of a supply whose engine stands, rms. */
const RESTING_VRMS = 0.002

/** What a meter across the supply finds; null: no range of its holds that. */
export function supplyTruth(
  { restingV, chargingV, rippleVrms }: SupplyModel,
  isRunning: boolean,
  quantity: MeterQuantity,
): number | null {
  switch (quantity) {
    case 'dcVolts':
      return isRunning ? chargingV : restingV
    case 'acVolts':
      return isRunning ? rippleVrms : RESTING_VRMS
    // Nobody measures ohms or amperes across a live supply.
    default:
      return null
  }
}
