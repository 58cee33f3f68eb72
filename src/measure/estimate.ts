/**
 * A measured number with its uncertainty: a budget of standard uncertainties, combined and expanded with k = 2.
 *
 * Source: JCGM 100:2008 (GUM), independent contributions. Each contribution is in the unit of the figure, already
 * multiplied by its sensitivity.
 */
import { DB_PER_NEPER } from '../units/level.js'

export interface Contribution {
  /** What it comes from, as the budget shows it: input calibration, noise, rig response. */
  readonly source: string
  /** Standard uncertainty (k = 1) in the figure's unit. */
  readonly u: number
}

export interface Estimate {
  readonly value: number
  /** Expanded uncertainty (k = 2). */
  readonly u: number
  readonly budget: readonly Contribution[]
  /** The true value is this or less. */
  readonly isAtMost: boolean
  /** The true value is this or more. */
  readonly isAtLeast: boolean
  /** Name and version of the way it was measured: a change that can move a figure raises the version. */
  readonly method: string
  readonly freqHz: number | null
}

export const COVERAGE_FACTOR = 2

/** @param contributions standard uncertainties by what they come from, in the figure's unit */
export function estimate(
  value: number,
  contributions: Readonly<Record<string, number>>,
  method: string,
  options: { isAtMost?: boolean; isAtLeast?: boolean; freqHz?: number } = {},
): Estimate {
  const budget = Object.entries(contributions)
    .filter(([, u]) => u !== 0)
    .map(([source, u]) => ({ source, u }))
  return {
    value,
    u: COVERAGE_FACTOR * Math.hypot(...budget.map(({ u }) => u)),
    budget,
    method,
    isAtMost: options.isAtMost ?? false,
    isAtLeast: options.isAtLeast ?? false,
    freqHz: options.freqHz ?? null,
  }
}

/** The same meter stands behind every input of a calibration: what it is off by, all are off by alike. */
const SHARED = 'meter specification'

/**
 * One figure less another of the same unit, each with its own budget.
 *
 * Contributions are independent but for the meter's, which is the same in both and takes itself away (GUM 5.2.2, r = 1).
 */
export function difference(a: Estimate, aName: string, b: Estimate, bName: string, method: string): Estimate {
  const sharedU = ({ budget }: Estimate): number => budget.find(({ source }) => source === SHARED)?.u ?? 0
  const own = ({ budget }: Estimate, name: string): [string, number][] =>
    budget.filter(({ source }) => source !== SHARED).map(({ source, u }) => [`${source}, ${name}`, u])
  const contributions = Object.fromEntries([
    ...own(a, aName),
    ...own(b, bName),
    [SHARED, Math.abs(sharedU(a) - sharedU(b))],
  ])
  return estimate(a.value - b.value, contributions, method, { freqHz: a.freqHz ?? undefined })
}

/**
 * Standard uncertainty in dB of a level whose amplitude has a relative one: 8.686 dB times it while it is small. Where it is
 * not, twice of it is what the level may at most be higher; in dB that is far less than in proportion.
 */
export const dbFromRelative = (relative: number): number => 10 * Math.log10(1 + 2 * Math.min(relative, 1e3))
export const relativeFromDb = (db: number): number => db / DB_PER_NEPER
