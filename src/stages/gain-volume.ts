/** The head unit tried at several volumes, from the lowest up: the staircases at each, until something clips. */

import type { Job } from '../job/job.js'
import { readAtVolume } from '../measure/volume-reading.js'
import type { LeadsOn } from '../stimulus/hook-up-plan.js'
import { ratioFromDb, vrms } from '../units/level.js'
import { type AtVolume, cleanVolume } from '../verdict/clean-volume.js'
import type { StageTake } from '../verdict/stage-result.js'
import { takeExcerpt } from './excerpt-take.js'
import { prepareLeads } from './prepare-leads.js'
import type { StageContext } from './stage.js'

export interface VolumeScan {
  /** By rising volume; only volumes that were tried at every output that feeds an amplifier. */
  readonly tried: readonly AtVolume[]
  readonly takes: readonly StageTake[]
  readonly notes: readonly string[]
}

/** What a step of a volume commonly adds; the soft start leaves room for more. Common practice, no source. */
const STEP_DB = 1.5

export async function scanVolumes(context: StageContext, limitPct: number): Promise<VolumeScan> {
  const { job, rig, bench, memory, signal } = context
  const { volumeSteps } = job.gains
  let volumes: readonly (number | null)[] = volumeSteps.length > 0 ? volumeSteps : [null]
  const used = new Set(job.amplifiers.flatMap(({ outputs }) => outputs))
  const patches = context.patches.filter(({ leads }) => leads.some(({ outputNumber }) => used.has(outputNumber)))
  const takes: StageTake[] = []
  const notes: string[] = []
  const byPatch: AtVolume[][] = []
  let leadsOn: LeadsOn = new Map()
  for (const patch of patches) {
    const read: AtVolume[] = []
    let isConnected = false
    for (const volume of volumes) {
      const prepare = async (): Promise<void> => {
        if (!isConnected) {
          const prepared = await prepareLeads(context, patch, leadsOn)
          leadsOn = prepared.leadsOn
          isConnected = true
          await memory.put(`leads ${patch.name}`, prepared.notes)
        }
        await bench.set(volume === null ? 'reference' : `volume_${volume}`, signal)
      }
      const what = `${volume === null ? 'reference volume' : `volume ${volume}`} ${patch.name}`
      const expected = louderBy(job, volume === null || job.volumeStep === null ? 0 : volume - job.volumeStep)
      const request = { patch, kind: 'staircases', what, prepare, expected, isProbed: false } as const
      const { audio, take, located } = await takeExcerpt(context, request)
      takes.push(take)
      notes.push(...take.faults.map((says) => `The take at ${what} is not whole: ${says}`))
      read.push({ volume, ...readAtVolume(job, rig.inputs, patch.leads, audio.channels, located) })
      // Nothing is gained by going on: louder it clips all the more.
      if (cleanVolume(read, limitPct).ended.length > 0) break
    }
    notes.push(...((memory.get(`leads ${patch.name}`) as readonly string[] | undefined) ?? []))
    byPatch.push(read)
    volumes = volumes.slice(0, read.length)
  }
  return {
    tried: volumes.map((volume, k) => ({
      volume,
      outputs: byPatch.flatMap((read) => read[k].outputs),
      inputs: byPatch.flatMap((read) => read[k].inputs),
    })),
    takes,
    notes,
  }
}

/** The job with the levels that may be expected so many steps over the reference volume. */
function louderBy(job: Job, stepCount: number): Job {
  const gain = ratioFromDb(STEP_DB * Math.max(0, stepCount))
  return { ...job, outputs: job.outputs.map((spec) => ({ ...spec, levelVrms: vrms(gain * spec.levelVrms) })) }
}
