/**
 * Group delay against frequency: minus the slope of the phase over angular frequency.
 *
 * The response's phases count from its largest sample, so they turn little from one grid point to the next; that delay is added
 * again at the end. The slope is that of the cubic fitted to nine grid points (a sixth of an octave): the classic smoothing derivative.
 *
 * Source of the weights: A. Savitzky, M. J. E. Golay, Anal. Chem. 36(8), 1964; here from their closed form, the
 * least-squares cubic.
 */
import { GRID_HZ } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import type { Heard } from './heard.js'

export const GROUP_DELAY_METHOD = 'group delay, phase slope over 1/6 octave/1'

const REACH = 4
const CELL = Math.log(GRID_HZ[1] / GRID_HZ[0])
/** Magnitude over rms error from which the phase of a point stands for itself: 0.07 rad. */
const CLEAR = 10
/** Beyond, the sweeps fade. */
const KNOWN_HZ = [10, 21_500] as const

/** What reading the responses between the bins of their transforms leaves, standard (tried without noise). */
const LEAST_S = 0.02e-6

/** Derivative at the middle of the cubic through points -REACH to REACH, for a step of 1. */
const WEIGHTS = derivativeWeights()

function derivativeWeights(): Float64Array {
  const sum = (power: number): number => {
    let total = 0
    for (let k = -REACH; k <= REACH; k++) total += k ** power
    return total
  }
  const [two, four, six] = [sum(2), sum(4), sum(6)]
  return Float64Array.from({ length: 2 * REACH + 1 }, (_, n) => {
    const k = n - REACH
    return (six * k - four * k ** 3) / (two * six - four * four)
  })
}

export interface GroupDelay {
  /** Grid points about which the response stands clear of its noise. */
  readonly freqHz: readonly number[]
  /** Against the located start of the track. */
  readonly delayS: readonly number[]
  /** Standard uncertainty of each, from noise and from how the responses are read. */
  readonly delayU: readonly number[]
}

export function groupDelayOf(response: Heard): GroupDelay {
  const { re, im, error, centreS } = response
  const count = GRID_HZ.length
  const phaseRad = new Float64Array(count)
  // Unclear points so far: none in a stretch means that all of its phases stand.
  const unclear = new Int32Array(count + 1)
  for (let i = 0; i < count; i++) {
    const raw = Math.atan2(im[i], re[i])
    const before = i === 0 ? 0 : phaseRad[i - 1]
    phaseRad[i] = raw + 2 * Math.PI * Math.round((before - raw) / (2 * Math.PI))
    const isClear =
      GRID_HZ[i] >= KNOWN_HZ[0] && GRID_HZ[i] <= KNOWN_HZ[1] && Math.hypot(re[i], im[i]) > CLEAR * error[i]
    unclear[i + 1] = unclear[i] + (isClear ? 0 : 1)
  }
  const [freqHz, delayS, delayU]: number[][] = [[], [], []]
  const aRe = new Float64Array(2 * REACH + 1)
  const aIm = new Float64Array(2 * REACH + 1)
  for (let i = REACH; i < count - REACH; i++) {
    const first = i - REACH
    if (unclear[i + REACH + 1] !== unclear[first]) continue
    const scale = -1 / (2 * Math.PI * GRID_HZ[i] * CELL)
    let slope = 0
    for (let k = 0; k <= 2 * REACH; k++) {
      const n = first + k
      slope += WEIGHTS[k] * phaseRad[n]
      // Phase error: Im(n / H), the real part of conj(a) n with a = jH / |H|².
      const part = (scale * WEIGHTS[k]) / (re[n] ** 2 + im[n] ** 2)
      aRe[k] = -part * im[n]
      aIm[k] = part * re[n]
    }
    freqHz.push(GRID_HZ[i])
    delayS.push(centreS + scale * slope)
    delayU.push(Math.hypot(LEAST_S, Math.sqrt(varianceOfSum(first, aRe, aIm, error))))
  }
  return { freqHz, delayS, delayU }
}
