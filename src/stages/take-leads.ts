/** From takes to leads, with nothing judged: what a map is learned from, and what is held against one. */
import type { LeadData } from '../measure/lead.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import { StopError } from '../units/stop.js'
import { Analysts } from './analysts.js'
import type { OnProgress } from './progress.js'
import { leadsOf, type MeasuredTake, measureTake, type Take } from './verify.js'

/**
 * @param takes one at the reference of each patch, and any of other settings
 * @throws StopError when a take cannot be used, or a patch has none
 */
export async function takeLeads(
  takes: AsyncIterable<Take>,
  patches: readonly PatchSpec[],
  rig: Pick<Rig, 'inputs'>,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<LeadData[]> {
  const measured: MeasuredTake[] = []
  const analysts = new Analysts(Math.max(...patches.map(({ leads }) => leads.length)))
  try {
    for await (const take of takes) {
      onProgress({ step: 'measuring', detail: take.patchName, doneS: null, totalS: null })
      measured.push(await measureTake(take, patches, analysts, signal))
    }
  } finally {
    await analysts.close()
  }
  const bare = patches.find(
    ({ name }) => !measured.some(({ take }) => take.patchName === name && take.setting === 'reference'),
  )
  if (bare) {
    const where = bare.leads.map(({ outputNumber }) => outputNumber).join(', ')
    throw new StopError(`${bare.name} has no take at the reference`, `outputs ${where}`, 'Take the vehicle again.')
  }
  return patches.flatMap((patch) => leadsOf(patch, measured, rig))
}
