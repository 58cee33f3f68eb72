/** Which source side it is whose part of an output comes again otherwise. */
import { FROM_HZ, partOfNoise } from './marker-coherence.js'
import type { MarkerPair } from './marker-pair.js'

/** Less than this share is what codecs, clocks and an automatic gain do. */
export const SHARE_MIN = 1e-3
/** Responses that share more than one less this of their energy are the same one. */
const ALIKE = 0.3

export interface SideIncoherence {
  /** Energy driven by this side's sweep that no time-invariant response explains, over all that it drives. */
  readonly ratio: number
  readonly ratioU: number
  /** The same over the energy of the whole output, both sides: what of it is heard. */
  readonly ofOutput: number
  /** It is this side that comes through changed, and not only what the other one's leaves unclear. */
  readonly isTimeVariant: boolean
}

export interface Parts {
  readonly pair: MarkerPair
  readonly left: Float64Array
  readonly right: Float64Array
  /** Both sides' predictions together. */
  readonly both: Float64Array
  /** Energy of the harmonics over that of the response. */
  readonly distortion: number
}

/**
 * How much of each side's response is there again in the chirps: third octaves, the response's share by least squares on both
 * sides. A share of 1 is all of it; what is short of that, in the better of the two chirps, has changed.
 */
export function sidesOf({ pair, left, right }: Parts): readonly (SideIncoherence | null)[] {
  const times = [pair.opening, pair.closing]
  const binHz = pair.samplesPerS / pair.size
  const lost = times.map(() => [[], []] as [number[], number[]])
  const energies: [number[], number[]] = [[], []]
  let total = 0
  for (let lowHz = FROM_HZ; lowHz < Math.min(20_000, 0.45 * pair.samplesPerS); lowHz *= 2 ** (1 / 3)) {
    const span = { first: Math.ceil(lowHz / binHz), last: Math.ceil((lowHz * 2 ** (1 / 3)) / binHz) - 1 }
    const sides = { l: dot(left, left, span).re, r: dot(right, right, span).re, lr: dot(left, right, span) }
    energies[0].push(sides.l)
    energies[1].push(sides.r)
    total += dot(pair.opening, pair.opening, span).re
    // Bins are not independent: each part of the spectrum is as wide as the response's part is short.
    const count = Math.max(1, (span.last - span.first + 1) * partOfNoise(pair))
    times.forEach((time, i) => {
      const own = { l: dot(time, left, span), r: dot(time, right, span), all: dot(time, time, span).re }
      lostShares(own, sides, count).forEach((value, side) => {
        lost[i][side].push(value)
      })
    })
  }
  const sides = [0, 1].map((side): SideIncoherence | null => {
    const energy = energies[side].reduce((a, b) => a + b, 0)
    // A side that isn't heard is noise, of which nothing can be there again.
    if (energy < SHARE_MIN * total) return null
    const means = lost.map((time) => weighted(time[side], energies[side]))
    const best = means[0] <= means[1] ? 0 : 1
    // Spread of the bands about their mean, as that mean's own.
    const spread = lost[best][side].map((value) => (value - means[best]) ** 2)
    const parts =
      energy ** 2 /
      Math.max(
        1e-30,
        energies[side].reduce((sum, value) => sum + value * value, 0),
      )
    const ratio = Math.min(1, Math.max(0, means[best]))
    return {
      ratio,
      ratioU: Math.sqrt(weighted(spread, energies[side]) / Math.max(1, parts - 1)),
      ofOutput: (ratio * energy) / Math.max(total, 1e-30),
      isTimeVariant: false,
    }
  })
  const most = Math.max(...sides.map((side) => side?.ofOutput ?? 0))
  return sides.map(
    (side) =>
      side && {
        ...side,
        isTimeVariant: side.ratio > SHARE_MIN && side.ratio > 2 * side.ratioU && side.ofOutput > 0.5 * most,
      },
  )
}

const weighted = (values: readonly number[], weights: readonly number[]): number =>
  values.reduce((sum, value, i) => sum + value * weights[i], 0) /
  Math.max(
    1e-30,
    weights.reduce((a, b) => a + b, 0),
  )

interface Complex {
  readonly re: number
  readonly im: number
}

/** Sum of a times b's conjugate over bins. */
function dot(a: Float64Array, b: Float64Array, { first, last }: { first: number; last: number }): Complex {
  let [re, im] = [0, 0]
  for (let k = first; k <= last && 2 * k + 1 < a.length; k++) {
    re += a[2 * k] * b[2 * k] + a[2 * k + 1] * b[2 * k + 1]
    im += a[2 * k + 1] * b[2 * k] - a[2 * k] * b[2 * k + 1]
  }
  return { re, im }
}

interface SidePowers {
  readonly l: number
  readonly r: number
  /** <left, right> */
  readonly lr: Complex
}

/**
 * What of each side's response is missing in a chirp, as power over the response's own: |1 - share|², with the share by least
 * squares on both sides, less what the rest of the chirp adds to it by chance. At most 2: all of it, replaced by as much else.
 */
function lostShares(
  own: { readonly l: Complex; readonly r: Complex; readonly all: number },
  { l, r, lr }: SidePowers,
  count: number,
): readonly [number, number] {
  const lost = (share: Complex, variance: number): number =>
    Math.min(2, (1 - share.re) ** 2 + share.im * share.im - variance)
  const det = l * r - lr.re * lr.re - lr.im * lr.im
  if (det < ALIKE * l * r) {
    // Both sides have the same response: what is missing can't be told apart, and is missing of both.
    const power = l + r + 2 * lr.re
    const share = { re: (own.l.re + own.r.re) / power, im: (own.l.im + own.r.im) / power }
    const rest = Math.max(0, own.all - (share.re ** 2 + share.im ** 2) * power)
    const both = lost(share, rest / (count * power))
    return [both, both]
  }
  // Normal equations [l, conj lr; lr, r] of <chirp, left> and <chirp, right>.
  const left = {
    re: (own.l.re * r - (own.r.re * lr.re + own.r.im * lr.im)) / det,
    im: (own.l.im * r - (own.r.im * lr.re - own.r.re * lr.im)) / det,
  }
  const right = {
    re: (own.r.re * l - (own.l.re * lr.re - own.l.im * lr.im)) / det,
    im: (own.r.im * l - (own.l.re * lr.im + own.l.im * lr.re)) / det,
  }
  const fitted = left.re * own.l.re + left.im * own.l.im + right.re * own.r.re + right.im * own.r.im
  const rest = Math.max(0, own.all - fitted) / count
  return [lost(left, (rest * r) / det), lost(right, (rest * l) / det)]
}
