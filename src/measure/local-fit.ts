/**
 * What a stretch should hold, from what stands around it: the least-squares fit of the played signal with a level and
 * phase that change slowly.
 *
 * For each tone or sweep and each of its harmonics: sum over k of (a_k cos + b_k sin)(order × phase) × P_k(t), with
 * Chebyshev polynomials P_k over the fitted span; and a slow curve in each span. A response that is short against the span only moves the slow part, so
 * no response has to be known. Solved by the normal equations (Cholesky), which the bounded polynomials keep well conditioned.
 */
import type { Stretch } from './stretches.js'

/** Samples of the take, the last one not included. */
export interface Span {
  readonly from: number
  readonly to: number
}

export interface LocalFit {
  readonly at: (sample: number) => number
  /** The same level with other phases than the stretch has there. */
  readonly withPhases: (sample: number, phasesRad: readonly number[]) => number
  /** Complex level of the first tone's fundamental at a sample: peak and phase against the played one. */
  readonly levelAt: (sample: number) => { readonly re: number; readonly im: number }
  /** Rms of what is left, with the fit's degrees of freedom taken off. */
  readonly rms: number
  /** Rms of what is left in each of the fitted spans. */
  readonly spanRms: readonly number[]
}

/** Degrees of the polynomials: how fast a level may change. */
export type Stiffness = 'stiff' | 'loose'
const SWEEP_DEGREES = { stiff: [2, 1, 1, 0, 0], loose: [5, 2, 2, 1, 1] } as const
const TONE_DEGREES = { stiff: [0, 0, 0], loose: [1, 0, 0] } as const
const TONE_ORDERS = 8
/** A constant, and what coupling capacitors make of what happened before: a slow curve, in each span its own. */
const DRIFT_TERMS = 3
const QUICK_SAMPLES = 1000

interface Term {
  readonly carrier: number
  readonly order: number
  readonly degree: number
}

/**
 * @param spans one or two in which the signal is as it should be; what lies between them may be asked for
 * @param isQuick some hundred samples of a span will do: for trying many places
 * @returns null where there are too few samples to say anything
 */
export function fitAround(
  channel: Float32Array,
  stretch: Stretch,
  spans: readonly Span[],
  samplesPerS: number,
  stiffness: Stiffness,
  isQuick = false,
): LocalFit | null {
  const used = spans.filter(({ from, to }) => to > from)
  if (used.length === 0) return null
  const [first, last] = [Math.min(...used.map(({ from }) => from)), Math.max(...used.map(({ to }) => to))]
  const length = used.reduce((sum, { from, to }) => sum + to - from, 0)
  const step = isQuick ? Math.max(1, Math.floor(length / QUICK_SAMPLES)) : 1
  const count = Math.floor(length / step)
  const terms = termsOf(stretch, (first + last) / 2, samplesPerS, stiffness)
  const driftTerms = DRIFT_TERMS * used.length
  const size = driftTerms + terms.reduce((sum, { degree }) => sum + 2 * (degree + 1), 0)
  if (count < 2 * size) return null
  const middle = (first + last) / 2
  const half = Math.max(1, (last - first) / 2)
  const row = new Float64Array(size)
  const fill = (sample: number, phases: readonly number[]): void =>
    fillRow(row, driftTerms, rightShare(used, sample), terms, phases, (sample - middle) / half)

  const normal = new Float64Array(size * size)
  const right = new Float64Array(size)
  for (const { from, to } of used) {
    for (let n = from; n < to; n += step) {
      fill(n, stretch.phasesRad(n))
      for (let i = 0; i < size; i++) {
        const value = row[i]
        right[i] += value * channel[n]
        for (let j = 0; j <= i; j++) normal[i * size + j] += value * row[j]
      }
    }
  }
  const weights = solve(normal, right, size)
  const withPhases = (sample: number, phases: readonly number[]): number => {
    fill(sample, phases)
    let sum = 0
    for (let i = 0; i < size; i++) sum += weights[i] * row[i]
    return sum
  }
  const at = (sample: number): number => withPhases(sample, stretch.phasesRad(sample))
  const squares = used.map(({ from, to }) => {
    let sum = 0
    for (let n = from; n < to; n += step) sum += (channel[n] - at(n)) ** 2
    return sum
  })
  return {
    at,
    withPhases,
    levelAt: (sample) => {
      let [re, im, i] = [0, 0, driftTerms]
      const t = (sample - middle) / half
      for (let k = 0; k <= (terms[0]?.degree ?? -1); k++, i += 2) {
        re += weights[i] * chebyshev(k, t)
        im -= weights[i + 1] * chebyshev(k, t)
      }
      return { re, im }
    },
    rms: Math.sqrt(squares.reduce((a, b) => a + b, 0) / (count - size)),
    spanRms: squares.map((sum, i) => Math.sqrt((sum * step) / (used[i].to - used[i].from))),
  }
}

