/**
 * Fractional-octave smoothing: power means over bands of exact width about the standard's exact centres.
 *
 * Each octave of a band counts alike (mean over log frequency). Between grid points the power goes as a power of frequency,
 * so flat responses and straight slopes come out exactly. What noise adds to the power is taken off.
 */
import { fractionalOctaveBands, type OctaveFraction } from '../dsp/bands.js'
import { GRID_HZ } from './grid.js'
import { varianceOfNoisePower, varianceOfSum } from './grid-noise.js'
import type { Heard } from './heard.js'

export const SMOOTHING_METHOD = 'fractional-octave power mean/1'

/** What the sweeps tell: beyond, they fade. A band that reaches over is averaged up to here. */
const KNOWN_HZ = [10, 21_500] as const
const CELL = Math.log(GRID_HZ[1] / GRID_HZ[0])
/** Power over noise power from which the slope between two points is real, and not the noise's. */
const CLEAR = 100

export interface BandPower {
  /** Mean of |H|² less the noise's share; may be below 0 where there is nothing but noise. */
  readonly power: number
  /** Standard uncertainty of the power, from noise. */
  readonly powerU: number
}

export interface SmoothedResponse {
  /** Exact centres of the bands. */
  readonly freqHz: readonly number[]
  readonly power: readonly number[]
  readonly powerU: readonly number[]
}

/**
 * Mean power of a response from lowHz to highHz.
 *
 * @param per 'octave': mean over log frequency (as pink noise would read); 'hertz': over frequency (as white noise would)
 * @throws RangeError when the band does not lie inside 10 Hz to 22 kHz or is empty
 */
export function bandPower(
  response: Heard,
  lowHz: number,
  highHz: number,
  per: 'octave' | 'hertz' = 'octave',
): BandPower {
  if (!(lowHz >= GRID_HZ[0] && highHz <= GRID_HZ.at(-1)! && lowHz < highHz)) {
    throw new RangeError(`bandPower: ${lowHz} to ${highHz} Hz, want a band inside 10 Hz to 22 kHz`)
  }
  const { re, im, error } = response
  const [from, to] = [lowHz, highHz].map((freqHz) => Math.log(freqHz / GRID_HZ[0]) / CELL)
  const first = Math.floor(from)
  const count = Math.min(GRID_HZ.length - 1, Math.ceil(to)) - first + 1
  const whole = per === 'octave' ? to - from : (highHz - lowHz) / CELL
  const weights = new Float64Array(count)
  let power = 0
  for (let k = 0; k + 1 < count; k++) {
    const i = first + k
    const [a, b] = [Math.max(from - i, 0), Math.min(to - i, 1)]
    const [before, after] = [i, i + 1].map((n) => re[n] ** 2 + im[n] ** 2)
    const [tiltBefore, tiltAfter] = per === 'octave' ? [1, 1] : [GRID_HZ[i], GRID_HZ[i + 1]]
    const upper = 0.5 * (b * b - a * a)
    const [lowWeight, highWeight] = [((b - a - upper) * tiltBefore) / whole, (upper * tiltAfter) / whole]
    weights[k] += lowWeight
    weights[k + 1] += highWeight
    const isClear = before > CLEAR * error[i] ** 2 && after > CLEAR * error[i + 1] ** 2
    power += isClear
      ? straight(before * tiltBefore, after * tiltAfter, a, b) / whole
      : lowWeight * before + highWeight * after
  }
  let noise = 0
  for (let k = 0; k < count; k++) noise += weights[k] * error[first + k] ** 2
  const aRe = weights.map((weight, k) => 2 * weight * re[first + k])
  const aIm = weights.map((weight, k) => 2 * weight * im[first + k])
  // With noise in the coefficients the first comes out at noise's own variance twice. That is right: the stretch that the
  // noise is known from varies as much again.
  const variance = Math.max(varianceOfSum(first, aRe, aIm, error), 2 * varianceOfNoisePower(first, weights, error))
  return { power: power - noise, powerU: Math.sqrt(variance) }
}

/** Integral of before^(1 - t) after^t over t from a to b. */
function straight(before: number, after: number, a: number, b: number): number {
  const rise = Math.log(after / before)
  // Near no rise at all the quotient would be of rounding errors: midpoint, good to rise² / 24.
  if (Math.abs(rise) < 1e-5) return (b - a) * before * Math.exp(0.5 * rise * (a + b))
  return (before * (Math.exp(rise * b) - Math.exp(rise * a))) / rise
}

/**
 * @param fraction bands of 1/fraction octave
 * @param lowHz, highHz centres from here to there
 */
export function smoothed(response: Heard, fraction: OctaveFraction, lowHz = 19.9, highHz = 20_000): SmoothedResponse {
  const bands = fractionalOctaveBands(fraction, Math.max(lowHz, KNOWN_HZ[0]), Math.min(highHz, KNOWN_HZ[1]))
  const powers = bands.map((band) =>
    bandPower(response, Math.max(band.lowHz, KNOWN_HZ[0]), Math.min(band.highHz, KNOWN_HZ[1])),
  )
  return {
    freqHz: bands.map(({ centreHz }) => centreHz),
    power: powers.map(({ power }) => power),
    powerU: powers.map(({ powerU }) => powerU),
  }
}

/** Level in dB and its standard uncertainty; where noise is all there is, the level that it hides. */
export function levelOf({ power, powerU }: BandPower): { readonly levelDb: number; readonly levelDbU: number } {
  const held = Math.max(power, powerU, Number.MIN_VALUE)
  return { levelDb: 10 * Math.log10(held), levelDbU: (10 / Math.LN10) * (powerU / held) }
}
