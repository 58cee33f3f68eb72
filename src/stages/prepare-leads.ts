/** What comes before the first take of a patch in any stage that plays: leads, head unit, a quiet probe. */
import { isStartedByHand, type PatchSpec } from '../rig/rig.js'
import type { LeadsOn } from '../stimulus/hook-up-plan.js'
import { checkLeads, connectLeads } from './hook-up.js'
import type { StageContext } from './stage.js'

/** Leads as the patch has them and the head unit at its reference, before anything of it is played. */
export async function prepareLeads(
  { bench, job, rig, guide, onProgress, signal }: StageContext,
  patch: PatchSpec,
  before: LeadsOn,
): Promise<{ leadsOn: LeadsOn; notes: readonly string[] }> {
  const leadsOn = await connectLeads(bench, job, rig, patch, before, guide, signal)
  await bench.set('reference', signal)
  const notes = isStartedByHand(rig.player) ? [] : await checkLeads(bench, job, rig, patch, guide, onProgress, signal)
  return { leadsOn, notes }
}
