/** One take: the capture runs, the player plays, and every block goes to disk and to memory as it comes. */
import type { Bench, Block } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import type { OnProgress } from './progress.js'

/** Goes on capturing after the last sample, for what is still on its way. */
const TAIL_S = 1.5

export interface RawTake {
  readonly audio: Audio
  readonly faults: readonly string[]
}

/** Where the blocks of a take go besides memory; `finish` when it is whole, `discard` when it was stopped. */
export interface TakeSink {
  append(block: Block): void
  finish(): Promise<void>
  discard(): Promise<void>
}

/**
 * @param makeSink called with the capture's own rate and inputs; null: the take is kept in memory only
 * @throws StopError from capture or player; the reason of the signal when it was aborted
 */
export async function takeOnce(
  bench: Bench,
  sound: Audio,
  makeSink: ((sampleRateHz: number, inputCount: number) => Promise<TakeSink>) | null,
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
    if (makeSink) {
      sink = await makeSink(run.sampleRateHz, run.inputCount)
      for (const block of early) sink.append(block)
    }
    await bench.player.play(sound, signal)
    if (!bench.isSimulated) await pause(TAIL_S, signal)
    const faults = await run.stop()
    await sink?.finish()
    return {
      audio: { sampleRateHz: run.sampleRateHz, channels: joined(blocks, run.inputCount) },
      faults: faults.map(({ says: text }) => text),
    }
  } catch (error) {
    await run.stop().catch(() => {})
    await sink?.discard().catch(() => {})
    throw error
  } finally {
    if (ticker) clearInterval(ticker)
  }
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

function joined(blocks: readonly Block[], inputCount: number): Float32Array[] {
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
