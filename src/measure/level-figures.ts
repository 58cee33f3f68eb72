/** Level of an output in volts, and how its sides balance: from the response at one frequency. */
import type { OutputSpec } from '../job/job.js'
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import type { Transfer } from './analysis.js'
import { magnitudeAt } from './between-points.js'
import { dbFromRelative, type Estimate, estimate, relativeFromDb } from './estimate.js'
import { weighted } from './heard.js'
import type { Passband } from './passband.js'
import { calibrationBudget, ownResponseDb } from './rig-reach.js'
import type { Sides } from './source-sides.js'

export interface LevelFigures {
  /** Volts at the reference frequency for 0 dBFS on a side heard with gain 1. */
  readonly levelVrms: Estimate
  /** The same against the map, dB. */
  readonly deviationDb: Estimate
  /** Left against right where both are heard, else null; dB. */
  readonly sideBalanceDb: Estimate | null
  /** Level of the whole passband against the map, dB: not moved by what an equaliser does at the reference frequency. */
  readonly passbandDeviationDb: number
}

/**
 * What the cut of the impulse response, and the place between grid points, leave in the middle of a band: 0.00003 dB and less on
 * filters of second and fourth order from 50 Hz to 3 kHz, without noise.
 */
const WINDOW_DB = 0.00005

/**
 * @param heard the map entry with the sides as the output does hear them
 * @param passband null where the output is dead
 */
export function levelFigures(
  transfer: Transfer,
  input: RigInput,
  spec: OutputSpec,
  heard: OutputSpec,
  sides: Sides,
  passband: Passband | null,
): LevelFigures {
  const fullScaleVrms = fullScaleAtLead(input)
  const [atLeft, atRight] = [weighted(transfer, 1, 0), weighted(transfer, 0, 1)].map((side) =>
    magnitudeAt(side, spec.referenceHz),
  )
  const [left, right] = [atLeft.magnitude, atRight.magnitude]
  const [leftU, rightU] = [left * atLeft.relativeU, right * atRight.relativeU]
  const [l, r] = [Math.abs(heard.leftGain), Math.abs(heard.rightGain)]

  // The sides it should hear, each weighted by its share. Where it hears both in place of one, the sum is its level.
  const [leftWeight, rightWeight] =
    sides === 'summed' ? [1 / Math.max(l, r), 1 / Math.max(l, r)] : [l / (l * l + r * r), r / (l * l + r * r)]
  const gain = left * leftWeight + right * rightWeight
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  const noiseRelative = Math.hypot(leftU * leftWeight, rightU * rightWeight) / Math.max(gain, 1e-12)
  const budgetDb = {
    ...calibrationBudget(input),
    noise: dbFromRelative(noiseRelative),
    'response window': WINDOW_DB,
    // A deviation that is known but not taken off: rectangular.
    'rig response': ownResponseDb(input, spec.referenceHz) / Math.sqrt(3),
  }
  const sideRatio = left / Math.abs(spec.leftGain) / Math.max(right / Math.abs(spec.rightGain), 1e-12)
  return {
    levelVrms: estimate(
      gain * fullScaleVrms,
      Object.fromEntries(
        Object.entries(budgetDb).map(([source, uDb]) => [source, gain * fullScaleVrms * relativeFromDb(uDb)]),
      ),
      'level from sweep/2',
      { freqHz: spec.referenceHz },
    ),
    deviationDb: estimate(
      dbFromRatio(Math.max(gain * fullScaleVrms, 1e-12) / spec.levelVrms),
      budgetDb,
      'level from sweep against the map/2',
      { freqHz: spec.referenceHz },
    ),
    sideBalanceDb:
      passband && hearsBoth
        ? estimate(
            dbFromRatio(sideRatio),
            { noise: dbFromRelative(Math.hypot(leftU / Math.max(left, 1e-12), rightU / Math.max(right, 1e-12))) },
            'side balance/1',
            { freqHz: spec.referenceHz },
          )
        : null,
    passbandDeviationDb: passband
      ? dbFromRatio((passband.gain * fullScaleVrms) / (spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain)))
      : Number.NEGATIVE_INFINITY,
  }
}
