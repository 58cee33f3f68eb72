/**
 * Looks for what a chain still lacks: one more section or a gentle edge, by what it would take off the misfit.
 *
 * Each candidate is its shape for a small gain. Whatever the chain could do itself by turning its parameters is taken out
 * of the shape first, so that a candidate is counted only for what is new in it.
 */
import { dot } from '../dsp/dot.js'
import { type Chain, type FitData, type Part, residualOf, weightedSlopes } from './equaliser-fit.js'

export interface Candidate {
  readonly part: Part
  readonly values: readonly number[]
  /** How much it would take off the misfit if it were linear. */
  readonly gain: number
}

const PEAK_QS = [0.5, 1, 2, 4, 8] as const
const SHELF_QS = [0.5, 0.8, 1.6, 4] as const
/** A sharp peak is half as wide as this step at Q 8. */
const STEP_OCTAVES = 1 / 8
const FIRST_GAIN_DB_MAX = 15
/** A shape that the chain can make up to this share of its power by itself is nothing new. */
const NEW_SHARE = 1e-4

/** @returns candidates of each sort, the best first, no two of them alike */
export function candidatesFor(chain: Chain, data: FitData, countMax: number): Candidate[] {
  const { freqHz, rootWeight, warped } = data
  const count = freqHz.length
  const basis = orthonormal(weightedSlopes(chain, data))
  const residual = residualOf(chain, data)
  for (let i = 0; i < count; i++) residual[i] *= rootWeight[i]
  for (const direction of basis) {
    const along = dot(direction, residual)
    for (let i = 0; i < count; i++) residual[i] -= along * direction[i]
  }
  const shape = new Float64Array(count)
  const found: Candidate[] = []
  /** Scores what is in shape; its amplitude comes out. */
  const tryShape = (part: Part, valuesFor: (amplitude: number) => number[] | null): void => {
    for (let i = 0; i < count; i++) shape[i] *= rootWeight[i]
    const power = dot(shape, shape)
    const pull = dot(shape, residual)
    let fresh = power
    for (const direction of basis) fresh -= dot(direction, shape) ** 2
    if (!(fresh > NEW_SHARE * power)) return
    const limit = part.kind === 'edge' ? Number.POSITIVE_INFINITY : FIRST_GAIN_DB_MAX
    const amplitude = Math.max(-limit, Math.min(limit, pull / fresh))
    const values = valuesFor(amplitude)
    if (values) found.push({ part, values, gain: amplitude * (2 * pull - amplitude * fresh) })
  }
  const sectionValues =
    (hz: number, q: number) =>
    (amplitude: number): number[] => [amplitude, Math.log(hz), Math.log(q)]

  const [bottomHz, topHz] = [freqHz[0], Math.min(freqHz[count - 1], 0.45 * data.sampleRateHz)]
  const stepCount = Math.floor(Math.log2(topHz / bottomHz) / STEP_OCTAVES)
  for (let step = 0; step <= stepCount; step++) {
    const hz = bottomHz * 2 ** (step * STEP_OCTAVES)
    const perSquare = 1 / Math.tan((Math.PI * hz) / data.sampleRateHz) ** 2
    for (const q of PEAK_QS) {
      if (q < 2 && step % 2 === 1) continue
      for (let i = 0; i < count; i++) {
        const u = warped[i] * perSquare
        shape[i] = u / (q * q * (1 - u) * (1 - u) + u)
      }
      tryShape({ kind: 'peaking' }, sectionValues(hz, q))
    }
    if (step % 2 === 1) continue
    for (const q of SHELF_QS) {
      for (let i = 0; i < count; i++) {
        const u = warped[i] * perSquare
        shape[i] = 0.5 * (1 + (1 - u * u) / ((1 - u) * (1 - u) + u / (q * q)))
      }
      tryShape({ kind: 'low_shelf' }, sectionValues(hz, q))
    }
  }
  for (const side of ['low', 'high'] as const) {
    if (chain.parts.some((part) => part.kind === 'edge' && part.edge.side === side)) continue
    const endSquare = side === 'low' ? data.squares[0] : data.squares[count - 1]
    for (let i = 0; i < count; i++) {
      shape[i] = side === 'low' ? -endSquare / data.squares[i] : -data.squares[i] / endSquare
    }
    tryShape({ kind: 'edge', edge: { side, order: 1, isSquared: false, isAnalog: true } }, (amplitude) => {
      if (amplitude <= 0) return null
      // For small v, 10 lg(1 + v) = 4.34 v.
      const ratio = Math.sqrt(amplitude / (10 / Math.LN10))
      return [Math.log(Math.sqrt(endSquare) * (side === 'low' ? ratio : 1 / ratio))]
    })
  }
  return distinct(found, countMax)
}

function distinct(found: readonly Candidate[], countMax: number): Candidate[] {
  const out: Candidate[] = []
  for (const one of [...found].sort((a, b) => b.gain - a.gain)) {
    if (out.length >= countMax) break
    if (!out.some((other) => areAlike(one, other))) out.push(one)
  }
  return out
}

/** Two starts that lead to the same place: the same sort of part, near in frequency and width. */
function areAlike(a: Candidate, b: Candidate): boolean {
  if (a.part.kind !== b.part.kind) return false
  if (a.part.kind === 'edge' || b.part.kind === 'edge') return a.part === b.part
  const octaves = Math.abs(a.values[1] - b.values[1]) / Math.LN2
  return octaves < 0.6 && Math.abs(a.values[2] - b.values[2]) < 1
}

/** Gram and Schmidt, twice over: the slopes of overlapping sections are nearly alike. */
function orthonormal(columns: readonly Float64Array[]): Float64Array[] {
  const out: Float64Array[] = []
  for (const column of columns) {
    const one = Float64Array.from(column)
    const before = Math.sqrt(dot(one, one))
    for (let pass = 0; pass < 2; pass++) {
      for (const other of out) {
        let along = 0
        for (let i = 0; i < one.length; i++) along += one[i] * other[i]
        for (let i = 0; i < one.length; i++) one[i] -= along * other[i]
      }
    }
    const size = Math.sqrt(dot(one, one))
    if (size <= 1e-7 * before) continue
    for (let i = 0; i < one.length; i++) one[i] /= size
    out.push(one)
  }
  return out
}
