/**
 * Up to which volume outputs are clean for a full-scale source.
 *
 * An output that is distorted at every volume alike has a fault of its own, which the stage of the outputs names: here it
 * counts as clipping only where its distortion grows well beyond that.
 */
import { COVERAGE_FACTOR } from '../measure/estimate.js'
import type { InputAtVolume, OutputAtVolume } from '../measure/volume-reading.js'
import { held } from './decision.js'

/** All that was read at one volume; null: the reference volume, which the job gives no number. */
export interface AtVolume {
  readonly volume: number | null
  readonly outputs: readonly OutputAtVolume[]
  readonly inputs: readonly InputAtVolume[]
}

export type VolumeState = 'clean' | 'clips' | 'card overdriven' | 'silent'

/** Distortion that grows by so much is no longer the output's own. */
const GROWTH = 3

/** @param lowest the same output at the lowest volume that was tried */
export function volumeState(one: OutputAtVolume, lowest: OutputAtVolume, limitPct: number): VolumeState {
  if (one.fullScaleVrms === null) return 'silent'
  if (one.isCardOverdriven) return 'card overdriven'
  const ownPct = lowest.isHard ? 0 : lowest.thdPct
  const max = Math.max(limitPct, GROWTH * ownPct)
  const verdict = held(one.thdPct, COVERAGE_FACTOR * one.thdPctU, { max }, { isAtMost: one.isAtMost })
  return verdict === 'fail' ? 'clips' : 'clean'
}

export interface CleanVolume {
  /** Index of the highest clean one of what was tried; -1: none was clean. */
  readonly highestIndex: number
  /** What ended it, at the next one; empty where all that was tried is clean. */
  readonly ended: readonly { readonly outputNumber: number; readonly state: VolumeState; readonly thdPct: number }[]
  /** Distorted at the lowest volume already, and no more above it. */
  readonly ownDistortion: readonly number[]
}

/** @param tried by rising volume */
export function cleanVolume(tried: readonly AtVolume[], limitPct: number): CleanVolume {
  const lowestOf = (number: number): OutputAtVolume =>
    tried.flatMap(({ outputs }) => outputs).find(({ outputNumber }) => outputNumber === number)!
  const troubles = tried.map(({ outputs }) =>
    outputs
      .map((one) => ({ ...one, state: volumeState(one, lowestOf(one.outputNumber), limitPct) }))
      .filter(({ state }) => state === 'clips' || state === 'card overdriven'),
  )
  const first = troubles.findIndex((found) => found.length > 0)
  const ownDistortion = (tried[0]?.outputs ?? [])
    .filter((one) => one.thdPct > limitPct && !one.isAtMost && volumeState(one, one, limitPct) === 'clean')
    .map(({ outputNumber }) => outputNumber)
  return {
    highestIndex: first < 0 ? tried.length - 1 : first - 1,
    ended: first < 0 ? [] : troubles[first],
    ownDistortion,
  }
}
