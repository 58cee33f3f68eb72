/**
 * Where to start with one more output in an electrical sum: every delay within reach and both polarities, so that no side
 * minimum a period away is taken for the best one.
 */
import { GRID_HZ } from './grid.js'
import { aligned } from './sum-align.js'
import { flattened } from './sum-fit.js'
import { AS_IT_STANDS, type Part, type Setting, type Sum, sumAt } from './summed.js'

/** Steps in one period of the highest frequency at which both are heard. */
const STEPS = 10
/** Every third grid point: a sixteenth of an octave. */
const SPARSE = 3
const CANDIDATES = 4
/** Two settings flat alike: the one with less delay. */
const ALIKE_DB = 0.02

export interface Start {
  readonly setting: Setting
  /** How flat, and the same of the best one with another delay or polarity; null where there is none. */
  readonly rmsDb: number
  readonly rivalRmsDb: number | null
}

/**
 * @param base the sum of the outputs before, at the indices
 * @param gainDb gain to search with
 * @param reachS delays from -reachS to reachS
 */
export function bestStart(base: Sum, part: Part, indices: readonly number[], gainDb: number, reachS: number): Start {
  const sparse = indices.filter((_, n) => n % SPARSE === 0)
  const few = sparseOf(base)
  // The base is one part of its own here, as far as the sum goes.
  const whole = asPart(few, part, sparse)
  const flatness = (setting: Setting): Start => {
    const settings = flattened([whole, part], [AS_IT_STANDS, setting], sparse)
    return { setting: settings[1], rmsDb: sumAt([whole, part], settings, sparse).rmsDb, rivalRmsDb: null }
  }
  const found = candidates(few, part, sparse, gainDb, reachS).map(({ delayS, sign, stepS }) => {
    const start: Setting = { ...AS_IT_STANDS, delayS, gainDb, sign }
    const inPhase = flatness({ ...aligned(few, part, start, sparse), isDelayFree: false })
    const free = flatness(start)
    const best = inPhase.rmsDb < free.rmsDb + ALIKE_DB ? inPhase : free
    return { ...best, setting: { ...best.setting, isDelayFree: true }, stepS }
  })
  const flattest = Math.min(...found.map(({ rmsDb }) => rmsDb))
  const [best] = found
    .filter(({ rmsDb }) => rmsDb <= flattest + ALIKE_DB)
    .sort((a, b) => Math.abs(a.setting.delayS) - Math.abs(b.setting.delayS))
  // Two candidates may have run into the same hollow: within three steps of the search.
  const rivals = found.filter(
    ({ setting, stepS }) =>
      setting.sign !== best.setting.sign || Math.abs(setting.delayS - best.setting.delayS) > 3 * stepS,
  )
  return { ...best, rivalRmsDb: rivals.length === 0 ? null : Math.min(...rivals.map(({ rmsDb }) => rmsDb)) }
}

interface Candidate {
  readonly delayS: number
  readonly sign: 1 | -1
  readonly stepS: number
  readonly variance: number
}

/** The deepest hollows of the level's variance over delay, of either polarity. */
function candidates(
  base: Sum,
  part: Part,
  indices: readonly number[],
  gainDb: number,
  reachS: number,
): readonly Candidate[] {
  const own = sumAt([part], [{ ...AS_IT_STANDS, gainDb }], indices)
  const points = indices.map((i, n) => ({
    freqHz: GRID_HZ[i],
    both: base.power[n] + own.power[n],
    // Twice the product of one with the conjugate of the other: what the delay turns.
    re: 2 * (base.re[n] * own.re[n] + base.im[n] * own.im[n]),
    im: 2 * (base.re[n] * own.im[n] - base.im[n] * own.re[n]),
  }))
  const overlapping = points.filter(({ both, re, im }) => Math.hypot(re, im) > 0.2 * both)
  const topHz = (overlapping.at(-1) ?? points.at(-1)!).freqHz
  const lowHz = (overlapping[0] ?? points[0]).freqHz
  // A subwoofer's period is longer than any fixed reach.
  const spanS = Math.max(reachS, 1.2 / Math.sqrt(topHz * lowHz))
  const stepS = 1 / (STEPS * topHz)
  const reach = Math.ceil(spanS / stepS)
  const count = 2 * reach + 1
  const sums = [0, 1, 2, 3].map(() => new Float64Array(count))
  const [mean, square, turnedMean, turnedSquare] = sums
  for (const { freqHz, both, re, im } of points) {
    const turn = -2 * Math.PI * freqHz * stepS
    const [stepRe, stepIm] = [Math.cos(turn), Math.sin(turn)]
    const [c, s] = [Math.cos(reach * turn), -Math.sin(reach * turn)]
    let [a, b] = [re * c - im * s, re * s + im * c]
    const floor = 1e-6 * both
    for (let k = 0; k < count; k++) {
      const level = Math.log(Math.max(both + a, floor))
      const turnedLevel = Math.log(Math.max(both - a, floor))
      mean[k] += level
      square[k] += level * level
      turnedMean[k] += turnedLevel
      turnedSquare[k] += turnedLevel * turnedLevel
      const next = a * stepRe - b * stepIm
      b = a * stepIm + b * stepRe
      a = next
    }
  }
  const hollows = (sign: 1 | -1, means: Float64Array, squares: Float64Array): Candidate[] => {
    const variances = squares.map((value, k) => value / points.length - (means[k] / points.length) ** 2)
    return [...variances.keys()]
      .filter((k) => !(variances[k - 1] < variances[k]) && !(variances[k + 1] < variances[k]))
      .map((k) => ({ delayS: (k - reach) * stepS, sign, stepS, variance: variances[k] }))
  }
  return [...hollows(1, mean, square), ...hollows(-1, turnedMean, turnedSquare)]
    .sort((a, b) => a.variance - b.variance)
    .slice(0, CANDIDATES)
}

function sparseOf(sum: Sum): Sum {
  const every = (values: Float64Array): Float64Array => values.filter((_, n) => n % SPARSE === 0)
  const [re, im, power, levelDb] = [sum.re, sum.im, sum.power, sum.levelDb].map(every)
  return { rotors: [], parts: [], re, im, power, levelDb, rmsDb: sum.rmsDb }
}

/** A sum at some grid points as a part on the whole grid; elsewhere nothing, where nobody looks. */
function asPart(sum: Sum, like: Part, indices: readonly number[]): Part {
  const [re, im, power] = [like.re, like.im, like.power].map((array) => new Float64Array(array.length))
  indices.forEach((i, n) => {
    re[i] = sum.re[n]
    im[i] = sum.im[n]
    power[i] = sum.power[n]
  })
  return { re, im, power, error: like.error, centreS: like.centreS, laterS: 0 }
}
