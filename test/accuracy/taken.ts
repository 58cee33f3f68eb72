/** One take of a drawn vehicle as a run would measure it, beside its truth. */
import { analyseInput } from '../../src/measure/analyse.js'
import type { Located } from '../../src/measure/analysis.js'
import { locate } from '../../src/measure/locate.js'
import { measureOutputs, type OutputMeasures } from '../../src/measure/outputs.js'
import { sweepReference } from '../../src/measure/transfer.js'
import { type Base, channelsOf, INPUT } from './chain.js'
import { type Truth, truthOf } from './truth.js'
import { RATE_HZ, type Vehicle } from './vehicle.js'

export interface Taken {
  readonly truth: Truth
  readonly located: Located
  /** By output, not by lead; null where it was taken for another one. */
  readonly outputs: readonly [OutputMeasures, OutputMeasures] | null
}

/** @throws StopError when the take is refused */
export function takeOf(base: Base, vehicle: Vehicle, snrDb: number): Taken {
  const byOutput = channelsOf(base, vehicle, snrDb)
  const channels = vehicle.isExchanged ? [byOutput[1], byOutput[0]] : byOutput
  const located = locate({ sampleRateHz: RATE_HZ, channels }, `drawn take ${vehicle.seed}`)
  const reference = sweepReference(located)
  const leads = channels.map((channel, k) => ({
    outputNumber: k + 1,
    patchName: 'patch 1',
    inputNumber: k + 1,
    input: INPUT,
    captureBits: 24,
    analysis: analyseInput(channel, located, reference),
    others: new Map(),
  }))
  const measures = measureOutputs(vehicle.job, leads)
  const byLead = vehicle.isExchanged ? [measures[1], measures[0]] : measures
  const isRight = byLead.every(({ identity }, k) => identity.identifiedAs === k + 1 && identity.alikeWith.length === 0)
  return { truth: truthOf(base, vehicle, snrDb), located, outputs: isRight ? [byLead[0], byLead[1]] : null }
}
