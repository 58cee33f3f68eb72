/** The takes of a run in the order in which they are made, each with a file name of its own. */
import type { Job } from '../job/job.js'
import type { PatchSpec } from '../rig/rig.js'
import type { Setting } from '../rig/roles.js'

export interface PlannedTake {
  readonly patch: PatchSpec
  readonly setting: Setting
  /** Relative to the run's folder. */
  readonly name: string
}

/** All takes of the first patch, then of the next; the job tells the order of the settings. */
export function plannedTakes(job: Job, patches: readonly PatchSpec[]): PlannedTake[] {
  const settings: readonly Setting[] = ['reference', ...job.extraTakes]
  const stems = new Set<string>()
  return patches.flatMap((patch) =>
    settings.map((setting) => {
      const wanted = `${slug(patch.name)}${setting === 'reference' ? '' : `-${slug(setting)}`}`
      // Patches whose names differ only in what a file name cannot hold.
      let stem = wanted
      for (let number = 2; stems.has(stem); number++) stem = `${wanted}--${number}`
      stems.add(stem)
      return { patch, setting, name: `takes/${stem}.wav` }
    }),
  )
}

export const takeWords = ({ patch, setting }: Pick<PlannedTake, 'patch' | 'setting'>): string =>
  setting === 'reference' ? patch.name : `${patch.name}, ${setting.replace('_', ' ')}`

/** A name as a file name. */
export const slug = (name: string): string =>
  name
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '') || 'patch'
