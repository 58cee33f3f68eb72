/**
 * Responses with the noise that a real reading has: white noise in place of an impulse response, cut and transformed by the
 * code that cuts and transforms responses, so that neighbouring grid points share what they share in a take. The rms error
 * beside it is the one that was read from the quiet stretch, too.
 */
import type { Transfer } from '../../src/measure/analysis.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { transferFrom } from '../../src/measure/transfer.js'
import { type Filter, responseAt } from './biquad.js'
import { normalFrom } from './random.js'

const RATE_HZ = 48_000

/**
 * Noise of rms about 1 at 1 kHz in every complex value. White noise in a take gives an error that goes with the root of
 * the frequency, since the sweep spends as long on each octave.
 */
export function noiseTransfers(count: number, seed: number): Transfer[] {
  const normal = normalFrom(seed)
  // Room for the response's window at its centre and for the quiet stretch after it.
  const length = 2 * RATE_HZ
  const [left, right] = [new Float64Array(length), new Float64Array(length)]
  // Rms of the window's transform: root of the sum of its square, about half a second long.
  const scale = 1 / Math.sqrt(0.5 * RATE_HZ)
  const tilt = GRID_HZ.map((freqHz) => Math.sqrt(freqHz / 1000))
  return Array.from({ length: count }, () => {
    for (let n = 0; n < length; n++) {
      left[n] = scale * normal()
      right[n] = scale * normal()
    }
    const plain = transferFrom({ left, right, centre: 480, samplesPerS: RATE_HZ })
    const tilted = (values: Float64Array): Float64Array => values.map((value, i) => tilt[i] * value)
    return {
      freqHz: GRID_HZ,
      leftRe: tilted(plain.leftRe),
      leftIm: tilted(plain.leftIm),
      rightRe: tilted(plain.rightRe),
      rightIm: tilted(plain.rightIm),
      leftError: tilted(plain.leftError),
      rightError: tilted(plain.rightError),
      centreS: plain.centreS,
    }
  })
}

export interface Wire {
  readonly filter?: Filter
  readonly left?: number
  readonly right?: number
  readonly delayS?: number
}

/**
 * A wire's response by closed form (filters on a 48 kHz clock) with a share of noise added: rms errorDb re 1 at 1 kHz.
 * @param noise of noiseTransfers; null for none
 */
export function wireWith(
  noise: Transfer | null,
  { filter = [], left = 1, right = 0, delayS = 0 }: Wire,
  errorDb = -80,
): Transfer {
  const rms = noise ? 10 ** (errorDb / 20) : 0
  const [cRe, cIm] = [new Float64Array(GRID_HZ.length), new Float64Array(GRID_HZ.length)]
  GRID_HZ.forEach((freqHz, i) => {
    const { re, im } = responseAt(filter, freqHz, RATE_HZ)
    const turn = -2 * Math.PI * freqHz * delayS
    cRe[i] = re * Math.cos(turn) - im * Math.sin(turn)
    cIm[i] = re * Math.sin(turn) + im * Math.cos(turn)
  })
  const mixed = (clean: Float64Array, gain: number, of: Float64Array | undefined): Float64Array =>
    clean.map((value, i) => gain * value + (of ? rms * of[i] : 0))
  const error = (of: Float64Array | undefined): Float64Array => GRID_HZ.map((_, i) => (of ? rms * of[i] : 1e-12))
  return {
    freqHz: GRID_HZ,
    leftRe: mixed(cRe, left, noise?.leftRe),
    leftIm: mixed(cIm, left, noise?.leftIm),
    rightRe: mixed(cRe, right, noise?.rightRe),
    rightIm: mixed(cIm, right, noise?.rightIm),
    leftError: error(noise?.leftError),
    rightError: error(noise?.rightError),
    centreS: noise ? noise.centreS : delayS,
  }
}

/** Left and right of one transfer exchanged: a second, independent noise from the same work. */
export const swapped = (transfer: Transfer): Transfer => ({
  ...transfer,
  leftRe: transfer.rightRe,
  leftIm: transfer.rightIm,
  rightRe: transfer.leftRe,
  rightIm: transfer.leftIm,
  leftError: transfer.rightError,
  rightError: transfer.leftError,
})
