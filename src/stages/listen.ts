/**
 * Listening for a track that a person starts: a stick, a disc or a phone in the head unit.
 *
 * The capture runs for as long as it takes. Only the last seconds are kept, in memory, until the opening marker is heard; from a
 * few seconds before it everything goes to disk and memory as in any take, until the closing marker's time has passed. A
 * track that stops half way is said, and listening goes on.
 */
import { CLOCK_RATIO_MAX, DISTANCE_S } from '../measure/chirps.js'
import { closingIn, OPENING_HEARD_S, openingIn } from '../measure/marker-watch.js'
import type { Bench, Block, CaptureFault, CaptureRun } from '../rig/roles.js'
import {
  CHIRP,
  CLOSING_SPACING_S,
  openingSpacingS,
  sectionStartS,
  TRACK_REVISION,
  trackDurationS,
} from '../stimulus/layout.js'
import type { Audio } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { BlockRing } from './block-ring.js'
import { HeardTake } from './heard-take.js'
import type { OnProgress } from './progress.js'
import { joined, type MakeSink, type RawTake, rawTake, withBreak } from './take.js'

export interface ListenRequest {
  /** Called with the capture's own rate and inputs when the marker has been heard; null: the take is kept in memory only. */
  readonly makeSink: MakeSink | null
  /** Gets the opening marker as it was captured, before anything louder comes; what it throws ends the listening. */
  readonly onMarker: (marker: Audio) => void
  /** A line that stays: why a track was not taken, and what to do. */
  readonly say: (text: string) => void
}

/** How often it is looked whether the marker has come, and over what stretch: each marker is whole in one of them. */
const LOOK_EVERY_S = 1
const STRETCH_S = OPENING_HEARD_S + LOOK_EVERY_S + 0.3
/** Kept before the track's own first sample. */
const BEFORE_S = 1.5
const RING_S = STRETCH_S + sectionStartS('opening') + BEFORE_S
const MARKER_S = openingSpacingS(TRACK_REVISION) + CHIRP.durationS
/** After the closing marker's last chance, for what is still on its way. */
const AFTER_S = 1
/** Outputs are no further apart. */
const APART_S = 0.06
/** A capture that has given nothing for so long has stopped. */
const STALLED_S = 5
const AGAIN = 'Play the track again from its beginning; still listening.'

/**
 * @returns the take: from a few seconds before the opening marker to a second after the closing one
 * @throws StopError when the capture cannot start or stops, or onMarker objects; the reason of the signal when it was aborted
 */
