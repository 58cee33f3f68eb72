/**
 * A sine whose peaks are cut off at one or at both sides, in closed form: its fundamental and harmonics, and back.
 *
 * cos φ that is cut at r = cos α loses max(0, cos φ - r) at each cut side. Source: Fourier series of that cap:
 * c1 = (α - ½ sin 2α) / π, cn = (sin((n - 1) α) / (n (n - 1)) - sin((n + 1) α) / (n (n + 1))) / π. With both sides cut, odd
 * orders double and even ones cancel.
 */

export type CutSides = 'one side' | 'both sides'

const angleOf = (ratio: number): number => Math.acos(Math.min(1, Math.max(0, ratio)))

/** @param ratio level of the cut over the sine's peak, 0 to 1 */
export function cutFundamental(ratio: number, sides: CutSides): number {
  const angle = angleOf(ratio)
  return 1 - ((sides === 'one side' ? 1 : 2) / Math.PI) * (angle - 0.5 * Math.sin(2 * angle))
}

/** Rms sum of orders 2 to orderMax over the fundamental. */
export function cutThd(ratio: number, sides: CutSides, orderMax: number): number {
  const angle = angleOf(ratio)
  const [first, step, share] = sides === 'one side' ? [2, 1, 1] : [3, 2, 2]
  let sum = 0
  for (let n = first; n <= orderMax; n += step) {
    sum += (Math.sin((n - 1) * angle) / (n * (n - 1)) - Math.sin((n + 1) * angle) / (n * (n + 1))) ** 2
  }
  return ((share / Math.PI) * Math.sqrt(sum)) / cutFundamental(ratio, sides)
}

/** The cut that leaves this much of the fundamental: 0 to 1, or 1/2 to 1 where one side is cut. */
export const cutForFundamental = (fundamental: number, sides: CutSides): number =>
  solve((ratio) => cutFundamental(ratio, sides) - fundamental)

/** The cut that gives this distortion. */
export const cutForThd = (thdRatio: number, sides: CutSides, orderMax: number): number =>
  solve((ratio) => thdRatio - cutThd(ratio, sides, orderMax))

/** Zero of a function that rises from 0 to 1; 48 halvings leave less than rounding. */
function solve(rising: (ratio: number) => number): number {
  let [low, high] = [1e-6, 1]
  for (let i = 0; i < 48; i++) {
    const middle = 0.5 * (low + high)
    if (rising(middle) > 0) high = middle
    else low = middle
  }
  return 0.5 * (low + high)
}
