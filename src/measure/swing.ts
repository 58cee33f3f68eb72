/** Swings in a series of readings: least squares at one rate or at the best one, with slow curves taken off. */
import { room } from '../dsp/room.js'

const RATE_HZ = [0.5, 20] as const
const RATE_STEP_HZ = 0.05

export interface Swing {
  readonly cosine: number
  readonly sine: number
  /** Mean square that it takes off, with a straight line beside it. */
  readonly power: number
}

export interface Rate {
  readonly rateHz: number
  /** Share that it explains of level and phase, and of the larger of both. */
  readonly levelShare: number
  readonly phaseShare: number
  readonly share: number
  readonly level: Swing
  readonly phase: Swing
}

export function bestRate(timeS: readonly number[], level: Float64Array, phase: Float64Array): Rate {
  const [levelPower, phasePower] = [meanSquare(level), meanSquare(phase)]
  const at = (rateHz: number): Rate => {
    const basis = basisAt(timeS, rateHz)
    const [l, p] = [swingAt(basis, level), swingAt(basis, phase)]
    const levelShare = l.power / Math.max(levelPower, 1e-30)
    const phaseShare = p.power / Math.max(phasePower, 1e-30)
    // What swings further, in units of the level (which a radian of phase is), decides.
    const share = (l.power + p.power) / Math.max(levelPower + phasePower, 1e-30)
    return { rateHz, levelShare, phaseShare, share, level: l, phase: p }
  }
  let best = at(RATE_HZ[0])
  for (let hz = RATE_HZ[0] + RATE_STEP_HZ; hz <= RATE_HZ[1]; hz += RATE_STEP_HZ) {
    const rate = at(hz)
    if (rate.share > best.share) best = rate
  }
  for (let step = RATE_STEP_HZ / 2; step > 1e-6; step /= 2) {
    for (const hz of [best.rateHz - step, best.rateHz + step]) {
      const rate = at(hz)
      if (rate.share > best.share) best = rate
    }
  }
  return best
}

/** A constant, time, cosine and sine of a rate at each reading, one after the other. */
function basisAt(timeS: readonly number[], rateHz: number): Float64Array {
  const basis = room('swing basis', 4 * timeS.length)
  const middle = (timeS[0] + timeS[timeS.length - 1]) / 2
  for (let i = 0; i < timeS.length; i++) {
    const t = timeS[i] - middle
    basis[4 * i] = 1
    basis[4 * i + 1] = t
    basis[4 * i + 2] = Math.cos(2 * Math.PI * rateHz * t)
    basis[4 * i + 3] = Math.sin(2 * Math.PI * rateHz * t)
  }
  return basis
}

/** Least-squares cosine and sine of a rate, with the straight line that was taken off fitted anew beside them. */
function swingAt(basis: Float64Array, values: Float64Array): Swing {
  const size = 4
  const m = new Float64Array(size * (size + 1))
  for (let i = 0; i < values.length; i++) {
    for (let a = 0; a < size; a++) {
      const own = basis[size * i + a]
      for (let b = 0; b < size; b++) m[a * (size + 1) + b] += own * basis[size * i + b]
      m[a * (size + 1) + size] += own * values[i]
    }
  }
  const solution = eliminated(m, size)
  let left = 0
  for (let i = 0; i < values.length; i++) {
    let rest = values[i]
    for (let a = 0; a < size; a++) rest -= solution[a] * basis[size * i + a]
    left += rest * rest
  }
  return { cosine: solution[2], sine: solution[3], power: Math.max(0, meanSquare(values) - left / values.length) }
}

/** Gauss with the normal equations' own order, which needs no pivot. */
function eliminated(m: Float64Array, size: number): Float64Array {
  const width = size + 1
  for (let i = 0; i < size; i++) {
    for (let k = i + 1; k < size; k++) {
      const factor = m[k * width + i] / (m[i * width + i] || 1e-30)
      for (let j = i; j < width; j++) m[k * width + j] -= factor * m[i * width + j]
    }
  }
  const out = new Float64Array(size)
  for (let i = size - 1; i >= 0; i--) {
    let sum = m[i * width + size]
    for (let k = i + 1; k < size; k++) sum -= m[i * width + k] * out[k]
    out[i] = sum / (m[i * width + i] || 1e-30)
  }
  return out
}

/** Less the straight line through it. */
export function straightened(timeS: readonly number[], values: readonly number[]): Float64Array {
  const count = values.length
  const [meanT, meanV] = [timeS, values].map((list) => list.reduce((a, b) => a + b, 0) / count)
  let [slope, weight] = [0, 0]
  for (let i = 0; i < count; i++) {
    slope += (timeS[i] - meanT) * (values[i] - meanV)
    weight += (timeS[i] - meanT) ** 2
  }
  return Float64Array.from(values, (value, i) => value - meanV - (slope / weight) * (timeS[i] - meanT))
}

/** Less the best curve of fourth degree: what a gain that is drawn back does, in two swings or less. */
export function bent(values: Float64Array): Float64Array {
  const degree = 4
  const size = degree + 1
  const m = new Float64Array(size * (size + 1))
  const at = (i: number, k: number): number => ((2 * i) / (values.length - 1) - 1) ** k
  for (let i = 0; i < values.length; i++) {
    for (let a = 0; a < size; a++) {
      for (let b = 0; b < size; b++) m[a * (size + 1) + b] += at(i, a) * at(i, b)
      m[a * (size + 1) + size] += at(i, a) * values[i]
    }
  }
  const solution = eliminated(m, size)
  return values.map((value, i) => solution.reduce((rest, part, k) => rest - part * at(i, k), value))
}

export const meanSquare = (values: Float64Array): number =>
  values.reduce((sum, value) => sum + value * value, 0) / values.length
