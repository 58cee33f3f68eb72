/** A measured number with its expanded uncertainty (k = 2), and how such numbers combine. */
export interface Estimate {
  readonly value: number
  readonly u: number
  /** The true value is this or less. */
  readonly isAtMost: boolean
  /** Name and version of the way it was measured: a change that can move a figure raises the version. */
  readonly method: string
  readonly freqHz: number | null
}

export const estimate = (
  value: number,
  u: number,
  method: string,
  options: { isAtMost?: boolean; freqHz?: number } = {},
): Estimate => ({ value, u, method, isAtMost: options.isAtMost ?? false, freqHz: options.freqHz ?? null })

/** Expanded uncertainty of a level in dB when its amplitude has a relative uncertainty. */
export const dbFromRelative = (relative: number): number => 20 * Math.log10(1 + Math.min(relative, 1e3))
