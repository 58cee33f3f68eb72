/** One take: the capture runs, the player plays, and every block goes to disk and to memory as it comes. */
import type { Bench, Block, CaptureFault, CaptureRun } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import type { StopError } from '../units/stop.js'
import type { OnProgress } from './progress.js'

/** Goes on capturing after the last sample, for what is still on its way. */
const TAIL_S = 1.5

export interface RawTake {
  readonly audio: Audio
  readonly faults: readonly string[]
  readonly captureFaults: readonly CaptureFault[]
  /** The capture ended before the sound did: there is no whole track in it. */
  readonly isBrokenOff: boolean
}

const TAINTS: readonly CaptureFault['kind'][] = ['overrun', 'short', 'vanished']

/** Whether another take may be better: a level that clips, a mute switch or a wrong rate will be the same again. */
export const isTaint = ({ kind }: CaptureFault): boolean => TAINTS.includes(kind)

/** Where the blocks of a take go besides memory; `finish` when it has ended, `discard` when it was stopped. */
export interface TakeSink {
  append(block: Block): void
  finish(faults: readonly CaptureFault[]): Promise<void>
  discard(): Promise<void>
}

/** Opens a sink for a capture's own rate and inputs; onFailure is called as soon as it can take no more. */
export type MakeSink = (
  sampleRateHz: number,
  inputCount: number,
  onFailure: (error: StopError) => void,
) => Promise<TakeSink>

/**
 * A capture that breaks off, or a disk that fills up, ends the sound at once.
 *
 * @param makeSink null: the take is kept in memory only
 * @throws StopError from capture or player; the reason of the signal when it was aborted
 */
export async function takeOnce(
  bench: Bench,
  sound: Audio,
  makeSink: MakeSink | null,
  says: { step: string; detail: string },
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<RawTake> {
  const blocks: Block[] = []
  const early: Block[] = []
  let sink: TakeSink | null = null
  const run = await bench.capture.start((block) => {
    blocks.push(block)
    if (sink) sink.append(block)
    else early.push(block)
  }, signal)
  const totalS = durationS(sound)
  const ticker = bench.isSimulated ? null : setInterval(() => report(), 250)
  const startedMs = performance.now()
  const report = (): void =>
    onProgress({ ...says, doneS: Math.min(totalS, (performance.now() - startedMs) / 1000), totalS })
  try {
    onProgress({ ...says, doneS: 0, totalS })
    const ending = new AbortController()
    if (makeSink) {
      sink = await makeSink(run.sampleRateHz, run.inputCount, (error) => ending.abort(error))
      for (const block of early) sink.append(block)
    }
    const broken = await playUnlessBrokenOff(bench, sound, run, ending, signal)
    const said = await run.stop()
    const captureFaults = withBreak(said, broken)
    await sink?.finish(captureFaults)
    return rawTake({ sampleRateHz: run.sampleRateHz, channels: joined(blocks, run.inputCount) }, captureFaults, broken)
  } catch (error) {
    await run.stop().catch(() => {})
    await sink?.discard().catch(() => {})
    throw error
  } finally {
    if (ticker) clearInterval(ticker)
  }
}

/** What a capture says at its end, with what it broke off for where it does not say that again. */
export const withBreak = (said: readonly CaptureFault[], broken: CaptureFault | null): readonly CaptureFault[] =>
  broken === null || said.some(({ kind }) => kind === broken.kind) ? said : [...said, broken]

export const rawTake = (
  audio: Audio,
  captureFaults: readonly CaptureFault[],
  broken: CaptureFault | null,
): RawTake => ({ audio, faults: captureFaults.map(({ says }) => says), captureFaults, isBrokenOff: broken !== null })

/**
 * @param ending stops the sound before its end
 * @returns the fault with which the capture broke off; null where it went on to the end
 */
async function playUnlessBrokenOff(
  bench: Bench,
  sound: Audio,
  run: CaptureRun,
  ending: AbortController,
  signal: AbortSignal,
): Promise<CaptureFault | null> {
  let broken: CaptureFault | null = null
  const brokenOff = (): CaptureFault | null => broken
  void run.failed?.then((fault) => {
    if (ending.signal.aborted) return
    broken = fault
    ending.abort()
  })
  const either = AbortSignal.any([signal, ending.signal])
  try {
    await bench.player.play(sound, either)
    if (!bench.isSimulated) await pause(TAIL_S, either)
    // A player may be through before it looks at its signal.
    either.throwIfAborted()
  } catch (error) {
    if (brokenOff() === null || signal.aborted) throw error
  }
  return brokenOff()
}

/** Waits, or rejects with the signal's reason. */
export function pause(lengthS: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve, reject) => {
    signal.throwIfAborted()
    const onAbort = (): void => {
      clearTimeout(timer)
      reject(signal.reason)
    }
    const timer = setTimeout(() => {
      signal.removeEventListener('abort', onAbort)
      resolve()
    }, 1000 * lengthS)
    signal.addEventListener('abort', onAbort, { once: true })
  })
}

export function joined(blocks: readonly Block[], inputCount: number): Float32Array[] {
  const frameCount = blocks.reduce((sum, block) => sum + block[0].length, 0)
  return Array.from({ length: inputCount }, (_, k) => {
    const channel = new Float32Array(frameCount)
    let at = 0
    for (const block of blocks) {
      channel.set(block[k], at)
      at += block[k].length
    }
    return channel
  })
}
