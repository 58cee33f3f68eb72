/** One figure held against its truth, and what many of them say. */

export interface Trial {
  /** In the measurand's own unit, like u. */
  readonly error: number
  /** Expanded, k = 2. */
  readonly u: number
}

/** What was read as "at most" or "at least": it holds, or it does not. */
export interface Bound {
  readonly isHeld: boolean
}

export interface Summary {
  readonly count: number
  readonly worst: number
  readonly rms: number
  readonly medianU: number
  /** Share of trials whose interval holds the truth. */
  readonly coverage: number
  readonly boundCount: number
  readonly boundsHeld: number
}

export function summaryOf(trials: readonly Trial[], bounds: readonly Bound[]): Summary {
  const us = trials.map(({ u }) => u).sort((a, b) => a - b)
  const covered = trials.filter(({ error, u }) => Math.abs(error) <= u).length
  return {
    count: trials.length,
    worst: trials.reduce((most, { error }) => Math.max(most, Math.abs(error)), 0),
    rms: Math.sqrt(trials.reduce((sum, { error }) => sum + error * error, 0) / Math.max(1, trials.length)),
    medianU: us[us.length >> 1] ?? 0,
    coverage: covered / Math.max(1, trials.length),
    boundCount: bounds.length,
    boundsHeld: bounds.filter(({ isHeld }) => isHeld).length,
  }
}
