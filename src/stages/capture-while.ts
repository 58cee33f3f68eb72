/** A capture that runs while a person or the vehicle does something, and nothing is played. */
import type { Bench, Block } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import type { StageMemory } from './stage.js'
import { joined, type MakeSink, type RawTake, rawTake, type TakeSink } from './take.js'

/** What has been heard by now. */
export interface Hearing {
  readonly sampleRateHz: number
  readonly heardS: number
  /** All inputs from a time of the capture on. */
  since(timeS: number): Float32Array[]
}

/**
 * @param during what happens meanwhile; the capture ends when it does
 * @throws StopError when the capture cannot start, gives nothing or breaks off; the reason of the signal when it was aborted
 */
export async function captureWhile(
  bench: Bench,
  makeSink: MakeSink,
  during: (hearing: Hearing, signal: AbortSignal) => Promise<void>,
  signal: AbortSignal,
): Promise<RawTake> {
  const blocks: Block[] = []
  let sink: TakeSink | null = null
  let frameCount = 0
  const run = await bench.capture.start((block) => {
    blocks.push(block)
    frameCount += block[0].length
    sink?.append(block)
  }, signal)
  const { sampleRateHz, inputCount } = run
  const ending = new AbortController()
  void run.failed?.then(({ says }) => ending.abort(brokenOff(bench, says)))
  const hearing: Hearing = {
    sampleRateHz,
    get heardS() {
      return frameCount / sampleRateHz
    },
    since: (timeS) => {
      const from = Math.max(0, Math.round(timeS * sampleRateHz))
      let [first, before] = [blocks.length, frameCount]
      while (first > 0 && before > from) before -= blocks[--first][0].length
      const later = joined(blocks.slice(first), inputCount)
      return later.map((channel) => channel.subarray(Math.max(0, from - before)))
    },
  }
  try {
    const opened = await makeSink(sampleRateHz, inputCount, (error) => ending.abort(error))
    // What has come while it was opened.
    for (const block of blocks) opened.append(block)
    sink = opened
    const either = AbortSignal.any([signal, ending.signal])
    await during(hearing, either)
    either.throwIfAborted()
    const captureFaults = await run.stop()
    if (frameCount === 0) throw brokenOff(bench, 'no samples came')
    await opened.finish(captureFaults)
    return rawTake({ sampleRateHz, channels: joined(blocks, inputCount) }, captureFaults, null)
  } catch (error) {
    await run.stop().catch(() => {})
    await (sink as TakeSink | null)?.discard().catch(() => {})
    throw error
  }
}

const brokenOff = (bench: Bench, says: string): StopError =>
  new StopError(
    `the capture broke off: ${says}`,
    bench.capture.where,
    'Check the card and its cable, then give the same command again.',
    'instrument',
  )

/**
 * The name of a take. One that is made again after a step back has a number: its earlier one must not be read in its place.
 * @returns the name, and what to call when the step that it belongs to is through
 */
export function takeNameIn(memory: StageMemory, what: string): { name: string; through: () => Promise<void> } {
  const key = `through.${what}`
  const count = (memory.get(key) as number | undefined) ?? 0
  return {
    name: count === 0 ? what : `${what}, number ${count + 1}`,
    through: () => memory.put(key, count + 1),
  }
}
