/**
 * The response of an output to the sides that it hears, and the mask that its map entry asks for.
 *
 * dB re the reference frequency, smoothed over a twelfth of an octave (power), 24 points an octave.
 */
import type { OutputSpec } from '../job/job.js'
import type { Transfer } from './analysis.js'
import { COVERAGE_FACTOR, dbFromRelative } from './estimate.js'
import { GRID_HZ, gridIndex } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import { weighted } from './heard.js'

export interface ResponseCurve {
  readonly freqHz: readonly number[]
  readonly levelDb: readonly number[]
  /** Expanded uncertainty of each point against the reference, from noise and the cut of the response, dB. */
  readonly uDb: readonly number[]
  readonly referenceHz: number
}

export interface Mask {
  readonly minDb: readonly (number | null)[]
  readonly maxDb: readonly (number | null)[]
}

const SMOOTHING_REACH = 2
/** What the cut of the impulse response leaves, standard (tried without noise: up to 0.0001 dB). */
const WINDOW_DB = 0.00005
/** Lowest level that is worth a point; nothing is read below it. */
const BOTTOM_DB = -120

export function responseOf(transfer: Transfer, spec: OutputSpec): ResponseCurve {
  const { re, im, error } = weighted(transfer, spec.leftGain, spec.rightGain)
  const points = GRID_HZ.length
  /** Mean power about a point, and its relative standard uncertainty: |H|² moves by 2 Re(conj(H) n). */
  const smooth = (i: number): { power: number; relativeU: number } => {
    const first = Math.max(0, i - SMOOTHING_REACH)
    const last = Math.min(points - 1, i + SMOOTHING_REACH)
    let sum = 0
    for (let k = first; k <= last; k++) sum += re[k] * re[k] + im[k] * im[k]
    const variance = varianceOfSum(first, re.subarray(first, last + 1), im.subarray(first, last + 1), error)
    return { power: sum / (last - first + 1), relativeU: (2 * Math.sqrt(variance)) / Math.max(sum, Number.MIN_VALUE) }
  }
  const reference = smooth(gridIndex(spec.referenceHz))
  const indices: number[] = []
  for (let i = gridIndex(20); i <= gridIndex(20_000); i += 2) indices.push(i)
  const curve = indices.map(smooth)
  return {
    freqHz: indices.map((i) => GRID_HZ[i]),
    levelDb: curve.map(({ power }) => Math.max(BOTTOM_DB, 10 * Math.log10(power / reference.power))),
    // The reference is as uncertain as any other point; half the power's relative uncertainty is the amplitude's.
    uDb: curve.map(({ relativeU }) => {
      const noiseDb = dbFromRelative(0.5 * Math.hypot(relativeU, reference.relativeU))
      return COVERAGE_FACTOR * Math.hypot(noiseDb, WINDOW_DB)
    }),
    referenceHz: spec.referenceHz,
  }
}

/** Corner points of a limit: frequency and dB, joined by straight lines over log frequency. */
type Points = readonly (readonly [freqHz: number, levelDb: number])[]

/**
 * Limits for a response: flat within the tolerance well inside each corner, room for any usual filter around
 * it, and clearly down outside. The audio band's own ends may fall by 3 dB below 25 Hz and above 16 kHz.
 */
export function maskFor(spec: OutputSpec, toleranceDb: number, freqHz: readonly number[]): Mask {
  const { lowHz, highHz } = spec
  const lowPoints: Points =
    lowHz === null
      ? [
          [19.9, -3],
          [25, -toleranceDb],
        ]
      : [
          [lowHz, -7 - toleranceDb],
          [Math.min(3 * lowHz, spec.referenceHz), -toleranceDb],
        ]
  const highPoints: Points =
    highHz === null
      ? [
          [16_000, -toleranceDb],
          [20_100, -3],
        ]
      : [
          [Math.max(highHz / 3, spec.referenceHz), -toleranceDb],
          [highHz, -7 - toleranceDb],
        ]
  const lowOuter: Points =
    lowHz === null
      ? []
      : [
          [lowHz / 4, -10],
          [lowHz / 2, -3],
          [lowHz, toleranceDb],
        ]
  const highOuter: Points =
    highHz === null
      ? []
      : [
          [highHz, toleranceDb],
          [2 * highHz, -3],
          [4 * highHz, -10],
        ]
  const min = [...lowPoints, ...highPoints]
  const max: Points = [...lowOuter, [spec.referenceHz, toleranceDb], ...highOuter]
  return {
    minDb: freqHz.map((hz) => (hz < min[0][0] || hz > min.at(-1)![0] ? null : along(min, hz))),
    maxDb: freqHz.map((hz) => along(max, hz)),
  }
}

/** Value of a limit at a frequency; beyond its ends it goes on level. */
function along(points: Points, freqHz: number): number {
  if (freqHz <= points[0][0]) return points[0][1]
  for (let k = 1; k < points.length; k++) {
    const [[fromHz, fromDb], [toHz, toDb]] = [points[k - 1], points[k]]
    if (freqHz <= toHz) return fromDb + ((toDb - fromDb) * Math.log(freqHz / fromHz)) / Math.log(toHz / fromHz)
  }
  return points.at(-1)![1]
}
