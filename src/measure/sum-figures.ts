/** Electrical sums that the job asks for: outputs of one patch that feed one speaker line together. */
import type { Job, SumSpec } from '../job/job.js'
import { fullScaleAtLead } from '../rig/rig.js'
import { ELECTRICAL_SUM_METHOD, type ElectricalSum, electricalSum } from './electrical-sum.js'
import { type Estimate, estimate } from './estimate.js'
import type { OutputMeasures } from './outputs.js'

export interface SumFigures {
  readonly spec: SumSpec
  /** Numbers of the leads that were summed, by the outputs that they were identified as. */
  readonly outputNumbers: readonly number[]
  readonly sum: ElectricalSum
  /** Largest deviation from its mean level in its band. */
  readonly flatnessDb: Estimate
}

/** Why a sum could not be looked at, in words. */
export interface SumMissing {
  readonly spec: SumSpec
  readonly because: string
}

export type SumOutcome = SumFigures | SumMissing

export const isMeasured = (outcome: SumOutcome): outcome is SumFigures => 'sum' in outcome

/** Left of this many decibels from a flat sum, gains of two inputs that are off by their calibration decide. */
const SHARE_OF_CALIBRATION = 0.5

export function sumFigures(job: Job, measures: readonly OutputMeasures[]): SumOutcome[] {
  return job.sums.map((spec): SumOutcome => {
    const parts = spec.outputs.map((number) => measures.find((one) => !one.isDead && one.spec.number === number))
    const missing = spec.outputs.filter((_, k) => !parts[k])
    if (missing.length > 0) return { spec, because: `Nothing comes out of output ${missing.join(', ')}.` }
    const alive = parts as OutputMeasures[]
    if (new Set(alive.map(({ lead }) => lead.patchName)).size > 1) {
      return { spec, because: 'Its outputs were taken in different patches, each on its own clock.' }
    }
    const hearsLeft = alive.every(({ spec: its }) => its.leftGain !== 0)
    const sum = electricalSum(
      alive.map(({ lead }) => ({
        outputNumber: lead.outputNumber,
        transfer: lead.analysis.transfer,
        gainVrms: fullScaleAtLead(lead.input),
        leftGain: hearsLeft ? 1 : 0,
        rightGain: hearsLeft ? 0 : 1,
      })),
    )
    // What one part is off by moves the sum where both are alike by half of it, in opposite senses of two parts.
    const calibration = Math.hypot(...alive.map(({ lead }) => lead.input.levelUncertaintyDb / 2)) * SHARE_OF_CALIBRATION
    return {
      spec,
      outputNumbers: alive.map(({ lead }) => lead.outputNumber),
      sum,
      flatnessDb: estimate(sum.asItStands.worstDb, { 'input calibrations': calibration }, ELECTRICAL_SUM_METHOD, {
        freqHz: sum.asItStands.worstHz,
      }),
    }
  })
}
