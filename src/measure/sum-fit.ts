/**
 * Settings of summed outputs, made flattest by least squares on the level in dB, and how sure they are.
 *
 * Unknowns are delay and gain of every part but the first; the residual is the level less its mean over the points.
 */
import { solve } from '../dsp/solve.js'
import { DB_PER_NEPER } from '../units/level.js'
import { GRID_HZ } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import { type Complexes, complexes, meanOf, type Part, type Setting, type Sum, sumAt } from './summed.js'

const PASSES = 30
/** Steps end when they change nothing: 0.1 ns and 1e-6 dB. */
const ENOUGH = { delayS: 1e-10, gainDb: 1e-6 } as const
/** A part is not turned down or up by more than this to hide it. */
const GAIN_DB_MAX = 20

/** One unknown: of which part, and whether it is its delay or its gain. */
interface Unknown {
  readonly k: number
  readonly isDelay: boolean
}

/** Settings near those given that make the sum flattest: damped Gauss-Newton steps (Levenberg, 1944; Marquardt, 1963). */
export function flattened(
  parts: readonly Part[],
  start: readonly Setting[],
  indices: readonly number[],
): readonly Setting[] {
  const unknowns = unknownsOf(start)
  if (unknowns.length === 0) return start
  let settings = start
  let sum = sumAt(parts, settings, indices)
  let damping = 1e-3
  for (let pass = 0; pass < PASSES && damping < 1e9; pass++) {
    const residual = centred(sum.levelDb)
    const slopes = unknowns.map((unknown) => slopeOf(ratioOf(unknown, sum, indices)))
    const normal = unknowns.map((unknown, p) =>
      unknowns.map((_, q) => {
        const product = dot(slopes[p], slopes[q])
        // Parts in phase: a delay changes nothing at first. Its size stands in, so that the equations stay sound.
        return p === q ? product * (1 + damping) + 1e-9 * sizeOf(unknown, indices) : product
      }),
    )
    const rest = slopes.map((slope) => -dot(slope, residual))
    const step = solve(normal, rest)
    if (!step) break
    const next = moved(settings, unknowns, step)
    const nextSum = sumAt(parts, next, indices)
    if (nextSum.rmsDb > sum.rmsDb) {
      damping = Math.max(damping, 1e-6) * 8
      continue
    }
    settings = next
    sum = nextSum
    damping *= 0.2
    if (unknowns.every(({ isDelay }, p) => Math.abs(step[p]) < (isDelay ? ENOUGH.delayS : ENOUGH.gainDb))) break
  }
  return settings
}

const unknownsOf = (settings: readonly Setting[]): Unknown[] =>
  settings.flatMap(({ isDelayFree, isGainFree }, k) => [
    ...(k > 0 && isDelayFree ? [{ k, isDelay: true }] : []),
    ...(k > 0 && isGainFree ? [{ k, isDelay: false }] : []),
  ])

/** Square of a slope as large as an unknown's can be, over all points. */
const sizeOf = ({ isDelay }: Unknown, indices: readonly number[]): number =>
  indices.length * (isDelay ? (DB_PER_NEPER * 2 * Math.PI * GRID_HZ[indices.at(-1)!]) ** 2 : 1)

function moved(settings: readonly Setting[], unknowns: readonly Unknown[], step: readonly number[]): Setting[] {
  const out = settings.map((setting) => ({ ...setting }))
  unknowns.forEach(({ k, isDelay }, p) => {
    if (isDelay) out[k].delayS += step[p]
    else out[k].gainDb = Math.max(-GAIN_DB_MAX, Math.min(GAIN_DB_MAX, out[k].gainDb + step[p]))
  })
  return out
}

function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0
  for (let n = 0; n < a.length; n++) sum += a[n] * b[n]
  return sum
}

function centred(values: Float64Array): Float64Array {
  const mean = meanOf(values)
  return values.map((value) => value - mean)
}

/** What a derivative along the unknown multiplies its part by, at a point: -j 2 pi f for a delay, ln 10 / 20 for a gain. */
const factorOf = ({ isDelay }: Unknown, i: number): readonly [re: number, im: number] =>
  isDelay ? [0, -2 * Math.PI * GRID_HZ[i]] : [1 / DB_PER_NEPER, 0]

