/**
 * Chains of sections read from the poles and zeros of a curve, as starts for a fit.
 *
 * The power of a section is a ratio of two quadratics in the warped frequency squared. So the curve of n sections has 2n
 * poles and zeros, which a linear method finds without a guess; what is left is which pole belongs to which zero.
 */
import { type Rational, type Root, rationalFits } from '../dsp/rational-fit.js'
import { type Chain, chainDb, type FitData, type Part, placeOf } from './equaliser-fit.js'

const STARTS_MAX = 8
const ORDER_MAX = 12
/** Rms error of a rational fit (relative power) above which its order is too low: about 0.1 dB. */
const ERROR_MAX = 0.025

/** (u / u0)² + (1 / q² - 2) u / u0 + 1: natural frequency squared and Q. */
interface Quadratic {
  readonly u0: number
  readonly q: number
}

/**
 * @param around gives the edges, which are taken out of the curve first
 * @returns for a number of sections, the likeliest chains; none where so few cannot follow the curve
 */
export function chainsByPoles(around: Chain, data: FitData): (sectionCount: number) => Chain[] {
  const edges = edgesOf(around)
  const edgeDb = new Float64Array(data.levelDb.length)
  chainDb(edges, data, edgeDb, null)
  const power = data.levelDb.map((level, i) => 10 ** ((level - edgeDb[i]) / 10))
  const most = data.rootWeight.reduce((a, b) => Math.max(a, b))
  const weight = data.rootWeight.map((value) => value / most)
  const fits = rationalFits(data.warped, power, weight, ORDER_MAX)
  return (sectionCount) => {
    const rational = fits.fit(2 * sectionCount)
    if (rational.errorRms > ERROR_MAX) return []
    return assignments(rational, data.sampleRateHz).map(({ parts, values }) => ({
      parts: [...parts, ...edges.parts],
      values: [levelFor(parts, values, data, edgeDb), ...values, ...edges.values.slice(1)],
    }))
  }
}

/** The chain's edges alone, at level 0. */
function edgesOf(chain: Chain): Chain {
  const kept = chain.parts.flatMap((part, k) => (part.kind === 'edge' ? [k] : []))
  return {
    parts: kept.map((k) => chain.parts[k]),
    values: [0, ...kept.map((k) => chain.values[placeOf(chain, k)])],
  }
}

function levelFor(parts: readonly Part[], values: readonly number[], data: FitData, edgeDb: Float64Array): number {
  const levelDb = new Float64Array(edgeDb.length)
  chainDb({ parts, values: [0, ...values] }, data, levelDb, null)
  let [sum, weights] = [0, 0]
  for (let i = 0; i < levelDb.length; i++) {
    const weight = data.rootWeight[i] ** 2
    sum += weight * (data.levelDb[i] - edgeDb[i] - levelDb[i])
    weights += weight
  }
  return sum / weights
}

interface Assignment {
  readonly parts: readonly Part[]
  readonly values: readonly number[]
  readonly mismatch: number
}

/** Ways to marry poles to zeros, those first in which each couple looks most like a section. */
function assignments({ poles, zeros }: Rational, sampleRateHz: number): Assignment[] {
  const found: Assignment[] = []
  for (const below of quadraticsOf(poles)) {
    for (const above of quadraticsOf(zeros)) {
      if (above.length === below.length) marry(above, below, sampleRateHz, found)
    }
  }
  return found.sort((a, b) => a.mismatch - b.mismatch).slice(0, STARTS_MAX)
}

function marry(
  above: readonly Quadratic[],
  below: readonly Quadratic[],
  sampleRateHz: number,
  out: Assignment[],
): void {
  const couples = above.map((zero) => below.map((pole) => coupleOf(zero, pole, sampleRateHz)))
  const free = new Set(below.keys())
  const chosen: { part: Part; values: readonly number[]; mismatch: number }[] = []
  const next = (row: number): void => {
    if (row === above.length) {
      out.push({
        parts: chosen.map(({ part }) => part),
        values: chosen.flatMap(({ values }) => values),
        mismatch: chosen.reduce((sum, { mismatch }) => sum + mismatch, 0),
      })
      return
    }
    for (const column of [...free]) {
      free.delete(column)
      chosen.push(couples[row][column])
      next(row + 1)
      chosen.pop()
      free.add(column)
    }
  }
  next(0)
}

/**
 * The section nearest to a pair of quadratics. A peak has both at its frequency and Q apart by A²; a shelf has both at its Q
 * and its frequencies apart by A.
 */
function coupleOf(
  zero: Quadratic,
  pole: Quadratic,
  sampleRateHz: number,
): { part: Part; values: readonly number[]; mismatch: number } {
  const freqRatio = 0.5 * Math.log(zero.u0 / pole.u0)
  const qRatio = Math.log(pole.q / zero.q)
  const tangent = Math.sqrt(Math.sqrt(zero.u0 * pole.u0))
  const lnFreq = Math.log((sampleRateHz / Math.PI) * Math.atan(tangent))
  const lnQ = 0.5 * Math.log(zero.q * pole.q)
  const isPeak = Math.abs(freqRatio) < Math.abs(qRatio)
  const lnA = isPeak ? 0.5 * qRatio : freqRatio
  return {
    part: { kind: isPeak ? 'peaking' : 'low_shelf' },
    values: [(40 / Math.LN10) * lnA, lnFreq, lnQ],
    mismatch: Math.min(Math.abs(freqRatio), Math.abs(qRatio)),
  }
}

/** Roots as quadratics: a complex root with its conjugate, real ones in twos, in each way that they can be. */
function quadraticsOf(roots: readonly Root[]): Quadratic[][] {
  const pairs = roots
    .filter(({ im }) => im > 0)
    .map(({ re, im }) => {
      const u0 = Math.hypot(re, im)
      return { u0, q: 1 / Math.sqrt(Math.max(2 - (2 * re) / u0, 1e-4)) }
    })
  const reals = roots
    .filter(({ im }) => im === 0)
    .map(({ re }) => Math.max(Math.abs(re), 1e-12))
    .sort((a, b) => a - b)
  return twosOf(reals).map((twos) => [
    ...pairs,
    ...twos.map(([a, b]) => {
      const u0 = Math.sqrt(a * b)
      return { u0, q: 1 / Math.sqrt(2 + (a + b) / u0) }
    }),
  ])
}

/** Ways to put values in twos: all of up to four; of more, the outermost with each other or neighbours with each other. */
function twosOf(values: readonly number[]): [number, number][][] {
  if (values.length < 2) return [[]]
  const [first, ...rest] = values
  if (values.length > 4) {
    const half = values.length >> 1
    return [
      Array.from({ length: half }, (_, k): [number, number] => [values[k], values[values.length - 1 - k]]),
      Array.from({ length: half }, (_, k): [number, number] => [values[2 * k], values[2 * k + 1]]),
    ]
  }
  return rest.flatMap((mate, k) =>
    twosOf(rest.filter((_, m) => m !== k)).map((others): [number, number][] => [[first, mate], ...others]),
  )
}
