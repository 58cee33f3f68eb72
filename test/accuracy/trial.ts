/** One figure held against its truth, and what many of them say. */

export interface Trial {
  /** Of the take, so that it can be looked at alone; the campaign fills it in. */
  readonly seed?: number
  /** Frequency that it was read at, where there are several. */
  readonly freqHz?: number
  /** In the measurand's own unit, like u. */
  readonly error: number
  /** Expanded, k = 2. */
  readonly u: number
}

/** What was read as "at most" or "at least": it holds, or it does not. */
export interface Bound {
  readonly seed?: number
  readonly isHeld: boolean
}

export interface Summary {
  readonly count: number
  /** How many takes they come from. */
  readonly takeCount: number
  readonly worst: number
  readonly rms: number
  readonly medianU: number
  /** Trials whose interval holds the truth, and their share. */
  readonly covered: number
  readonly coverage: number
  readonly boundCount: number
  readonly boundsHeld: number
}

export function summaryOf(trials: readonly Trial[], bounds: readonly Bound[]): Summary {
  const us = trials.map(({ u }) => u).sort((a, b) => a - b)
  const covered = trials.filter(({ error, u }) => Math.abs(error) <= u).length
  return {
    count: trials.length,
    takeCount: new Set(trials.map(({ seed }) => seed)).size,
    worst: trials.reduce((most, { error }) => Math.max(most, Math.abs(error)), 0),
    rms: Math.sqrt(trials.reduce((sum, { error }) => sum + error * error, 0) / Math.max(1, trials.length)),
    medianU: us[us.length >> 1] ?? 0,
    covered,
    coverage: covered / Math.max(1, trials.length),
    boundCount: bounds.length,
    boundsHeld: bounds.filter(({ isHeld }) => isHeld).length,
  }
}