/** (dS / d unknown) / S at every point. */
function ratioOf(unknown: Unknown, sum: Sum, indices: readonly number[]): Complexes {
  const part = sum.parts[unknown.k]
  const out = complexes(indices.length)
  for (let n = 0; n < indices.length; n++) {
    const re = (part.re[n] * sum.re[n] + part.im[n] * sum.im[n]) / sum.power[n]
    const im = (part.im[n] * sum.re[n] - part.re[n] * sum.im[n]) / sum.power[n]
    const [a, b] = factorOf(unknown, indices[n])
    out.re[n] = re * a - im * b
    out.im[n] = re * b + im * a
  }
  return out
}

/** Slope of the level less its mean, dB. */
const slopeOf = (ratio: Complexes): Float64Array => centred(ratio.re.map((value) => DB_PER_NEPER * value))

/**
 * Standard uncertainties of the settings from the noise of each part's response.
 *
 * At the flattest setting the gradient is 0; noise moves it, and the inverse of the cost's curvature says how far the setting
 * follows (implicit function theorem). All terms are kept, for a sum that no setting makes flat.
 */
export function settingsU(
  parts: readonly Part[],
  settings: readonly Setting[],
  indices: readonly number[],
): readonly { readonly delayU: number; readonly gainU: number }[] {
  const unknowns = unknownsOf(settings)
  const sum = sumAt(parts, settings, indices)
  const residual = centred(sum.levelDb)
  const ratios = unknowns.map((unknown) => ratioOf(unknown, sum, indices))
  const slopes = ratios.map(slopeOf)
  const curvature = unknowns.map((one, p) =>
    unknowns.map((other, q) => {
      let total = dot(slopes[p], slopes[q])
      for (let n = 0; n < indices.length; n++) {
        const [pr, pi, qr, qi] = [ratios[p].re[n], ratios[p].im[n], ratios[q].re[n], ratios[q].im[n]]
        const [fr, fi] = factorOf(one, indices[n])
        // Second derivative of S over S, for two unknowns of one part; none for two parts.
        const second = one.k === other.k ? fr * qr - fi * qi : 0
        total += residual[n] * DB_PER_NEPER * (second - (pr * qr - pi * qi))
      }
      return total
    }),
  )
  const rows = unknowns.map((_, p) =>
    solve(
      curvature,
      unknowns.map((_, q) => (p === q ? 1 : 0)),
    ),
  )
  const first = indices[0]
  const count = indices.at(-1)! - first + 1
  const variances = unknowns.map(() => 0)
  parts.forEach((part, k) => {
    // How each unknown's gradient follows this part's noise: the real part of a coefficient times the noise, point by point.
    const gradients = unknowns.map((unknown, p) => {
      const out = complexes(count)
      for (let n = 0; n < indices.length; n++) {
        const [fr, fi] = unknown.k === k ? factorOf(unknown, indices[n]) : [0, 0]
        const xr = slopes[p][n] + residual[n] * (fr - ratios[p].re[n])
        const xi = residual[n] * (fi - ratios[p].im[n])
        const [c, s] = [sum.rotors[k].re[n], sum.rotors[k].im[n]]
        const yr = (c * sum.re[n] + s * sum.im[n]) / sum.power[n]
        const yi = (s * sum.re[n] - c * sum.im[n]) / sum.power[n]
        out.re[indices[n] - first] = DB_PER_NEPER * (xr * yr - xi * yi)
        out.im[indices[n] - first] = DB_PER_NEPER * (xr * yi + xi * yr)
      }
      return out
    })
    rows.forEach((row, p) => {
      if (!row) return
      const { re, im } = complexes(count)
      gradients.forEach((gradient, q) => {
        for (let n = 0; n < count; n++) {
          re[n] += row[q] * gradient.re[n]
          im[n] -= row[q] * gradient.im[n]
        }
      })
      variances[p] += varianceOfSum(first, re, im, part.error)
    })
  })
  const uncertaintyOf = (k: number, isDelay: boolean): number => {
    const p = unknowns.findIndex((unknown) => unknown.k === k && unknown.isDelay === isDelay)
    if (p < 0) return 0
    return rows[p] ? Math.sqrt(variances[p]) : Number.POSITIVE_INFINITY
  }
  return settings.map((_, k) => ({ delayU: uncertaintyOf(k, true), gainU: uncertaintyOf(k, false) }))
}
