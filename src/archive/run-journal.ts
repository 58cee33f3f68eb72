/**
 * The journal of a run: what the run is of, and what of it is finished. It is written anew at each step, aside and
 * renamed, so that a run that was killed can go on from it.
 *
 * A take is written down before its file gets its name. So a take of the journal whose file is there is whole, and its
 * faults are known, whenever the kill came; a file that only the journal knows was never finished.
 */
import { readFile, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { z } from 'zod'
import type { StageName } from '../job/job.js'
import { Check, Finding } from '../verdict/parts.js'
import { SettingAsked, Stage, StageResult } from '../verdict/stage-result.js'
import { isFullDisk, writeAside } from './safe-write.js'

export const JOURNAL_FILE = 'run.json'
export const JOURNAL_VERSION = 2
/** Room for the journal's next words on a disk that fills up. */
const RESERVE_FILE = '.reserve'
const RESERVE_BYTE_COUNT = 128 * 1024

const hash = z.string().regex(/^[0-9a-f]{64}$/)

const TakeEntry = z.strictObject({
  patch: z.string(),
  setting: z.string(),
  file: z.string().describe("Name relative to the run's folder"),
  sampleRateHz: z.number().positive(),
  inputCount: z.number().int().positive(),
  frameCount: z.number().int().min(0),
  captureBits: z.number().int().positive(),
  faults: z.array(z.string()),
  endedAt: z.string(),
  sha256: hash.nullable().describe('null: finished, and nobody has had the time to read it yet'),
  state: z
    .enum(['kept', 'tainted', 'refused'])
    .describe('kept: part of the result. tainted: to be taken again. refused: no track in it that can be measured'),
  why: z.string().describe('Why it was refused; empty otherwise'),
})
export type TakeEntry = z.infer<typeof TakeEntry>

const RunIdentity = z.strictObject({
  job: hash,
  rig: hash,
  calibration: hash.nullable().describe('Of the calibration file; null: there is none'),
  faults: hash.nullable().describe("Of the simulated vehicle's faults file; null: there is none"),
  stages: z.string().describe('What the run consists of: pins,outputs'),
})
/** SHA-256 of the texts that a run hangs on: with another one of them it is another run. */
export type RunIdentity = z.infer<typeof RunIdentity>

const MeterEntry = z.strictObject({ says: z.string(), check: Check, findings: z.array(Finding) })
const Instruments = z.strictObject({ capture: z.string(), player: z.string(), isSimulated: z.boolean() })

/** A stage besides the outputs, whose takes are in the list of takes. */
const StageEntry = z.strictObject({
  stage: Stage,
  steps: z.record(z.string(), z.unknown()).describe('What each finished step left'),
  result: StageResult.nullable().describe('null: not finished'),
})

export type StageEntry = z.infer<typeof StageEntry>

export const RunState = z.strictObject({
  format: z.literal('linetrue-run'),
  version: z.literal(JOURNAL_VERSION),
  program: z.string(),
  startedAt: z.string(),
  goneOnAt: z.array(z.string()).describe('When a later command went on with it'),
  of: RunIdentity,
  retestOf: z.string().nullable().optional().describe('The run that it follows, as the result will name it'),
  patches: z.array(
    z.strictObject({
      name: z.string(),
      leads: z.array(z.strictObject({ inputNumber: z.number().int(), outputNumber: z.number().int() })),
    }),
  ),
  notes: z.array(z.string()).describe('What the result has to say of how the run went'),
  instruments: Instruments.nullable(),
  meter: MeterEntry.nullable(),
  takes: z.array(TakeEntry),
  settings: z.array(SettingAsked),
  stages: z.array(StageEntry),
})
export type RunState = z.infer<typeof RunState>

export class RunJournal {
  private constructor(
    readonly folder: string,
    private current: RunState,
  ) {}

  get state(): RunState {
    return this.current
  }

  /** Whether anything in it would be missed. */
  get isEmpty(): boolean {
    return [this.current.takes, this.current.stages].every(({ length }) => length === 0) && this.current.meter === null
  }

  /** @throws StopError when it cannot be written */
  static async begin(folder: string, state: RunState): Promise<RunJournal> {
    const journal = new RunJournal(folder, state)
    await journal.reserve()
    try {
      await journal.write(state)
    } catch (error) {
      await journal.release()
      throw error
    }
    return journal
  }

  /** @returns null where there is none, or it cannot be understood */
  static async read(folder: string): Promise<RunJournal | null> {
    const text = await readFile(join(folder, JOURNAL_FILE), 'utf8').catch(() => null)
    if (text === null) return null
    try {
      return new RunJournal(folder, RunState.parse(JSON.parse(text)))
    } catch {
      return null
    }
  }

  /** Changes some of it; on disk when the promise resolves. @throws StopError when it cannot be written */
  async note(change: Partial<RunState>): Promise<void> {
    const next = { ...this.current, ...change }
    try {
      await this.write(next)
    } catch (error) {
      if (!isFullDisk(error)) throw error
      await this.release()
      await this.write(next)
    }
  }

  /** Adds a take, or says something new of the one with the same file. */
  async noteTake(entry: TakeEntry): Promise<void> {
    const others = this.current.takes.filter(({ file }) => file !== entry.file)
    await this.note({ takes: [...others, entry] })
  }

  /** What of a stage is finished; nothing yet for one that has not begun. */
  stage(name: StageName): StageEntry {
    return this.current.stages.find(({ stage }) => stage === name) ?? { stage: name, steps: {}, result: null }
  }

  async noteStage(entry: StageEntry): Promise<void> {
    const others = this.current.stages.filter(({ stage }) => stage !== entry.stage)
    await this.note({ stages: [...others, entry] })
  }

  async changeTake(file: string, change: Partial<TakeEntry>): Promise<void> {
    await this.note({
      takes: this.current.takes.map((entry) => (entry.file === file ? { ...entry, ...change } : entry)),
    })
  }

  /** Takes some room on the disk, as far as there is any. */
  async reserve(): Promise<void> {
    const path = join(this.folder, RESERVE_FILE)
    await writeFile(path, new Uint8Array(RESERVE_BYTE_COUNT).fill(0x2e), { flush: true }).catch(() => this.release())
  }

  /** Gives the reserved room back. */
  async release(): Promise<void> {
    await rm(join(this.folder, RESERVE_FILE), { force: true })
  }

  /** Takes the journal itself away: nothing in it would be missed. */
  async remove(): Promise<void> {
    await this.release()
    await rm(join(this.folder, JOURNAL_FILE), { force: true })
  }

  private async write(state: RunState): Promise<void> {
    await writeAside(this.folder, JOURNAL_FILE, `${JSON.stringify(state, null, 1)}\n`)
    this.current = state
  }
}
