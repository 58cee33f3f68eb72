/**
 * Least squares over all parameters of a chain at once: level, peaking and shelving sections, band edges.
 *
 * Parameters in a row: level (dB); for each section gain (dB), ln f0, ln Q; for each edge ln corner. Shelves are fitted
 * as low shelves: a high shelf of the opposite gain is the same curve at another level.
 */
import { multiplySection, type SectionSlopes, warpedSquares } from '../dsp/cookbook.js'
import { dot } from '../dsp/dot.js'
import { room } from '../dsp/room.js'
import { type EdgeAxis, type EdgeFilter, multiplyEdge } from './edge-filters.js'

export type Part = { readonly kind: 'peaking' | 'low_shelf' } | { readonly kind: 'edge'; readonly edge: EdgeFilter }

/** A chain and its parameters, level first. */
export interface Chain {
  readonly parts: readonly Part[]
  readonly values: readonly number[]
}

/** A curve to be fitted: levels on an axis, and one over the standard deviation that each is given. */
export interface FitData extends EdgeAxis {
  readonly freqHz: Float64Array
  readonly levelDb: Float64Array
  readonly rootWeight: Float64Array
}

export interface Fitted extends Chain {
  /** Weighted sum of squares. */
  readonly misfit: number
}

export const sizeOf = (part: Part): number => (part.kind === 'edge' ? 1 : 3)

/** Place of a part's first parameter. */
export const placeOf = ({ parts }: Chain, index: number): number =>
  parts.slice(0, index).reduce((place, part) => place + sizeOf(part), 1)

export function axisOf(freqHz: Float64Array, sampleRateHz: number): EdgeAxis {
  return { squares: freqHz.map((hz) => hz * hz), warped: warpedSquares(freqHz, sampleRateHz), sampleRateHz }
}

const MOST_POINTS = 1024

/** Arrays for one value of each point; what is in them is gone at the next fit. */
const column = (name: string, count: number): Float64Array =>
  count <= MOST_POINTS
    ? room(`equaliser ${name}`, MOST_POINTS).subarray(0, count)
    : room(`equaliser ${name} ${count}`, count)

/**
 * Level of a chain (dB), and if wanted its slopes against each parameter, unweighted.
 * @param levelDb written over
 */
export function chainDb(
  { parts, values }: Chain,
  axis: EdgeAxis,
  levelDb: Float64Array,
  slopes: readonly Float64Array[] | null,
): void {
  // Powers are multiplied and taken to dB once: logarithms are most of the cost.
  levelDb.fill(10 ** (values[0] / 10))
  slopes?.[0].fill(1)
  let at = 1
  for (const part of parts) {
    if (part.kind === 'edge') {
      multiplyEdge(part.edge, Math.exp(values[at]), axis, levelDb, slopes?.[at])
    } else {
      const freqHz = Math.exp(values[at + 1])
      const section = { kind: part.kind, gainDb: values[at], freqHz, q: Math.exp(values[at + 2]) }
      const bySection: SectionSlopes | null = slopes && {
        perGainDb: slopes[at],
        perLnFreq: slopes[at + 1],
        perLnQ: slopes[at + 2],
      }
      multiplySection(section, axis.warped, axis.sampleRateHz, levelDb, bySection)
    }
    at += sizeOf(part)
  }
  for (let i = 0; i < levelDb.length; i++) levelDb[i] = DB_FROM_LN_POWER * Math.log(levelDb[i])
}

const DB_FROM_LN_POWER = 10 / Math.LN10

/** What is left (dB), unweighted. */
export function residualOf(chain: Chain, data: FitData): Float64Array {
  const residual = new Float64Array(data.levelDb.length)
  chainDb(chain, data, residual, null)
  for (let i = 0; i < residual.length; i++) residual[i] = data.levelDb[i] - residual[i]
  return residual
}

export function misfitOf(chain: Chain, data: FitData): number {
  const model = column('model', data.levelDb.length)
  chainDb(chain, data, model, null)
  let sum = 0
  for (let i = 0; i < model.length; i++) sum += ((data.levelDb[i] - model[i]) * data.rootWeight[i]) ** 2
  return sum
}

/** Slopes of the weighted curve against each parameter. The arrays are used again by the next call. */
export function weightedSlopes(chain: Chain, data: FitData): Float64Array[] {
  const count = data.levelDb.length
  const slopes = chain.values.map((_, k) => column(`slope ${k}`, count))
  chainDb(chain, data, column('model', count), slopes)
  for (const slope of slopes) for (let i = 0; i < count; i++) slope[i] *= data.rootWeight[i]
  return slopes
}

const LIMITS = { gainDb: [-24, 24], q: [0.15, 20] } as const
/** How far beyond the curve's ends a section or an edge may lie: what is further off is not seen. */
const BEYOND = 1.2
/** Couplings and output stages: outside of the audio band, or they would be band edges. */
const GENTLE_HZ = { low: [0.2, 12], high: [12_000, 500_000] } as const

