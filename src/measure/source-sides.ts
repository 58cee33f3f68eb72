/** Which source sides an output hears, held against what its map entry says. */
import type { OutputSpec } from '../job/job.js'
import { dbFromRatio } from '../units/level.js'
import type { Passband } from './passband.js'

/**
 * As the map says; both though it should be one; the other one; one of two; or both, in opposition to the map. Level,
 * response and polarity are read from the sides that an output does hear: its source is one fault, not four.
 */
export type Sides = 'as mapped' | 'summed' | 'other side' | 'one side missing' | 'opposed'

/** Both sides within this of each other where one was expected: summed, not leaking. */
const SUMMED_DB = 6

export function sidesOf(spec: OutputSpec, passband: Passband | null): Sides {
  if (passband === null) return 'as mapped'
  const ratioDb = dbFromRatio(Math.tan(Math.min(Math.max(passband.sideRad, 1e-6), Math.PI / 2 - 1e-6)))
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  if (!hearsBoth) {
    if (Math.abs(ratioDb) < SUMMED_DB) return 'summed'
    return ratioDb > 0 === (spec.rightGain !== 0) ? 'as mapped' : 'other side'
  }
  const expectedDb = dbFromRatio(Math.abs(spec.rightGain / spec.leftGain))
  if (Math.abs(ratioDb - expectedDb) > 20) return 'one side missing'
  return passband.sidePhase * spec.leftGain * spec.rightGain < 0 ? 'opposed' : 'as mapped'
}

/** The map entry with the sides as the output does hear them. */
export function heardBy(spec: OutputSpec, sides: Sides): OutputSpec {
  if (sides === 'other side') return { ...spec, leftGain: spec.rightGain, rightGain: spec.leftGain }
  return sides === 'opposed' ? { ...spec, rightGain: -spec.rightGain } : spec
}
