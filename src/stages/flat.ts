/** The tuner's check before gains are set: are outputs and sums flat, what is in them, and what undoes it. */
import { type FlatTarget, flatTargets, type SweptLead } from '../measure/flat-targets.js'
import { sweepReference, transferOf } from '../measure/transfer.js'
import type { LeadsOn } from '../stimulus/hook-up-plan.js'
import { StopError } from '../units/stop.js'
import { BEFORE_SOUND } from '../verdict/cautions.js'
import { judgeFlat } from '../verdict/flat-judgement.js'
import type { StageTake } from '../verdict/stage-result.js'
import { takeExcerpt } from './excerpt-take.js'
import { prepareLeads } from './prepare-leads.js'
import type { Stage } from './stage.js'

export const flatStage: Stage = async (context) => {
  const { job, memory, now } = context
  const startedAt = now().toISOString()
  const wanted = new Set([
    ...job.flat.outputs,
    ...job.sums.filter(({ name }) => job.flat.sums.includes(name)).flatMap(({ outputs }) => outputs),
  ])
  const patches = context.patches.filter(({ leads }) => leads.some(({ outputNumber }) => wanted.has(outputNumber)))
  if (patches.length === 0) {
    const remedy = 'Name outputs or sums that have to be flat, or leave flat out for all.'
    throw new StopError('nothing is asked to be flat', `${job.name}, flat`, remedy)
  }
  const leads: SweptLead[] = []
  const takes: StageTake[] = []
  const notes: string[] = []
  let leadsOn: LeadsOn = new Map()
  for (const patch of patches) {
    const prepare = async (): Promise<void> => {
      const prepared = await prepareLeads(context, patch, leadsOn)
      leadsOn = prepared.leadsOn
      await memory.put(`leads ${patch.name}`, prepared.notes)
    }
    const request = {
      patch,
      kind: 'sweeps',
      what: `sweeps ${patch.name}`,
      prepare,
      expected: job,
      isProbed: true,
    } as const
    const { audio, take, located } = await takeExcerpt(context, request)
    takes.push(take)
    notes.push(...((memory.get(`leads ${patch.name}`) as readonly string[] | undefined) ?? []))
    notes.push(...take.faults.map((says) => `The take of ${patch.name} is not whole: ${says}`))
    const reference = sweepReference(located)
    for (const { inputNumber, outputNumber } of patch.leads) {
      const transfer = transferOf(audio.channels[inputNumber - 1], reference)
      const input = context.rig.inputs[inputNumber - 1]
      leads.push({ outputNumber, patchName: patch.name, input, transfer })
      context.signal.throwIfAborted()
    }
  }
  const targets: readonly FlatTarget[] = flatTargets(job, leads)
  const judged = judgeFlat(targets, job.flat.fromHz, job.flat.toHz, context.stages.includes('outputs'))
  return {
    stage: 'flat',
    startedAt,
    endedAt: now().toISOString(),
    ...judged,
    takes,
    notes: [...notes, ...judged.notes],
    cautions: [BEFORE_SOUND],
  }
}
