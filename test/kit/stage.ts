/** A stage on the simulated bench: its answers scripted, its memory in memory. */
import { createHash } from 'node:crypto'
import type { Job } from '../../src/job/job.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Bench, Block } from '../../src/rig/roles.js'
import type { Guide, Reply } from '../../src/stages/guide.js'
import type { StageContext, StageMemory } from '../../src/stages/stage.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { durationS } from '../../src/units/audio.js'
import { simulatedBench } from '../../src/vehicle/bench.js'
import { parseFaults } from '../../src/vehicle/faults.js'

/** Answers by name: of a thing to do 'back' or 'skip', once each in order; of a question its text. Unnamed: done, usual. */
export type Script = Record<string, readonly string[]>

export interface Scene {
  readonly context: StageContext
  readonly bench: Bench
  /** All that was asked and said, in order: 'todo pins.C1-4', 'value …', 'say …'. */
  readonly told: string[]
  readonly kept: Map<string, unknown>
}

export function sceneOf(job: Job, rig: Rig, faultsText = '{}', script: Script = {}, kept = new Map()): Scene {
  const patches = planPatches(job, rig)
  const bench = simulatedBench(job, rig, parseFaults(faultsText, 'faults'), patches)
  const told: string[] = []
  const left = new Map(Object.entries(script).map(([name, answers]) => [name, [...answers]]))
  const guide: Guide = {
    isAttended: false,
    say: (text) => told.push(`say ${text}`),
    choose: async () => '',
    todo: async ({ name }) => {
      told.push(`todo ${name}`)
      return (left.get(name)?.shift() ?? 'done') as Reply
    },
    value: async ({ name, usual, check }) => {
      told.push(`value ${name}`)
      const answer = left.get(name)?.shift() ?? usual
      return answer === 'back' ? null : check(answer)
    },
  }
  const memory: StageMemory = {
    get: (key) => kept.get(key),
    put: async (key, value) => void kept.set(key, JSON.parse(JSON.stringify(value))),
    drop: async (key) => void kept.delete(key),
    take: async (what, make) => {
      const digest = createHash('sha256')
      const raw = await make(async () => ({
        append: (block: Block) => {
          for (const channel of block) digest.update(channel)
        },
        finish: async () => {},
        discard: async () => {},
      }))
      const { audio, faults } = raw
      return {
        audio,
        take: {
          what,
          source: `takes/${what.replaceAll(' ', '-')}.wav`,
          sha256: digest.digest('hex'),
          sampleRateHz: audio.sampleRateHz,
          inputCount: audio.channels.length,
          durationS: durationS(audio),
          faults: [...faults],
        },
      }
    },
  }
  const context: StageContext = {
    job,
    rig,
    patches,
    bench,
    guide,
    memory,
    stages: [],
    now: () => new Date(Date.UTC(2026, 0, 1) + 1000 * bench.clock.nowS()),
    onProgress: () => {},
    signal: new AbortController().signal,
  }
  return { context, bench, told, kept }
}
