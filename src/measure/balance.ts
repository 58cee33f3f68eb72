/** A balance control that is off its centre: what left and right outputs have in common. Uncertainties are k = 1. */

export const BALANCE_METHOD = 'common left-right offset, weighted least squares/1'

export interface OutputLevel {
  readonly outputNumber: number
  /** Which source sides it hears, as the map says. */
  readonly leftGain: number
  readonly rightGain: number
  /** Level against the map, dB, and its standard uncertainty. */
  readonly deviationDb: number
  readonly u: number
}

export interface Balance {
  /** Left outputs over right ones, dB: what a balance control off its centre does to all alike. */
  readonly offsetDb: number
  readonly offsetU: number
  /** Rms of what the common offset and level leave over: small where it is the balance, large where single outputs are off. */
  readonly leftOverDb: number
}

/**
 * Fits deviation = level + side × offset / 2, side running from 1 (left alone) to -1 (right alone), weighted by 1 / u².
 *
 * Where the outputs scatter more than their uncertainties say, the offset's grows with them (Birge ratio; R. T. Birge, Phys.
 * Rev. 40, 1932).
 * @returns null where the outputs do not hold a left and a right one
 */
export function balanceOf(levels: readonly OutputLevel[]): Balance | null {
  const points = levels
    .filter(({ leftGain, rightGain }) => leftGain !== 0 || rightGain !== 0)
    .map(({ leftGain, rightGain, deviationDb, u }) => {
      const [left, right] = [leftGain ** 2, rightGain ** 2]
      return { side: (left - right) / (left + right), db: deviationDb, weight: 1 / Math.max(u, 1e-6) ** 2 }
    })
  if (!points.some(({ side }) => side > 0.5) || !points.some(({ side }) => side < -0.5)) return null
  const sum = (of: (point: (typeof points)[number]) => number): number =>
    points.reduce((total, point) => total + point.weight * of(point), 0)
  const weight = sum(() => 1)
  const [side, db] = [sum((point) => point.side) / weight, sum((point) => point.db) / weight]
  const spread = sum((point) => (point.side - side) ** 2)
  const half = sum((point) => (point.side - side) * (point.db - db)) / spread
  const leftOver = (point: (typeof points)[number]): number => point.db - db - half * (point.side - side)
  const free = points.length - 2
  const birge = free > 0 ? Math.sqrt(sum((point) => leftOver(point) ** 2) / free) : 1
  return {
    offsetDb: 2 * half,
    offsetU: (2 * Math.max(1, birge)) / Math.sqrt(spread),
    leftOverDb: Math.sqrt(points.reduce((total, point) => total + leftOver(point) ** 2, 0) / points.length),
  }
}