export async function listenForTrack(
  bench: Bench,
  request: ListenRequest,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<RawTake> {
  const early: Block[] = []
  const state: { listener: Listener | null; lastBlockMs: number } = { listener: null, lastBlockMs: performance.now() }
  const run = await bench.capture.start((block) => {
    state.lastBlockMs = performance.now()
    if (state.listener) state.listener.hear(block)
    else early.push(block)
  }, signal)
  let stalled: NodeJS.Timeout | null = null
  let onAbort = (): void => {}
  try {
    await new Promise<void>((resolve, reject) => {
      onAbort = () => reject(signal.reason)
      signal.addEventListener('abort', onAbort, { once: true })
      signal.throwIfAborted()
      stalled = setInterval(() => {
        if (performance.now() - state.lastBlockMs > 1000 * STALLED_S) reject(noSamples(bench))
      }, 500)
      state.listener = new Listener(run, request, onProgress, resolve, reject)
      for (const block of early.splice(0)) state.listener.hear(block)
      void run.failed?.then((fault) => state.listener!.breakOff(fault, bench.capture.where))
    })
    const broken = state.listener!.brokenBy
    const { audio, faults } = await state.listener!.finish(withBreak(await run.stop(), broken))
    return rawTake(audio, faults, broken)
  } catch (error) {
    await run.stop().catch(() => {})
    await state.listener?.drop()
    throw error
  } finally {
    if (stalled) clearInterval(stalled)
    signal.removeEventListener('abort', onAbort)
  }
}

const noSamples = (bench: Bench): StopError =>
  new StopError(
    `no samples have come for ${STALLED_S} s while listening`,
    bench.capture.where,
    'Check the card and its cable, then start the run again.',
    'instrument',
  )

/** What is heard so far. Frames count from the capture's start. */
class Listener {
  private readonly rateHz: number
  private readonly ring: BlockRing
  private nextLook: number
  private take: HeardTake | null = null
  /** Markers before this frame have been dealt with. */
  private settledFrame = 0
  /** Settled when the file of a take that was given up is gone. */
  private leaving: Promise<void> = Promise.resolve()
  private isOver = false
  /** The fault with which the capture ended in the midst of a take. */
  brokenBy: CaptureFault | null = null

  constructor(
    private readonly run: CaptureRun,
    private readonly request: ListenRequest,
    private readonly onProgress: OnProgress,
    private readonly onWhole: () => void,
    private readonly onFailure: (error: unknown) => void,
  ) {
    this.rateHz = run.sampleRateHz
    this.ring = new BlockRing(run.inputCount, this.frames(RING_S))
    this.nextLook = this.frames(STRETCH_S)
    this.tell()
  }

  hear(block: Block): void {
    if (this.isOver) return
    this.ring.push(block)
    this.take?.add(block)
    if (this.ring.endFrame < this.nextLook) return
    this.nextLook = this.ring.endFrame + this.frames(LOOK_EVERY_S)
    try {
      this.look()
    } catch (error) {
      // The capture delivers blocks from wherever it likes: nothing may be thrown at it.
      this.fail(error)
    }
  }

  breakOff(fault: CaptureFault, where: string): void {
    if (this.isOver) return
    if (this.take) {
      this.isOver = true
      this.brokenBy = fault
      this.onWhole()
    } else {
      this.fail(
        new StopError(fault.says, where, 'Check the card and its cable, then start the run again.', 'instrument'),
      )
    }
  }

  /** @param all faults of the whole capture; what happened before the track was played is none of the take's affair */
  async finish(all: readonly CaptureFault[]): Promise<{ audio: Audio; faults: readonly CaptureFault[] }> {
    const take = this.take!
    const faults = all.filter(({ atS }) => atS === null || atS >= take.firstFrame / this.rateHz)
    return { audio: await take.finish(faults), faults }
  }

  async drop(): Promise<void> {
    this.isOver = true
    await this.take?.drop()
  }

  private look(): void {
    const channels = this.ring.last(this.frames(STRETCH_S))
    const firstFrame = this.ring.endFrame - channels[0].length
    const stretch: Audio = { sampleRateHz: this.rateHz, channels }
    const opening = openingIn(stretch)
    const openingFrame = opening === null ? -1 : firstFrame + Math.round(opening.atS * this.rateHz)
    if (openingFrame >= this.settledFrame) this.begin(openingFrame)
    if (this.take) this.goOn(this.take, stretch, firstFrame)
    if (!this.isOver) this.tell()
  }

  private begin(markerFrame: number): void {
    this.settledFrame = markerFrame + this.frames(MARKER_S)
    if (this.take) {
      this.request.say('The track was started again: it is taken from there.')
      this.leave(this.take)
    }
    this.request.onMarker(this.markerAt(markerFrame))
    const wanted = markerFrame - this.frames(sectionStartS('opening') + BEFORE_S)
    const firstFrame = Math.max(this.ring.firstFrame, wanted)
    const blocks = this.ring.since(firstFrame)
    const { makeSink } = this.request
    const left = this.leaving
    // Both files may have the same name: the old one has to be gone.
    const openThen: MakeSink | null = makeSink && ((...format) => left.then(() => makeSink(...format)))
    this.take = new HeardTake(markerFrame, firstFrame, this.run, openThen, blocks, (error) => this.fail(error))
  }

  private markerAt(markerFrame: number): Audio {
    const count = this.frames(MARKER_S)
    const channels = joined(this.ring.since(markerFrame), this.run.inputCount)
    return { sampleRateHz: this.rateHz, channels: channels.map((channel) => channel.subarray(0, count)) }
  }

  private goOn(take: HeardTake, stretch: Audio, firstFrame: number): void {
    const sinceS = (frame: number): number => (frame - take.markerFrame) / this.rateHz
    const endS = sinceS(this.ring.endFrame)
    const latest = stretch.channels.map((channel) => channel.subarray(-this.frames(LOOK_EVERY_S)))
    if (!take.sound.look(latest, endS - latest[0].length / this.rateHz, endS)) {
      const playedS = take.sound.soundUntilS + sectionStartS('opening')
      this.giveUp(take, `The sound stopped about ${playedS.toFixed(0)} s into the track. ${AGAIN}`)
      return
    }
    const slackS = CLOCK_RATIO_MAX * DISTANCE_S + APART_S
    if (endS < DISTANCE_S + slackS + CLOSING_SPACING_S + CHIRP.durationS + AFTER_S) return
    const closing = closingIn(stretch)
    const closingS = closing === null ? Number.NaN : sinceS(firstFrame) + closing.atS
    if (Math.abs(closingS - DISTANCE_S) <= slackS) {
      this.isOver = true
      this.onWhole()
    } else this.giveUp(take, `The end of the track was not heard where it should be. ${AGAIN}`)
  }

  private giveUp(take: HeardTake, text: string): void {
    this.request.say(text)
    this.leave(take)
    this.take = null
  }

  private leave(take: HeardTake): void {
    this.leaving = take.drop().catch((error) => this.fail(error))
  }

  private fail(error: unknown): void {
    this.isOver = true
    this.onFailure(error)
  }

  private tell(): void {
    if (this.take === null) {
      this.onProgress({ step: 'listening', detail: 'play the track on the head unit', doneS: null, totalS: null })
      return
    }
    const totalS = trackDurationS()
    const playedS = (this.ring.endFrame - this.take.markerFrame) / this.rateHz + sectionStartS('opening')
    const doneS = Math.min(Math.floor(playedS), Math.floor(totalS))
    this.onProgress({ step: 'heard it', detail: `${doneS} of ${totalS.toFixed(0)} s`, doneS, totalS })
  }

  private frames(timeS: number): number {
    return Math.round(timeS * this.rateHz)
  }
}
