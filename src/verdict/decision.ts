/**
 * The decision on a figure: pass or fail only where it is further from the limit than its expanded uncertainty (k = 2).
 *
 * Decision rule: JCGM 106:2012 with a guard band of the whole U.
 */
import type { Estimate } from '../measure/estimate.js'
import type { Figure, UNITS, Verdict } from './parts.js'

export type Unit = (typeof UNITS)[number]

export interface Limit {
  readonly min?: number
  readonly max?: number
}

/** What is known of a figure beyond its uncertainty. */
export interface Bound {
  readonly isAtMost?: boolean
  readonly isAtLeast?: boolean
}

/** The guarded decision. A figure that is only "at most" can pass an upper limit, never fail it; "at least" the other way. */
export function held(value: number, u: number, limit: Limit, bound: Bound = {}): Verdict {
  const { min = Number.NEGATIVE_INFINITY, max = Number.POSITIVE_INFINITY } = limit
  const { isAtMost = false, isAtLeast = false } = bound
  const isBelowMax = max === Number.POSITIVE_INFINITY || (value + u <= max && !isAtLeast)
  const isAboveMin = min === Number.NEGATIVE_INFINITY || (value - u >= min && !isAtMost)
  if (isBelowMax && isAboveMin) return 'pass'
  return (value - u > max && !isAtMost) || (value + u < min && !isAtLeast) ? 'fail' : 'unsure'
}

/** The worst of several verdicts: one failure outweighs all, then one doubt. */
export function worst(verdicts: readonly Verdict[]): Verdict {
  if (verdicts.includes('fail')) return 'fail'
  return verdicts.includes('unsure') ? 'unsure' : 'pass'
}

export const figureOf = (quantity: string, unit: Unit, from: Estimate | null): Figure | null =>
  from && {
    quantity,
    value: Number.isFinite(from.value) ? from.value : null,
    unit,
    u: Number.isFinite(from.u) ? from.u : null,
    budget: Number.isFinite(from.u) ? [...from.budget] : [],
    isAtMost: from.isAtMost,
    isAtLeast: from.isAtLeast,
    freqHz: from.freqHz,
    method: from.method,
  }
