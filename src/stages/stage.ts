/** What a stage of a job is given, and how it goes through its steps: back where a person steps back, on where a run was stopped. */
import type { Job, StageName } from '../job/job.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import type { Audio } from '../units/audio.js'
import type { StageResult, StageTake } from '../verdict/stage-result.js'
import type { Guide } from './guide.js'
import type { OnProgress } from './progress.js'
import type { MakeSink, RawTake } from './take.js'

/** What of a stage is on disk: steps that were finished, and takes. Values are JSON. */
export interface StageMemory {
  get(key: string): unknown
  put(key: string, value: unknown): Promise<void>
  drop(key: string): Promise<void>
  /**
   * A take that is kept in the run's folder; an earlier one of the same name is read in place of making it.
   * @param what 'volume 24': its name in the result
   */
  take(what: string, make: (makeSink: MakeSink) => Promise<RawTake>): Promise<StageRecording>
}

export interface StageRecording {
  readonly audio: Audio
  readonly take: StageTake
}

export interface StageContext {
  readonly job: Job
  /** With what its calibration says. */
  readonly rig: Rig
  readonly patches: readonly PatchSpec[]
  readonly bench: Bench
  readonly guide: Guide
  readonly memory: StageMemory
  /** All stages of this run. */
  readonly stages: readonly StageName[]
  /** Date and time, for the record. */
  readonly now: () => Date
  readonly onProgress: OnProgress
  readonly signal: AbortSignal
}

/** @throws StopError when an instrument or a file stops it; what is wrong with the vehicle is in the result */
export type Stage = (context: StageContext) => Promise<StageResult>

/** One step: something to do and to read. 'back' and 'skip' are what a person answered. */
export interface Step<T extends object> {
  readonly key: string
  run(): Promise<T | 'back' | 'skip'>
}

/**
 * Goes through steps in order. Each finished one is on disk before the next begins.
 * @param T what a step leaves, as JSON
 * @returns what each left; null where it was left out
 */
export async function inSteps<T extends object>(
  steps: readonly Step<T>[],
  memory: StageMemory,
  signal: AbortSignal,
): Promise<(T | null)[]> {
  for (let at = 0; at < steps.length; ) {
    signal.throwIfAborted()
    const { key, run } = steps[at]
    if (memory.get(key) !== undefined) {
      at++
      continue
    }
    const left = await run()
    if (left === 'back') {
      at = Math.max(0, at - 1)
      await memory.drop(steps[at].key)
      continue
    }
    await memory.put(key, left === 'skip' ? null : left)
    at++
  }
  return steps.map(({ key }) => memory.get(key) as T | null)
}
