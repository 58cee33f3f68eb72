/**
 * How noise in a response on the grid adds up: the uncertainty of any sum over grid points.
 *
 * A response is cut out of a stretch of time, so noise at frequencies nearer than about 2 Hz to each other is alike:
 * below 100 Hz many grid points share one error. Two points differ by what the window's square lets through,
 * R(d) = ∫ w²(t) exp(-j 2 pi d t) dt / ∫ w²(t) dt. Times count from the centre of the response.
 */

import { GRID_HZ } from './grid.js'
import { RESPONSE_WINDOW_S } from './response-window.js'

/** Further apart than this, noise has nothing in common: less than 1 %. */
const REACH_HZ = 18
const STEP_S = 0.002

/** The window's square at the middles of steps of STEP_S, of sum 1. */
const SQUARE = windowSquare()

function windowSquare(): readonly { readonly tS: number; readonly weight: number }[] {
  const count = Math.round((RESPONSE_WINDOW_S.before + RESPONSE_WINDOW_S.after) / STEP_S)
  const square = Array.from({ length: count }, (_, n) => {
    const tS = -RESPONSE_WINDOW_S.before + (n + 0.5) * STEP_S
    const edge = Math.min(
      (tS + RESPONSE_WINDOW_S.before) / RESPONSE_WINDOW_S.rise,
      (RESPONSE_WINDOW_S.after - tS) / RESPONSE_WINDOW_S.fall,
      1,
    )
    return { tS, weight: (0.5 - 0.5 * Math.cos(Math.PI * edge)) ** 2 }
  })
  const whole = square.reduce((sum, { weight }) => sum + weight, 0)
  return square.map(({ tS, weight }) => ({ tS, weight: weight / whole }))
}

/** What noise at two frequencies has in common, E[n(f + d) n*(f)] over its power. */
export function correlationAt(differenceHz: number): { readonly re: number; readonly im: number } {
  let [re, im] = [0, 0]
  for (const { tS, weight } of SQUARE) {
    const turn = -2 * Math.PI * differenceHz * tS
    re += weight * Math.cos(turn)
    im += weight * Math.sin(turn)
  }
  return { re, im }
}

/** The same of each grid point i with those above it within reach: from start[i] up to start[i + 1]. Made when first asked for. */
let pairs: { readonly start: Int32Array; readonly re: Float64Array; readonly im: Float64Array } | null = null

function gridPairs(): NonNullable<typeof pairs> {
  if (pairs) return pairs
  // The function is smooth over a twentieth of a hertz: a table of it, and a line between its values.
  const stepHz = 0.05
  const table = Array.from({ length: Math.ceil(REACH_HZ / stepHz) + 2 }, (_, k) => correlationAt(k * stepHz))
  const start = new Int32Array(GRID_HZ.length + 1)
  const [re, im]: number[][] = [[], []]
  for (let i = 0; i < GRID_HZ.length; i++) {
    start[i] = re.length
    for (let j = i + 1; j < GRID_HZ.length && GRID_HZ[j] - GRID_HZ[i] < REACH_HZ; j++) {
      const place = (GRID_HZ[j] - GRID_HZ[i]) / stepHz
      const k = Math.floor(place)
      re.push(table[k].re + (place - k) * (table[k + 1].re - table[k].re))
      im.push(table[k].im + (place - k) * (table[k + 1].im - table[k].im))
    }
  }
  start[GRID_HZ.length] = re.length
  pairs = { start, re: Float64Array.from(re), im: Float64Array.from(im) }
  return pairs
}

/**
 * Variance of the sum of Re(conj(a) n) over the noise n of neighbouring grid points, phases counted from the window's centre.
 *
 * @param first index on GRID_HZ of the first coefficient
 * @param aRe, aIm coefficients, one for each point from there on
 * @param error rms of the noise's complex values, on GRID_HZ
 */
export function varianceOfSum(
  first: number,
  aRe: ArrayLike<number>,
  aIm: ArrayLike<number>,
  error: Float64Array,
): number {
  const { start, re, im } = gridPairs()
  const count = aRe.length
  let variance = 0
  for (let i = 0; i < count; i++) {
    const scale = error[first + i]
    const [xr, xi] = [aRe[i] * scale, aIm[i] * scale]
    variance += 0.5 * (xr * xr + xi * xi)
    const from = start[first + i]
    const last = Math.min(count - 1 - i, start[first + i + 1] - from)
    for (let k = 0; k < last; k++) {
      const j = i + 1 + k
      const other = error[first + j]
      const [yr, yi] = [aRe[j] * other, aIm[j] * other]
      // E[n_i n_j*] is the conjugate of the table's value.
      variance += (xr * yr + xi * yi) * re[from + k] + (xr * yi - xi * yr) * im[from + k]
    }
  }
  return variance
}

/** Variance of the sum of w |n|² over neighbouring grid points: what power of noise alone varies by. */
export function varianceOfNoisePower(first: number, weights: ArrayLike<number>, error: Float64Array): number {
  const { start, re, im } = gridPairs()
  let variance = 0
  for (let i = 0; i < weights.length; i++) {
    const own = weights[i] * error[first + i] ** 2
    variance += own * own
    const from = start[first + i]
    const last = Math.min(weights.length - 1 - i, start[first + i + 1] - from)
    for (let k = 0; k < last; k++) {
      const j = i + 1 + k
      const common = re[from + k] ** 2 + im[from + k] ** 2
      variance += 2 * own * weights[j] * error[first + j] ** 2 * common
    }
  }
  return variance
}

/** Low down, a third of an octave holds two or three independent values of noise: too few for a level. */
const STEADY_HZ = 15
const STEADY_UP_TO_HZ = 150

/**
 * The rms error of each grid point over at least ±15 Hz: below 150 Hz a third of an octave is too narrow for a noise level
 * that an uncertainty can stand on. A hum line that stands out of its neighbourhood stays in.
 */
export function steadyError(error: Float64Array): Float64Array {
  const grid = GRID_HZ
  const out = error.slice()
  let [from, to] = [0, 0]
  for (let i = 0; i < grid.length && grid[i] <= STEADY_UP_TO_HZ; i++) {
    while (grid[from] < grid[i] - STEADY_HZ) from++
    while (to < grid.length && grid[to] <= grid[i] + STEADY_HZ) to++
    let [sum, width] = [0, 0]
    for (let k = from; k < to; k++) {
      sum += grid[k] * error[k] ** 2
      width += grid[k]
    }
    out[i] = Math.sqrt(Math.max(sum / width, 0.5 * error[i] ** 2))
  }
  return out
}
