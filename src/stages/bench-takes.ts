/** Takes from a bench: each patch connected, probed, then the track played, at each setting that the job asks for. */
import { type Job, volumeOf } from '../job/job.js'
import { isStartedByHand, type PatchSpec, type Rig } from '../rig/rig.js'
import type { Bench, Setting } from '../rig/roles.js'
import type { LeadsOn } from '../stimulus/hook-up-plan.js'
import { renderTrack } from '../stimulus/render.js'
import { StopError } from '../units/stop.js'
import { checkLeads, connectLeads, NOBODY, type Person } from './hook-up.js'
import { listenForTrack } from './listen.js'
import { checkAgainstMeter, type MeterWord } from './meter-check.js'
import { type PlannedTake, plannedTakes, takeWords } from './planned-takes.js'
import type { OnProgress } from './progress.js'
import { NO_MEMORY, type RunMemory } from './run-memory.js'
import { checkMarker, softStart } from './soft-start.js'
import { isTaint, type MakeSink, type RawTake, type TakeSink, takeOnce } from './take.js'
import type { Take } from './verify.js'

export interface TakeFormat {
  readonly sampleRateHz: number
  readonly channelCount: number
  readonly bits: 16 | 24 | 32
}

export interface TakeStore {
  /**
   * Opens the file of a take.
   * @param name relative to the run's folder
   * @param onFailure to be called as soon as the file can take no more
   */
  open(name: string, format: TakeFormat, take: PlannedTake, onFailure: (error: StopError) => void): Promise<TakeSink>
  sha256(name: string): Promise<string>
}

/** Who and what hears of a run besides its takes. */
export interface Witness {
  readonly person: Person
  readonly onMeter: (word: MeterWord) => void | Promise<void>
  /** Leads that were not as expected and were left so: for the result. */
  readonly onNote: (note: string) => void | Promise<void>
}

/** Nobody hears of it. */
export const NO_WITNESS: Witness = { person: NOBODY, onMeter: () => {}, onNote: () => {} }

/** @param memory what earlier commands finished of this run: yielded in its place, and nothing is played for it */
export async function* benchTakes(
  bench: Bench,
  job: Job,
  rig: Rig,
  patches: readonly PatchSpec[],
  store: TakeStore,
  witness: Witness,
  onProgress: OnProgress,
  signal: AbortSignal,
  memory: RunMemory = NO_MEMORY,
): AsyncGenerator<Take> {
  onProgress({ step: 'making the track', detail: '', doneS: null, totalS: null })
  const track = await renderTrack(job.track.sampleRateHz)
  let hasMeterWord = memory.meterWord !== null
  const { person, onMeter, onNote } = witness
  const isByHand = isStartedByHand(rig.player)
  let connected: PatchSpec | null = null
  let leadsOn: LeadsOn = new Map()
  for (const take of plannedTakes(job, patches)) {
    const { patch, setting } = take
    const earlier = await memory.earlier(take)
    if (earlier) {
      yield earlier
      continue
    }
    if (patch !== connected) {
      leadsOn = await connectLeads(bench, job, rig, patch, leadsOn, person, signal)
      connected = patch
      // Every setting is a change from the reference: a run that goes on in the middle of a patch begins there too.
      await bench.set('reference', signal)
      const notes = isByHand ? [] : await checkLeads(bench, job, rig, patch, person, onProgress, signal)
      for (const note of notes) await onNote(note)
    }
    if (setting !== 'reference') await bench.set(setting, signal)
    if (isLouderThanReference(setting, job) && !isByHand) await softStart(bench, job, rig, patch, onProgress, signal)
    if (setting === 'reference' && !hasMeterWord && !isByHand) {
      const word = await checkAgainstMeter(bench, job, rig, patch, onProgress, signal)
      if (word) {
        hasMeterWord = true
        await onMeter(word)
      }
    }
    const takeAs = (makeSink: MakeSink): Promise<RawTake> =>
      isByHand
        ? listenForTrack(
            bench,
            { makeSink, onMarker: (marker) => checkMarker(marker, job, rig, patch), say: person.say },
            onProgress,
            signal,
          )
        : takeOnce(
            bench,
            track,
            makeSink,
            { step: 'playing and capturing', detail: takeWords(take) },
            onProgress,
            signal,
          )
    const { name, raw } = await takeUntilWhole(bench, rig, take, takeAs, store, memory, signal)
    let sha256: Promise<string> | null = null
    const checksum = (): Promise<string> => {
      sha256 ??= store.sha256(name)
      return sha256
    }
    yield {
      patchName: patch.name,
      setting,
      audio: raw.audio,
      captureBits: captureBitsOf(rig),
      source: name,
      sha256: checksum,
      faults: raw.faults,
      refuse: ({ message }) => memory.refuse(name, message),
    }
    // Measured by now: nobody waits for the disk.
    await memory.sealed(name, await checksum())
  }
}

/** 32 bits are a way to store samples; no converter has more than 24. */
export const captureBitsOf = (rig: Rig): number => Math.min(rig.capture.bits, 24)

/** Whether nothing as loud has been played at these leads yet. */
function isLouderThanReference(setting: Setting, { volumeStep }: Job): boolean {
  const volume = volumeOf(setting)
  return volume !== null && (volumeStep === null || volume > volumeStep)
}

interface Attempt {
  readonly name: string
  readonly raw: RawTake
}

/** Takes it again while the capture has a fault and somebody wants another; then the best of all counts. */
export async function takeUntilWhole(
  bench: Bench,
  rig: Rig,
  take: PlannedTake,
  takeAs: (makeSink: MakeSink) => Promise<RawTake>,
  store: TakeStore,
  memory: RunMemory,
  signal: AbortSignal,
): Promise<Attempt> {
  const { bits } = rig.capture
  let best: Attempt | null = null
  for (let attemptCount = 1; ; attemptCount++) {
    const name = memory.freeName(take)
    const raw = await takeAs((sampleRateHz, channelCount, onFailure) =>
      store.open(name, { sampleRateHz, channelCount, bits }, take, onFailure),
    )
    if (best === null || isBetter(raw, best.raw)) best = { name, raw }
    const isWhole = !raw.isBrokenOff && !raw.captureFaults.some(isTaint)
    if (isWhole && raw.captureFaults.length === 0) break
    const faults = raw.captureFaults.filter((fault) => isWhole || isTaint(fault))
    const says = faults.length > 0 ? faults.map((fault) => fault.says) : ['the capture broke off']
    const tainted = { take, says, attemptCount, isBrokenOff: raw.isBrokenOff, isWhole }
    if (await memory.isToBeTakenAgain(tainted, signal)) continue
    if (!best.raw.isBrokenOff) break
    throw new StopError(
      `the capture broke off before the track had ended${attemptCount > 1 ? `, ${attemptCount} times` : ''}: ${says.join('; ')}`,
      bench.capture.where,
      'Check the card and its cable, then give the same command again.',
      'instrument',
    )
  }
  await memory.settle(take, best.name)
  return best
}

/** Whole before broken off, then the fewest losses of the capture, then the fewest faults of any kind, then the longest. */
function isBetter(one: RawTake, other: RawTake): boolean {
  if (one.isBrokenOff !== other.isBrokenOff) return !one.isBrokenOff
  const [count, otherCount] = [one, other].map(({ captureFaults }) => captureFaults.filter(isTaint).length)
  if (count !== otherCount) return count < otherCount
  const [all, otherAll] = [one.captureFaults.length, other.captureFaults.length]
  if (all !== otherAll) return all < otherAll
  return one.audio.channels[0].length > other.audio.channels[0].length
}
