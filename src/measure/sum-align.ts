/**
 * Delays that put summed outputs in phase where they are heard together.
 *
 * Parts that are made for each other (Linkwitz-Riley) are flattest in phase, but flatness alone hardly sees a small delay: the
 * level falls with its square. The phase goes with the delay itself and is a thousand times sharper.
 */
import { GRID_HZ } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import { type Complexes, complexes, type Part, type Setting, type Sum, sumAt } from './summed.js'

const PASSES = 12
const ENOUGH_S = 1e-12
const OVERLAP_MIN = 0.01

/**
 * The delay of one more part that puts it in phase with a sum: least squares of the phase between them, weighted by how much
 * both matter at a point.
 *
 * @param base sum of the parts before, at the indices
 */
export function aligned(base: Sum, part: Part, start: Setting, indices: readonly number[]): Setting {
  let setting = start
  for (let pass = 0; pass < PASSES; pass++) {
    const own = sumAt([part], [setting], indices)
    const weights = weightsOf(base, own, indices)
    let stepS = 0
    for (let n = 0; n < indices.length; n++) {
      const re = base.re[n] * own.re[n] + base.im[n] * own.im[n]
      const im = base.re[n] * own.im[n] - base.im[n] * own.re[n]
      stepS += weights[n] * Math.atan2(im, re)
    }
    setting = { ...setting, delayS: setting.delayS + stepS }
    if (Math.abs(stepS) < ENOUGH_S) break
  }
  return setting
}

/** What each point's phase adds to the delay, s / rad: of weight v, v w / sum of v w², w the angular frequency. */
function weightsOf(base: Sum, own: Sum, indices: readonly number[]): Float64Array {
  let squares = 0
  const weights = Float64Array.from(indices, (i, n) => {
    const radPerS = 2 * Math.PI * GRID_HZ[i]
    // Squared, and nothing below 20 dB: far down a filter's skirt there is noise, where little phase would be much delay.
    const overlap = (base.power[n] * own.power[n]) / (base.power[n] + own.power[n]) ** 2
    const weight = overlap < OVERLAP_MIN ? 0 : overlap * overlap
    squares += weight * radPerS * radPerS
    return weight * radPerS
  })
  return weights.map((value) => value / squares)
}

/**
 * Standard uncertainty of every aligned delay from the noise of all parts: a part aligned to another follows its noise too, and
 * its delay.
 *
 * @param order parts in the order in which they were aligned, each to the sum of those before
 */
export function alignedU(
  parts: readonly Part[],
  settings: readonly Setting[],
  order: readonly number[],
  indices: readonly number[],
): readonly number[] {
  const first = indices[0]
  const count = indices.at(-1)! - first + 1
  // For each part's delay, and each part's noise n: the real part of conj(coefficient) n adds up to the delay's error.
  const follow: Complexes[][] = parts.map(() => parts.map(() => complexes(count)))
  order.forEach((k, place) => {
    if (place === 0 || !settings[k].isDelayFree) return
    const before = order.slice(0, place)
    const base = sumAt(
      before.map((m) => parts[m]),
      before.map((m) => settings[m]),
      indices,
    )
    const own = sumAt([parts[k]], [settings[k]], indices)
    const weights = weightsOf(base, own, indices)
    addPhaseNoise(follow[k][k], weights, own, own.rotors[0], indices)
    before.forEach((m, at) => {
      addPhaseNoise(
        follow[k][m],
        weights.map((value) => -value),
        base,
        base.rotors[at],
        indices,
      )
      // The base's phase moves with the delay of what is in it.
      let moves = 0
      for (let n = 0; n < indices.length; n++) {
        const part = base.parts[at]
        const share = (part.re[n] * base.re[n] + part.im[n] * base.im[n]) / base.power[n]
        moves += weights[n] * 2 * Math.PI * GRID_HZ[indices[n]] * share
      }
      parts.forEach((_, source) => {
        for (let n = 0; n < count; n++) {
          follow[k][source].re[n] += moves * follow[m][source].re[n]
          follow[k][source].im[n] += moves * follow[m][source].im[n]
        }
      })
    })
  })
  return follow.map((sources) =>
    Math.sqrt(sources.reduce((sum, { re, im }, m) => sum + varianceOfSum(first, re, im, parts[m].error), 0)),
  )
}

/** Phase of a sum under noise that comes in through a rotor: Im(rotor n / S), weighted; adds its coefficients. */
function addPhaseNoise(
  to: Complexes,
  weights: Float64Array,
  sum: Sum,
  rotor: Complexes,
  indices: readonly number[],
): void {
  for (let n = 0; n < indices.length; n++) {
    const re = (rotor.re[n] * sum.re[n] + rotor.im[n] * sum.im[n]) / sum.power[n]
    const im = (rotor.im[n] * sum.re[n] - rotor.re[n] * sum.im[n]) / sum.power[n]
    // Im(z n) = Re(-j z n), and the coefficient is the conjugate of -j z.
    to.re[indices[n] - indices[0]] += weights[n] * im
    to.im[indices[n] - indices[0]] += weights[n] * re
  }
}