function kept(parts: readonly Part[], values: number[], { freqHz, sampleRateHz }: FitData): number[] {
  const within = (value: number, low: number, high: number): number => Math.min(high, Math.max(low, value))
  const lnFrom = Math.log(freqHz[0] / BEYOND)
  const lnTo = Math.log(Math.min(0.49 * sampleRateHz, freqHz[freqHz.length - 1] * BEYOND))
  let at = 1
  for (const part of parts) {
    if (part.kind === 'edge') {
      const { isAnalog, side } = part.edge
      const [from, to] = isAnalog ? GENTLE_HZ[side].map(Math.log) : [lnFrom, lnTo]
      values[at] = within(values[at], from, to)
    } else {
      values[at] = within(values[at], ...LIMITS.gainDb)
      values[at + 1] = within(values[at + 1], lnFrom, lnTo)
      values[at + 2] = within(values[at + 2], Math.log(LIMITS.q[0]), Math.log(LIMITS.q[1]))
    }
    at += sizeOf(part)
  }
  return values
}

/** A step that gains less than this share of the misfit, or this much of it, is the last. */
const SETTLED = { share: 1e-5, misfit: 1e-3 } as const

/**
 * Levenberg and Marquardt's least squares over all parameters, from where the chain stands.
 * Source: D. W. Marquardt, J. SIAM 11(2), 431 (1963).
 */
export function fitted(start: Chain, data: FitData, stepsMax: number): Fitted {
  const { parts } = start
  const { levelDb, rootWeight } = data
  const count = levelDb.length
  const size = start.values.length
  const [left, pull] = [column('left', count), new Float64Array(size)]
  const [damped, move] = [new Float64Array(size * size), new Float64Array(size)]
  let values = kept(parts, [...start.values], data)
  let misfit = misfitOf({ parts, values }, data)
  let damping = 1e-3
  for (let step = 0; step < stepsMax; step++) {
    const slopes = weightedSlopes({ parts, values }, data)
    const model = column('model', count)
    for (let i = 0; i < count; i++) left[i] = (levelDb[i] - model[i]) * rootWeight[i]
    const normal = productsOf(slopes)
    for (let k = 0; k < size; k++) pull[k] = dot(slopes[k], left)
    let gained = 0
    for (let tries = 0; tries < 6 && gained === 0; tries++) {
      damped.set(normal)
      for (let k = 0; k < size; k++) damped[k * size + k] += damping * normal[k * size + k] + 1e-12
      move.set(pull)
      let nextMisfit = Number.POSITIVE_INFINITY
      if (solve(damped, move)) {
        const next = kept(
          parts,
          values.map((value, k) => value + move[k]),
          data,
        )
        nextMisfit = misfitOf({ parts, values: next }, data)
        if (nextMisfit < misfit) {
          gained = misfit - nextMisfit
          values = next
          misfit = nextMisfit
        }
      }
      damping = gained > 0 ? Math.max(1e-9, damping / 10) : 10 * damping
    }
    if (gained <= SETTLED.misfit + SETTLED.share * misfit) break
  }
  return { parts, values, misfit }
}

/** Scalar products of columns with each other: a symmetric matrix, row after row. */
export function productsOf(columns: readonly Float64Array[]): Float64Array {
  const size = columns.length
  const out = new Float64Array(size * size)
  for (let k = 0; k < size; k++) {
    for (let m = 0; m <= k; m++) out[k * size + m] = out[m * size + k] = dot(columns[k], columns[m])
  }
  return out
}

/**
 * Solves M x = y for a symmetric positive M by Cholesky's triangle, in place: M becomes the triangle, y the solution.
 * @returns false where M is not positive
 */
function solve(matrix: Float64Array, x: Float64Array): boolean {
  const size = x.length
  if (!triangulate(matrix, size)) return false
  substitute(matrix, x)
  return true
}

function triangulate(matrix: Float64Array, size: number): boolean {
  for (let k = 0; k < size; k++) {
    for (let m = 0; m <= k; m++) {
      let sum = matrix[k * size + m]
      for (let j = 0; j < m; j++) sum -= matrix[k * size + j] * matrix[m * size + j]
      if (k !== m) matrix[k * size + m] = sum / matrix[m * size + m]
      else if (sum > 0) matrix[k * size + k] = Math.sqrt(sum)
      else return false
    }
  }
  return true
}

function substitute(triangle: Float64Array, x: Float64Array): void {
  const size = x.length
  for (let k = 0; k < size; k++) {
    for (let j = 0; j < k; j++) x[k] -= triangle[k * size + j] * x[j]
    x[k] /= triangle[k * size + k]
  }
  for (let k = size - 1; k >= 0; k--) {
    for (let j = k + 1; j < size; j++) x[k] -= triangle[j * size + k] * x[j]
    x[k] /= triangle[k * size + k]
  }
}

/** Inverse of a symmetric positive matrix; a weak diagonal is added where rounding has made it singular. */
export function inverseOf(matrix: Float64Array, size: number): Float64Array {
  // Scaled to ones on the diagonal: a dB, an octave and a Q differ in size.
  const scale = Float64Array.from({ length: size }, (_, k) => 1 / Math.sqrt(Math.max(matrix[k * size + k], 1e-300)))
  const even = matrix.map((value, at) => value * scale[Math.floor(at / size)] * scale[at % size])
  let triangle = even.slice()
  for (let ridge = 1e-13; !triangulate(triangle, size); ridge *= 10) {
    triangle = even.map((value, at) => (at % (size + 1) === 0 ? value + ridge : value))
  }
  const out = new Float64Array(size * size)
  for (let k = 0; k < size; k++) {
    const unit = new Float64Array(size)
    unit[k] = 1
    substitute(triangle, unit)
    for (let m = 0; m < size; m++) out[k * size + m] = unit[m] * scale[k] * scale[m]
  }
  return out
}
