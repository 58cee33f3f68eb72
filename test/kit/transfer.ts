/** Responses from closed forms on the measuring grid, with a known error, for what is read from them. */
import type { Transfer } from '../../src/measure/analysis.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { type Filter, responseAt } from './biquad.js'
import { normalFrom } from './random.js'

export interface Path {
  readonly filter?: Filter
  /** Shares of the two source sides. */
  readonly left?: number
  readonly right?: number
  readonly delayS?: number
  /** Rms error of every complex value: its level (dB re 1), and the seed of what is added. */
  readonly errorDb?: number
  readonly seed?: number
}

export function transferBy({ filter = [], left = 1, right = 0, delayS = 0, errorDb = -120, seed = 1 }: Path): Transfer {
  const rms = 10 ** (errorDb / 20)
  const normal = normalFrom(seed)
  const [leftRe, leftIm, rightRe, rightIm] = [0, 1, 2, 3].map(() => new Float64Array(GRID_HZ.length))
  GRID_HZ.forEach((freqHz, i) => {
    const { re, im } = responseAt(filter, freqHz, 48_000)
    const turn = -2 * Math.PI * freqHz * delayS
    const [c, s] = [Math.cos(turn), Math.sin(turn)]
    const noise = (): number => rms * Math.SQRT1_2 * normal()
    leftRe[i] = left * (re * c - im * s) + noise()
    leftIm[i] = left * (re * s + im * c) + noise()
    rightRe[i] = right * (re * c - im * s) + noise()
    rightIm[i] = right * (re * s + im * c) + noise()
  })
  const error = new Float64Array(GRID_HZ.length).fill(rms)
  return { freqHz: GRID_HZ, leftRe, leftIm, rightRe, rightIm, leftError: error, rightError: error, centreS: delayS }
}
