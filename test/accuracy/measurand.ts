/** What the campaign needs to know of a measurand. */

import type { Located } from '../../src/measure/analysis.js'
import type { Estimate } from '../../src/measure/estimate.js'
import type { OutputMeasures } from '../../src/measure/outputs.js'
import type { Bound, Trial } from './trial.js'
import type { Truth } from './truth.js'

export interface Read {
  readonly truth: Truth
  readonly located: Located
  readonly outputs: readonly [OutputMeasures, OutputMeasures]
}

export interface Measurand {
  readonly name: string
  readonly unit: string
  /** What was drawn, in words. */
  readonly range: string
  /** Test files that hold it against something outside, and what that is. */
  readonly outside: string
  /** Why its coverage may lie above 97 %: what in its budget is no random draw of these takes; null where all of it is. */
  readonly above: string | null
  readonly read: (read: Read) => readonly (Trial | Bound)[]
}

const SYSTEMATIC = ['input calibration']

/** The figure as it is stated. */
export const stated = (from: Estimate | null, truth: number, scale = 1): (Trial | Bound)[] => {
  if (from === null) return []
  if (from.isAtMost) return [{ isHeld: truth <= from.value + from.u }]
  if (from.isAtLeast) return [{ isHeld: truth >= from.value - from.u }]
  return [{ error: scale * (from.value - truth), u: scale * from.u }]
}

/** The same with a perfect calibration: what the card is known to read high is taken off, and its uncertainty with it. */
export function uncalibrated(from: Estimate | null, truth: number, calibrationDb: number): (Trial | Bound)[] {
  if (from === null) return []
  const u = 2 * Math.hypot(...from.budget.filter(({ source }) => !SYSTEMATIC.includes(source)).map((one) => one.u))
  return stated({ ...from, value: from.value - calibrationDb, u }, truth)
}

/** A ratio's error in percent of the truth. */
export const relative = (from: Estimate | null, truth: number): (Trial | Bound)[] => stated(from, truth, 100 / truth)

/** Volts in decibels: the same budget, over the value. */
export const inDb = (from: Estimate | null): Estimate | null => {
  if (from === null) return null
  const toDb = (u: number): number => ((20 / Math.LN10) * u) / from.value
  return {
    ...from,
    value: 20 * Math.log10(from.value),
    u: toDb(from.u),
    budget: from.budget.map(({ source, u }) => ({ source, u: toDb(u) })),
  }
}
