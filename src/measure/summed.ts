/** Outputs added up with a delay, a gain and a polarity each: the sum at some grid points, and what flatness means. */
import { GRID_HZ } from './grid.js'
import type { Heard } from './heard.js'

/** One output's response in volts, and its window's centre against that of the first part. */
export interface Part extends Heard {
  readonly power: Float64Array
  readonly laterS: number
}

export interface Setting {
  readonly delayS: number
  readonly gainDb: number
  readonly sign: 1 | -1
  /** What may be changed to make the sum flat. */
  readonly isDelayFree: boolean
  readonly isGainFree: boolean
}

export const AS_IT_STANDS: Setting = { delayS: 0, gainDb: 0, sign: 1, isDelayFree: true, isGainFree: true }

/** Values at the indices of GRID_HZ that it was made for. */
export interface Sum {
  /** What each part's response is multiplied by: setting and window centre. */
  readonly rotors: readonly Complexes[]
  readonly parts: readonly Complexes[]
  readonly re: Float64Array
  readonly im: Float64Array
  readonly power: Float64Array
  readonly levelDb: Float64Array
  /** Rms of the level less its mean. */
  readonly rmsDb: number
}

export interface Complexes {
  readonly re: Float64Array
  readonly im: Float64Array
}

export const complexes = (count: number): Complexes => ({ re: new Float64Array(count), im: new Float64Array(count) })

export function sumAt(parts: readonly Part[], settings: readonly Setting[], indices: ArrayLike<number>): Sum {
  const count = indices.length
  const { re, im } = complexes(count)
  const rotors: Complexes[] = []
  const turned = parts.map((part, k) => {
    const { delayS, gainDb, sign } = settings[k]
    const gain = sign * 10 ** (gainDb / 20)
    const out = complexes(count)
    const rotor = complexes(count)
    for (let n = 0; n < count; n++) {
      const i = indices[n]
      const turn = -2 * Math.PI * GRID_HZ[i] * (part.laterS + delayS)
      const [c, s] = [gain * Math.cos(turn), gain * Math.sin(turn)]
      const [a, b] = [part.re[i] * c - part.im[i] * s, part.re[i] * s + part.im[i] * c]
      rotor.re[n] = c
      rotor.im[n] = s
      out.re[n] = a
      out.im[n] = b
      re[n] += a
      im[n] += b
    }
    rotors.push(rotor)
    return out
  })
  const power = re.map((value, n) => Math.max(value * value + im[n] ** 2, Number.MIN_VALUE))
  const levelDb = power.map((value) => 10 * Math.log10(value))
  return { rotors, parts: turned, re, im, power, levelDb, rmsDb: rmsOf(levelDb) }
}

export function meanOf(values: Float64Array): number {
  let sum = 0
  for (let n = 0; n < values.length; n++) sum += values[n]
  return sum / values.length
}

function rmsOf(values: Float64Array): number {
  const mean = meanOf(values)
  let squares = 0
  for (let n = 0; n < values.length; n++) squares += (values[n] - mean) ** 2
  return Math.sqrt(squares / values.length)
}
