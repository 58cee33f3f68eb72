/** A response at any frequency, between the points of the grid. */
import { GRID_HZ } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import type { Heard } from './heard.js'

const CELL = Math.log(GRID_HZ[1] / GRID_HZ[0])

/**
 * Magnitude at a frequency: the cubic through the levels in dB of the two points on each side, over log frequency (Lagrange).
 * The nearest point alone may be off by a hundredth of what the level changes in an octave.
 *
 * @param freqHz inside the grid, 10 Hz to 22 kHz
 * @returns magnitude, and its relative standard uncertainty from noise
 */
export function magnitudeAt({ re, im, error }: Heard, freqHz: number): { magnitude: number; relativeU: number } {
  const place = Math.log(freqHz / GRID_HZ[0]) / CELL
  const middle = Math.max(1, Math.min(GRID_HZ.length - 3, Math.floor(place)))
  const first = middle - 1
  const t = place - middle
  const weights = [
    (-t * (t - 1) * (t - 2)) / 6,
    ((t + 1) * (t - 1) * (t - 2)) / 2,
    (-(t + 1) * t * (t - 2)) / 2,
    ((t + 1) * t * (t - 1)) / 6,
  ]
  let logarithm = 0
  const [aRe, aIm]: number[][] = [[], []]
  weights.forEach((weight, k) => {
    const power = Math.max(re[first + k] ** 2 + im[first + k] ** 2, Number.MIN_VALUE)
    logarithm += 0.5 * weight * Math.log(power)
    // ln |H + n| moves by the real part of conj(H) n / |H|².
    aRe.push((weight * re[first + k]) / power)
    aIm.push((weight * im[first + k]) / power)
  })
  return { magnitude: Math.exp(logarithm), relativeU: Math.sqrt(varianceOfSum(first, aRe, aIm, error)) }
}
