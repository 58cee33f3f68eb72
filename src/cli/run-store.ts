/**
 * The takes of a run on disk, together with its journal: what a take needs so that a kill at any moment loses nothing
 * that had ended.
 */
import { existsSync } from 'node:fs'
import { readdir, rename, rm } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { sha256Of } from '../archive/run-folder.js'
import type { RunJournal, TakeEntry } from '../archive/run-journal.js'
import { syncFolder } from '../archive/safe-write.js'
import { readRecording } from '../instruments/recording.js'
import { partPath, TakeFile } from '../instruments/take-file.js'
import type { TakeFormat, TakeStore } from '../stages/bench-takes.js'
import type { MeterWord } from '../stages/meter-check.js'
import type { PlannedTake } from '../stages/planned-takes.js'
import type { RunMemory, TaintedTake } from '../stages/run-memory.js'
import { isTaint, type TakeSink } from '../stages/take.js'
import type { Take } from '../stages/verify.js'
import { StopError } from '../units/stop.js'
import { shown } from './files.js'

type Decide = (tainted: TaintedTake, signal: AbortSignal) => Promise<boolean>

export class RunStore implements TakeStore, RunMemory {
  constructor(
    private readonly journal: RunJournal,
    private readonly captureBits: number,
    readonly isToBeTakenAgain: Decide,
  ) {}

  get meterWord(): MeterWord | null {
    return this.journal.state.meter
  }

  async open(
    name: string,
    format: TakeFormat,
    { patch, setting }: PlannedTake,
    onFailure: (error: StopError) => void,
  ): Promise<TakeSink> {
    const path = this.pathOf(name)
    await setPartAside(path)
    const file = await TakeFile.create(path, format, onFailure)
    let frameCount = 0
    return {
      append: (block) => {
        frameCount += block[0].length
        file.append(block)
      },
      finish: async (faults) => {
        // Before the file gets its name: a file with a name is then known, with its faults, whenever a kill comes.
        await this.journal.noteTake({
          patch: patch.name,
          setting,
          file: name,
          sampleRateHz: format.sampleRateHz,
          inputCount: format.channelCount,
          frameCount,
          captureBits: this.captureBits,
          faults: faults.map(({ says }) => says),
          endedAt: new Date().toISOString(),
          sha256: null,
          state: faults.some(isTaint) ? 'tainted' : 'kept',
          why: '',
        })
        await file.finish()
        await syncFolder(dirname(path))
      },
      discard: () => file.discard(),
    }
  }

  sha256(name: string): Promise<string> {
    return sha256Of(this.pathOf(name))
  }

  async earlier({ patch, setting }: PlannedTake): Promise<Take | null> {
    const entry = this.journal.state.takes.find(
      (one) => one.patch === patch.name && one.setting === setting && one.state === 'kept',
    )
    if (!entry) return null
    const path = this.pathOf(entry.file)
    const { audio, sha256 } = await readRecording(path)
    if (sha256 !== entry.sha256) {
      throw new StopError(
        'this take has changed while it was read',
        shown(path),
        'Give the same command again: it will be taken again.',
        'instrument',
      )
    }
    return {
      patchName: patch.name,
      setting,
      audio,
      captureBits: entry.captureBits,
      source: entry.file,
      sha256: async () => sha256,
      faults: entry.faults,
      refuse: ({ message }) => this.refuse(entry.file, message),
    }
  }

  freeName({ name }: PlannedTake): string {
    const isFree = (candidate: string): boolean =>
      !existsSync(this.pathOf(candidate)) && !this.journal.state.takes.some(({ file }) => file === candidate)
    for (let number = 1; ; number++) {
      // No patch's file name holds a dot, so this is nobody else's.
      const candidate = number === 1 ? name : name.replace(/\.wav$/, `.${number}.wav`)
      if (isFree(candidate)) return candidate
    }
  }

  async settle(take: PlannedTake, name: string): Promise<void> {
    if (this.entryOf(name)?.state !== 'kept') await this.journal.changeTake(name, { state: 'kept' })
    // An earlier attempt that was whole and doubtful counts no longer.
    const others = this.journal.state.takes.filter(
      ({ patch, setting, file, state }) =>
        patch === take.patch.name && setting === take.setting && file !== name && state === 'kept',
    )
    for (const { file } of others) await this.journal.changeTake(file, { state: 'tainted' })
    for (const part of await partsIn(this.journal.folder)) {
      if (isPartOf(part, take)) await rm(this.pathOf(part), { force: true })
    }
  }

  async sealed(name: string, sha256: string): Promise<void> {
    if (this.entryOf(name)?.sha256 !== sha256) await this.journal.changeTake(name, { sha256 })
  }

  async refuse(name: string, why: string): Promise<void> {
    await this.journal.changeTake(name, { state: 'refused', why })
  }

  private entryOf(name: string): TakeEntry | undefined {
    return this.journal.state.takes.find(({ file }) => file === name)
  }

  private pathOf(name: string): string {
    return join(this.journal.folder, name)
  }
}

const PART_PATTERN = /^(.+?)(?:\.\d+)?\.wav\.part(?:-\d+)?$/

/** Takes that a kill left half written, relative to the run's folder. */
export async function partsIn(folder: string): Promise<string[]> {
  const names = await readdir(join(folder, 'takes')).catch(() => [])
  return names.filter((name) => PART_PATTERN.test(name)).map((name) => `takes/${name}`)
}

function isPartOf(part: string, { name }: PlannedTake): boolean {
  return `${PART_PATTERN.exec(part)?.[1]}.wav` === name
}

/** A part that a kill left stays until its take has been taken again whole; the new one begins beside it. */
async function setPartAside(path: string): Promise<void> {
  const part = partPath(path)
  if (!existsSync(part)) return
  let number = 1
  while (existsSync(`${part}-${number}`)) number++
  await rename(part, `${part}-${number}`)
}
