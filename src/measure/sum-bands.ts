/** Where the parts of an electrical sum are heard: own band and level of each, the band of all, and whether they meet. */

import { DB_PER_NEPER } from '../units/level.js'
import { gridIndex } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import { median } from './passband.js'
import type { Part } from './summed.js'

/** The audio band: nothing is flat beyond it. */
const AUDIO_HZ = [20, 20_000] as const
const EDGE_POWER = 10 ** -0.1
/** Parts are heard together where both are within 20 dB of their own level. */
const OVERLAP_POWER = 0.01
const OVERLAP_POINTS = 6

/** A part's own band and its level in it. */
export interface Plateau {
  readonly power: number
  readonly levelDb: number
  readonly levelU: number
  readonly first: number
  readonly last: number
}

/** Median power of what is within 10 dB of the top; mean level of what is not 3 dB under it; corners 1 dB under it. */
export function plateauOf(part: Part): Plateau {
  const audio: number[] = []
  for (let i = gridIndex(AUDIO_HZ[0]); i <= gridIndex(AUDIO_HZ[1]); i++) audio.push(i)
  const largest = audio.reduce((most, i) => Math.max(most, part.power[i]), Number.MIN_VALUE)
  const power = median(audio.map((i) => part.power[i]).filter((value) => value >= 0.1 * largest))
  const level = audio.filter((i) => part.power[i] >= 0.5 * power)
  const isIn = (i: number): boolean => part.power[i] >= EDGE_POWER * power
  const first = level[0]
  const aRe = new Float64Array(level.at(-1)! - first + 1)
  const aIm = new Float64Array(aRe.length)
  let sum = 0
  for (const i of level) {
    sum += 10 * Math.log10(part.power[i])
    const scale = DB_PER_NEPER / level.length / part.power[i]
    aRe[i - first] = scale * part.re[i]
    aIm[i - first] = scale * part.im[i]
  }
  return {
    power,
    levelDb: sum / level.length,
    levelU: Math.sqrt(varianceOfSum(first, aRe, aIm, part.error)),
    first: audio.find(isIn)!,
    last: audio.findLast(isIn)!,
  }
}

/** Grid points of a band: given, or from the lowest corner to the highest; a gap between stays in. */
export function bandOf(plateaus: readonly Plateau[], bandHz: readonly [number, number] | null): number[] {
  const [first, last] = bandHz
    ? [gridIndex(Math.max(bandHz[0], AUDIO_HZ[0])), gridIndex(Math.min(bandHz[1], AUDIO_HZ[1]))]
    : [Math.min(...plateaus.map((one) => one.first)), Math.max(...plateaus.map((one) => one.last))]
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, n) => first + n)
}

/** The parts after the first: nearest in band first, so that each meets one that it overlaps with. */
export function byDistance(plateaus: readonly Plateau[]): number[] {
  const distance = (k: number): number =>
    Math.abs(plateaus[k].first + plateaus[k].last - plateaus[0].first - plateaus[0].last)
  return plateaus
    .map((_, k) => k)
    .slice(1)
    .sort((a, b) => distance(a) - distance(b))
}

/** Nowhere heard together with any of the parts before. */
export function isApart(
  parts: readonly Part[],
  plateaus: readonly Plateau[],
  before: readonly number[],
  k: number,
): boolean {
  const isHeard = (m: number, i: number): boolean => parts[m].power[i] > OVERLAP_POWER * plateaus[m].power
  let together = 0
  for (let i = gridIndex(AUDIO_HZ[0]); i <= gridIndex(AUDIO_HZ[1]); i++) {
    if (isHeard(k, i) && before.some((m) => isHeard(m, i))) together++
  }
  return together < OVERLAP_POINTS
}
