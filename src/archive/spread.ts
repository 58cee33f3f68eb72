/**
 * How values of many vehicles lie: median, robust spread, and which one stands apart.
 *
 * Rule: modified z-score 0.6745 (x − median) / MAD beyond 3.5 (Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993,
 * the constants as in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17). A value that the uncertainty of its own
 * measurement could bring back to the median is never said to stand apart.
 */

/** Fewer vehicles than this have no spread to speak of. */
export const VEHICLES_MIN = 5
export const SCORE_MAX = 3.5
/** 75 % point of the normal distribution: MAD over standard deviation. */
const MAD_OF_NORMAL = 0.6745

export interface Spread {
  readonly count: number
  readonly median: number
  /** MAD / 0.6745: the standard deviation where values are normal; null for fewer than VEHICLES_MIN. */
  readonly spread: number | null
  readonly min: number
  readonly max: number
}

export function medianOf(values: readonly number[]): number {
  if (values.length === 0) throw new RangeError('medianOf: no values')
  const sorted = [...values].sort((a, b) => a - b)
  const middle = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2
}

export function spreadOf(values: readonly number[]): Spread {
  const median = medianOf(values)
  const mad = medianOf(values.map((value) => Math.abs(value - median)))
  return {
    count: values.length,
    median,
    spread: values.length < VEHICLES_MIN ? null : mad / MAD_OF_NORMAL,
    min: Math.min(...values),
    max: Math.max(...values),
  }
}

/**
 * Modified z-score; null where there are too few vehicles.
 * @returns infinite where more than half of all are exactly alike and this one is not
 */
export function scoreOf(value: number, { median, spread }: Spread): number | null {
  if (spread === null) return null
  if (value === median) return 0
  return (value - median) / spread
}

/** @param u expanded uncertainty of the value; null where it is not known */
export function isOutlier(value: number, u: number | null, spread: Spread): boolean {
  const score = scoreOf(value, spread)
  return score !== null && Math.abs(score) > SCORE_MAX && Math.abs(value - spread.median) > (u ?? 0)
}
