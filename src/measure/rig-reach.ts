/**
 * What a rig itself puts into a figure: taken off where it is small, and where it is not the figure is "at most".
 *
 * A figure within 6 dB of the rig's own tells more of the rig than of the vehicle. Levels are rms as a fraction of a
 * full-scale sine's, like those of a noise reading.
 */
import type { OwnRatio, RigInput } from '../rig/rig.js'
import { relativeFromDb } from './estimate.js'

/** Within this factor of the rig's own a figure is the rig's as much as the vehicle's. Common practice, no source. */
const REACH = 2

/** Standard uncertainties of an input's volts, dB, by what they come from. */
export function calibrationBudget(input: RigInput): Record<string, number> {
  if (!input.levelBudget) return { 'input calibration': input.levelUncertaintyDb / 2 }
  return Object.fromEntries(input.levelBudget.map(({ source, u }) => [source, u]))
}

export interface Lessened {
  readonly fs: number
  /** Relative standard uncertainty, from the reading and from the rig's own. */
  readonly relativeU: number
  readonly isAtMost: boolean
}

/**
 * Noise without the rig's own, power less power.
 *
 * @param ownDbfs the rig's own by its check, with expanded uncertainty in dB; null where there was none
 * @param converterFs noise of an ideal converter with dither, for rigs that were never checked: nothing is taken off, but
 *   a reading as low as twice that may be the card's
 */
export function lessOwnNoise(
  fs: number,
  relativeU: number,
  own: { readonly dbfs: number; readonly uDb: number } | null,
  converterFs: number,
): Lessened {
  if (!own) return { fs, relativeU, isAtMost: fs < REACH * converterFs }
  const ownFs = 10 ** (own.dbfs / 20)
  if (fs < REACH * ownFs) return { fs, relativeU, isAtMost: true }
  const left = fs * fs - ownFs * ownFs
  const u = Math.hypot(fs * fs * relativeU, ownFs * ownFs * relativeFromDb(own.uDb / 2))
  return { fs: Math.sqrt(left), relativeU: u / left, isAtMost: false }
}

/** A ratio such as THD: the rig's own may add to it or take from it, as its phase happens to be. */
export function besideOwnRatio(
  ratio: number,
  own: OwnRatio | undefined,
): { readonly u: number; readonly isAtMost: boolean; readonly ratio: number } {
  if (!own) return { ratio, u: 0, isAtMost: false }
  // Where it takes from it, the truth is the reading and the rig's own together.
  if (ratio < REACH * own.ratio) return { ratio: ratio + own.ratio, u: 0, isAtMost: true }
  // Phase unknown: the distribution of a sine, u = a / sqrt 2 (JCGM 100:2008, 4.3.5 and G; U-shaped).
  return { ratio, u: own.ratio / Math.SQRT2, isAtMost: false }
}

/** Largest deviation of the rig's own response near a frequency, dB; 0 where it was never measured. */
export function ownResponseDb(input: RigInput, freqHz: number): number {
  const points = input.own?.loop?.response ?? []
  if (points.length === 0) return 0
  const distance = (hz: number): number => Math.abs(Math.log(hz / freqHz))
  return Math.abs(
    points.reduce((near, point) => (distance(point.freqHz) < distance(near.freqHz) ? point : near)).deviationDb,
  )
}
