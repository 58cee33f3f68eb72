/**
 * Filters that end a band: Butterworth of order 1 to 8 and Linkwitz-Riley, as magnitudes that a fit can turn.
 *
 * An edge has one number, its corner: -3.01 dB for Butterworth, -6.02 dB for Linkwitz-Riley.
 */

export type EdgeSide = 'low' | 'high'

export interface EdgeFamily {
  /** Slope far outside the band is 6.02 dB an octave times this. */
  readonly order: number
  /** A Butterworth of half the order, twice. */
  readonly isSquared: boolean
}

export interface EdgeFilter extends EdgeFamily {
  readonly side: EdgeSide
  /** A capacitor with a resistor, which no bilinear transform bends: what couples a stage or smooths a converter. */
  readonly isAnalog: boolean
}

/** Source: S. Butterworth, Experimental Wireless 7, 536 (1930); S. H. Linkwitz, JAES 24(1), 2 (1976). */
export const EDGE_FAMILIES: readonly EdgeFamily[] = [
  ...[1, 2, 3, 4, 5, 6, 7, 8].map((order) => ({ order, isSquared: false })),
  ...[2, 4, 6, 8].map((order) => ({ order, isSquared: true })),
]

/** What an edge must know of the frequency axis: frequencies squared, as they are and warped. */
export interface EdgeAxis {
  readonly squares: Float64Array
  readonly warped: Float64Array
  readonly sampleRateHz: number
}

const DB_FROM_LN_POWER = 10 / Math.LN10

/**
 * Multiplies powers on an axis by the square of an edge's magnitude; writes dB for a unit of ln corner where asked for.
 * |H|² = 1 / (1 + v^n) for Butterworth of order n, v = (f / fc)² for the high side and its inverse for the low one.
 */
export function multiplyEdge(
  { side, order, isSquared, isAnalog }: EdgeFilter,
  cornerHz: number,
  { squares, warped, sampleRateHz }: EdgeAxis,
  power: Float64Array,
  perLnCorner: Float64Array | null = null,
): void {
  const axis = isAnalog ? squares : warped
  const w = (2 * Math.PI * cornerHz) / sampleRateHz
  const corner = isAnalog ? cornerHz ** 2 : Math.tan(w / 2) ** 2
  const n = isSquared ? order / 2 : order
  const times = isSquared ? 2 : 1
  const isHigh = side === 'high'
  // d ln v / d ln fc = -2 n on the high side, 2 n on the low one.
  const slope = times * DB_FROM_LN_POWER * 2 * n * (isHigh ? 1 : -1) * (isAnalog ? 1 : w / Math.sin(w))
  for (let i = 0; i < axis.length; i++) {
    const ratio = isHigh ? axis[i] / corner : corner / axis[i]
    let v = ratio
    for (let k = 1; k < n; k++) v *= ratio
    power[i] /= isSquared ? (1 + v) * (1 + v) : 1 + v
    if (perLnCorner) perLnCorner[i] = (slope * v) / (1 + v)
  }
}

/** Where an edge is 3.0103 dB down: its corner for Butterworth; a Linkwitz-Riley edge gets there inside its corner. */
export function halfPowerHz(edge: EdgeFilter, cornerHz: number, sampleRateHz: number): number {
  if (!edge.isSquared) return cornerHz
  // 1 / (1 + v)² = 1/2
  const ratio = (Math.SQRT2 - 1) ** ((edge.side === 'high' ? 1 : -1) / edge.order)
  if (edge.isAnalog) return cornerHz * ratio
  const turn = Math.PI / sampleRateHz
  return Math.atan(ratio * Math.tan(turn * cornerHz)) / turn
}
