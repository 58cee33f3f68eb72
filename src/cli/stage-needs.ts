/** What a job and a rig must say before a run begins: a stage that cannot be done is told before the first one is. */
import type { Job, StageName } from '../job/job.js'
import type { Rig } from '../rig/rig.js'
import { StopError } from '../units/stop.js'

/** Key of the job file without which a stage has nothing to do. */
const KEY_OF: Partial<Record<StageName, { key: string; has: (job: Job) => boolean }>> = {
  pins: { key: 'pins', has: ({ pins }) => pins.length > 0 },
  gains: { key: 'amplifiers', has: ({ amplifiers }) => amplifiers.length > 0 },
  chimes: { key: 'chimes', has: ({ chimes }) => chimes.length > 0 },
  standby: { key: 'standby', has: ({ standby }) => standby !== null },
}
const WITH_METER: readonly StageName[] = ['pins', 'gains', 'engine', 'standby']

/** @throws StopError naming the first stage that lacks something */
export function checkStageNeeds(
  stages: readonly StageName[],
  job: Job,
  jobWhere: string,
  rig: Rig,
  rigWhere: string,
): void {
  for (const stage of stages) {
    const need = KEY_OF[stage]
    if (need && !need.has(job)) {
      throw new StopError(
        `the stage ${stage} needs "${need.key}", and the job has none`,
        jobWhere,
        `Add ${need.key}: (linetrue schema job says what it holds), or leave ${stage} out of stages.`,
      )
    }
    if (WITH_METER.includes(stage) && rig.meter === null) {
      throw new StopError(
        `the stage ${stage} needs a meter, and the rig has none`,
        rigWhere,
        `Add meter: to the rig file, with driver, port and accuracy_pct, or leave ${stage} out of stages.`,
      )
    }
  }
}
