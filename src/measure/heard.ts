/**
 * One output's response to the source sides that it hears, as one complex curve with its noise.
 *
 * Capture full scale over source full scale, on GRID_HZ; the error is the rms of each complex value. Phases count from the
 * centre of the window that the response was cut out by, as its noise does: little of the delay is left in them.
 */
import type { Transfer } from './analysis.js'
import { GRID_HZ } from './grid.js'
import { steadyError } from './grid-noise.js'

export interface Heard {
  readonly re: Float64Array
  readonly im: Float64Array
  readonly error: Float64Array
  /** That centre, against the located start of the track. */
  readonly centreS: number
}

/** Left and right response, each times its weight, added. */
export function weighted(transfer: Transfer, left: number, right: number): Heard {
  const { leftRe, leftIm, rightRe, rightIm, leftError, rightError, centreS } = transfer
  const re = new Float64Array(GRID_HZ.length)
  const im = new Float64Array(GRID_HZ.length)
  const error = new Float64Array(GRID_HZ.length)
  for (let i = 0; i < GRID_HZ.length; i++) {
    const [a, b] = [left * leftRe[i] + right * rightRe[i], left * leftIm[i] + right * rightIm[i]]
    const turn = 2 * Math.PI * GRID_HZ[i] * centreS
    const [c, s] = [Math.cos(turn), Math.sin(turn)]
    re[i] = a * c - b * s
    im[i] = a * s + b * c
    error[i] = Math.hypot(left * leftError[i], right * rightError[i])
  }
  return { re, im, error: steadyError(error), centreS }
}

/**
 * The response for a side heard with gain 1: the least-squares fit of (leftGain, rightGain) times one curve.
 * @throws RangeError when both gains are 0
 */
export function heardOf(transfer: Transfer, leftGain: number, rightGain: number): Heard {
  const share = leftGain ** 2 + rightGain ** 2
  if (!(share > 0)) throw new RangeError(`heardOf: gains ${leftGain} and ${rightGain}, want one that is not 0`)
  return weighted(transfer, leftGain / share, rightGain / share)
}