/** Tones and their harmonics below 0.45 of the rate; each combination once. */
function termsOf(stretch: Stretch, sample: number, samplesPerS: number, stiffness: Stiffness): Term[] {
  const degrees = stretch.isSweep ? SWEEP_DEGREES[stiffness] : TONE_DEGREES[stiffness]
  const terms: Term[] = []
  stretch.freqsHz(sample).forEach((hz, carrier) => {
    for (let order = 1; order <= (stretch.isSweep ? degrees.length : TONE_ORDERS); order++) {
      // Harmonics of a sweep rise with it; one that leaves the band within the span is left out.
      if (order > 1 && order * hz > (stretch.isSweep ? 0.35 : 0.45) * samplesPerS) break
      terms.push({ carrier, order, degree: degrees[order - 1] ?? 0 })
    }
  })
  return terms
}

/** 0 in the first span, 1 in the second, and in a straight line from one to the other. */
function rightShare(used: readonly Span[], sample: number): number {
  if (used.length < 2) return 0
  const [left, right] = used
  return Math.min(1, Math.max(0, (sample - left.to) / Math.max(1, right.from - left.to)))
}

function fillRow(
  row: Float64Array,
  driftTerms: number,
  later: number,
  terms: readonly Term[],
  phases: readonly number[],
  t: number,
): void {
  for (let k = 0; k < DRIFT_TERMS; k++) {
    row[k] = (1 - later) * chebyshev(k, t)
    if (driftTerms > DRIFT_TERMS) row[DRIFT_TERMS + k] = later * chebyshev(k, t)
  }
  let i = driftTerms
  for (const { carrier, order, degree } of terms) {
    const [c, s] = [Math.cos(order * phases[carrier]), Math.sin(order * phases[carrier])]
    for (let k = 0; k <= degree; k++) {
      const p = chebyshev(k, t)
      row[i++] = p * c
      row[i++] = p * s
    }
  }
}

function chebyshev(k: number, t: number): number {
  if (k === 0) return 1
  let [before, now] = [1, t]
  for (let j = 1; j < k; j++) [before, now] = [now, 2 * t * now - before]
  return now
}

/** Cholesky; a trace of the diagonal is added, so that terms which are alike share instead of cancelling. */
function solve(normal: Float64Array, right: Float64Array, size: number): Float64Array {
  let trace = 0
  for (let i = 0; i < size; i++) trace += normal[i * size + i]
  for (let i = 0; i < size; i++) normal[i * size + i] += (1e-12 * trace) / size
  for (let i = 0; i < size; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = normal[i * size + j]
      for (let k = 0; k < j; k++) sum -= normal[i * size + k] * normal[j * size + k]
      normal[i * size + j] = i === j ? Math.sqrt(Math.max(sum, Number.MIN_VALUE)) : sum / normal[j * size + j]
    }
  }
  const out = Float64Array.from(right)
  for (let i = 0; i < size; i++) {
    for (let k = 0; k < i; k++) out[i] -= normal[i * size + k] * out[k]
    out[i] /= normal[i * size + i]
  }
  for (let i = size - 1; i >= 0; i--) {
    for (let k = i + 1; k < size; k++) out[i] -= normal[k * size + i] * out[k]
    out[i] /= normal[i * size + i]
  }
  return out
}
