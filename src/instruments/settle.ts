/** When readings count: three in a row that agree, as closely as the meter itself may be trusted. */
import type { MeterQuantity } from '../rig/roles.js'
import type { Reading } from './reading.js'

/** As the data sheet says it for AC volts. */
export interface MeterAccuracy {
  readonly accuracyPct: number
  readonly accuracyVrms: number
}

const SETTLED_COUNT = 3
export const READING_COUNT_MAX = 20
/** A meter cannot be asked to agree with itself more closely than this: part of the reading, and volts, ohms, amperes. */
const SPREAD_PCT_MIN = 0.1
const SPREAD_MIN: Readonly<Record<MeterQuantity, number>> = { acVolts: 1e-4, dcVolts: 1e-4, ohms: 0.1, dcAmps: 1e-6 }

/** @returns the mean of the last readings; null while they do not agree */
export function settledValue(
  readings: readonly Reading[],
  quantity: MeterQuantity,
  accuracy: MeterAccuracy,
): number | null {
  const last = readings.slice(-SETTLED_COUNT)
  if (last.length < SETTLED_COUNT) return null
  const values = last.map(({ value }) => value)
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length
  const spread = Math.max(...values) - Math.min(...values)
  // The last digit of a steady value flickers; 1e-9 is for its decimal digits in binary.
  const flicker = Math.max(...last.map(({ resolution }) => resolution)) * (1 + 1e-9)
  return spread <= Math.max(spreadMax(mean, quantity, accuracy), flicker) ? mean : null
}

/** Half of what the meter itself may be wrong by: settling then adds little to its uncertainty. */
function spreadMax(mean: number, quantity: MeterQuantity, accuracy: MeterAccuracy): number {
  const magnitude = Math.abs(mean)
  const fixed = quantity === 'acVolts' ? accuracy.accuracyVrms : 0
  const accuracyOwn = (accuracy.accuracyPct / 100) * magnitude + fixed
  return Math.max(accuracyOwn / 2, (SPREAD_PCT_MIN / 100) * magnitude, SPREAD_MIN[quantity])
}
