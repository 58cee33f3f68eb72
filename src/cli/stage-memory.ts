/** What of a stage is on disk: its finished steps in the run's journal, its takes beside those of the outputs. */
import type { RunJournal } from '../archive/run-journal.js'
import type { StageName } from '../job/job.js'
import type { Rig } from '../rig/rig.js'
import type { Bench, Setting } from '../rig/roles.js'
import { takeUntilWhole } from '../stages/bench-takes.js'
import { type PlannedTake, slug } from '../stages/planned-takes.js'
import type { StageMemory } from '../stages/stage.js'
import { type Audio, durationS } from '../units/audio.js'
import type { StageTake } from '../verdict/stage-result.js'
import type { RunStore } from './run-store.js'

export function stageMemory(
  stage: StageName,
  journal: RunJournal,
  store: RunStore,
  bench: Bench,
  rig: Rig,
  signal: AbortSignal,
): StageMemory {
  const note = (steps: Record<string, unknown>): Promise<void> => journal.noteStage({ ...journal.stage(stage), steps })
  return {
    get: (key) => journal.stage(stage).steps[key],
    put: (key, value) => note({ ...journal.stage(stage).steps, [key]: value }),
    drop: (key) => {
      const { [key]: _, ...others } = journal.stage(stage).steps
      return note(others)
    },
    take: async (what, make) => {
      // In the journal it stands under the stage's name; no setting of the outputs is called so.
      const planned: PlannedTake = {
        patch: { name: stage, leads: [] },
        setting: what as Setting,
        name: `takes/${stage}-${slug(what)}.wav`,
      }
      const earlier = await store.earlier(planned)
      if (earlier) {
        const { audio, source, faults } = earlier
        return { audio, take: takeOf(what, source, audio, faults, await earlier.sha256()) }
      }
      const { name, raw } = await takeUntilWhole(bench, rig, planned, make, store, store, signal)
      const sha256 = await store.sha256(name)
      await store.sealed(name, sha256)
      return { audio: raw.audio, take: takeOf(what, name, raw.audio, raw.faults, sha256) }
    },
  }
}

const takeOf = (what: string, source: string, audio: Audio, faults: readonly string[], sha256: string): StageTake => ({
  what,
  source,
  sha256,
  sampleRateHz: audio.sampleRateHz,
  inputCount: audio.channels.length,
  durationS: durationS(audio),
  faults: [...faults],
})
