/**
 * Uncertainty by the GUM (JCGM 100:2008): contributions combine to a standard uncertainty, with the degrees of freedom that
 * are left and the factor that covers a given part of all cases.
 *
 * A contribution is in the unit of the result: already multiplied by its sensitivity.
 */

/** How a value lies inside its limits, when only limits are known. */
export type Shape = 'rectangular' | 'triangular' | 'u-shaped'

export interface Part {
  /** What it comes from: meter specification, repeatability. */
  readonly source: string
  /** Standard uncertainty (k = 1). */
  readonly u: number
  /** Degrees of freedom; infinite where limits or a certificate say it. */
  readonly dof: number
}

export interface Combined {
  /** Standard uncertainty (k = 1). */
  readonly u: number
  readonly dof: number
  /** Coverage factor for COVERED of all cases. */
  readonly k: number
  /** k times u. */
  readonly expanded: number
  /** Part of the variance that each contribution makes, in their order; 0 where there is none at all. */
  readonly shares: readonly number[]
}

/** What k = 2 covers of a normal distribution. */
export const COVERED = 0.954499736

/** Half width of limits over standard uncertainty. Source: JCGM 100:2008, 4.3.7 and 4.3.9; U-shaped from the arcsine law. */
const DIVISORS: Readonly<Record<Shape, number>> = {
  rectangular: Math.sqrt(3),
  triangular: Math.sqrt(6),
  'u-shaped': Math.SQRT2,
}

/** Standard uncertainty of a value that lies within ± halfWidth. */
export const uFromLimits = (halfWidth: number, shape: Shape): number => Math.abs(halfWidth) / DIVISORS[shape]

/** Standard uncertainty from an expanded one. */
export const uFromExpanded = (expanded: number, k = 2): number => expanded / k

/** Mean, experimental standard deviation of the mean, and its degrees of freedom; 1 value alone says nothing of its spread. */
export function meanOf(values: readonly number[]): { readonly mean: number; readonly u: number; readonly dof: number } {
  if (values.length === 0) throw new RangeError('meanOf: no values')
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length
  const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0)
  const dof = values.length - 1
  return { mean, u: dof === 0 ? 0 : Math.sqrt(squares / dof / values.length), dof }
}

/**
 * Independent contributions together.
 *
 * @returns u as the root of the sum of squares; dof by Welch and Satterthwaite (JCGM 100:2008, G.4.1)
 */
export function combine(parts: readonly Part[]): Combined {
  const u = Math.hypot(...parts.map((part) => part.u))
  const loss = parts.reduce((sum, part) => sum + (Number.isFinite(part.dof) ? part.u ** 4 / part.dof : 0), 0)
  const dof = loss > 0 ? u ** 4 / loss : Number.POSITIVE_INFINITY
  const k = coverageFactor(dof)
  return { u, dof, k, expanded: k * u, shares: parts.map((part) => (u > 0 ? (part.u / u) ** 2 : 0)) }
}

/**
 * The t-value for a two-sided interval. Degrees of freedom are cut to a whole number, as the GUM advises (G.4.1).
 *
 * @param dof 1 or more; infinite for a normal distribution
 * @param covered part of all cases, above 0 and below 1
 */
export function coverageFactor(dof: number, covered = COVERED): number {
  const whole = Math.min(MUCH, Math.max(1, Math.floor(dof + 1e-9)))
  let [low, high] = [0, 1]
  while (coveredBy(high, whole) < covered) high *= 2
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2
    if (coveredBy(middle, whole) < covered) low = middle
    else high = middle
  }
  return (low + high) / 2
}

/** So many degrees of freedom are as good as infinitely many: the factor differs in the seventh digit. */
const MUCH = 4_000_000

/**
 * Part of a t-distribution between -t and t.
 * Source: finite sums over cos² of the angle; Abramowitz and Stegun, 26.7.3 and 26.7.4. Many degrees of freedom by the
 * normal distribution of the transformed value (Wallace 1959; Hill 1970, error below 1e-8 there).
 */
function coveredBy(t: number, dof: number): number {
  if (dof > 400) {
    const a = dof - 0.5
    const z = Math.sqrt(a * Math.log1p((t * t) / dof))
    const b = 48 * a * a
    const correction = z + (z ** 3 + 3 * z) / b
    return normalCovered(correction)
  }
  const angle = Math.atan(t / Math.sqrt(dof))
  const [sin, cosSquared] = [Math.sin(angle), Math.cos(angle) ** 2]
  if (dof % 2 === 1) {
    let [term, sum] = [Math.cos(angle), 0]
    for (let j = 1; j <= dof - 2; j += 2) {
      sum += term
      term *= (cosSquared * (j + 1)) / (j + 2)
    }
    return (2 / Math.PI) * (angle + sin * sum)
  }
  let [term, sum] = [1, 0]
  for (let j = 0; j <= dof - 2; j += 2) {
    sum += term
    term *= (cosSquared * (j + 1)) / (j + 2)
  }
  return sin * sum
}

/** Part of a normal distribution between -z and z, by its series (Abramowitz and Stegun, 26.2.11): exact to rounding up to 6. */
function normalCovered(z: number): number {
  if (z > 6) return 1
  let [term, sum] = [z, z]
  for (let k = 1; k < 200 && term > 1e-17 * sum; k++) {
    term *= (z * z) / (2 * k + 1)
    sum += term
  }
  return Math.sqrt(2 / Math.PI) * Math.exp(-0.5 * z * z) * sum
}
