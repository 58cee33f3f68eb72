/**
 * Analyses the inputs of a take side by side on the machine's cores.
 *
 * Samples that lie in shared memory are not copied for the workers. Where the program runs from its sources (in tests) there is no compiled worker to start, and the same
 * work is done in this thread.
 */
import { availableParallelism } from 'node:os'
import { setImmediate } from 'node:timers/promises'
import { Worker } from 'node:worker_threads'
import { analyseInput } from '../measure/analyse.js'
import type { Located } from '../measure/analysis.js'
import type { InputAnalysis } from '../measure/input-analysis.js'
import { sweepReference } from '../measure/transfer.js'
import type { Setting } from '../rig/roles.js'
import type { AnalyseAnswer, AnalyseRequest } from './analyse-worker.js'

const IS_COMPILED = import.meta.url.endsWith('.js')

/** The analysis makes few objects; what is not given to them is room for samples. */
const LIMITS = { maxYoungGenerationSizeMb: 6 } as const

export class Analysts {
  private readonly workers: readonly Worker[]

  constructor(inputCountMost: number) {
    const count = IS_COMPILED ? Math.min(availableParallelism(), inputCountMost) : 0
    const url = new URL('./analyse-worker.js', import.meta.url)
    this.workers = Array.from({ length: count }, () => new Worker(url, { resourceLimits: LIMITS }))
  }

  get workerCount(): number {
    return this.workers.length
  }

  /** @returns one analysis for each channel, in their order */
  async analyse(
    channels: readonly Float32Array[],
    located: Located,
    setting: Setting,
    signal: AbortSignal,
  ): Promise<InputAnalysis[]> {
    signal.throwIfAborted()
    const answers: InputAnalysis[] = new Array(channels.length)
    let next = 0
    const working = this.workers.map(
      (worker) =>
        new Promise<void>((resolve, reject) => {
          let waiting = 0
          const finish = (settle: () => void): void => {
            worker.off('message', onAnswer).off('error', onError)
            signal.removeEventListener('abort', onAbort)
            settle()
          }
          const hand = (): void => {
            if (next >= channels.length) return
            const index = next++
            const request: AnalyseRequest = { index, channel: channels[index], located, setting }
            // Never transferred: the first array that is taken away from its thread makes the engine throw away all
            // compiled code that reads arrays, and costs a second.
            worker.postMessage(request)
            waiting++
          }
          const onAnswer = ({ index, analysis }: AnalyseAnswer): void => {
            answers[index] = analysis
            waiting--
            hand()
            if (waiting === 0) finish(resolve)
          }
          const onError = (error: Error): void => finish(() => reject(error))
          const onAbort = (): void => finish(() => reject(signal.reason))
          worker.on('message', onAnswer).on('error', onError)
          signal.addEventListener('abort', onAbort, { once: true })
          hand()
          if (waiting === 0) finish(resolve)
        }),
    )
    await Promise.all(working)
    if (this.workers.length > 0) return answers
    const reference = sweepReference(located)
    for (const [index, channel] of channels.entries()) {
      answers[index] = analyseInput(channel, located, reference, setting)
      // Lets a stop in.
      await setImmediate()
      signal.throwIfAborted()
    }
    return answers
  }

  /** Ends the workers; safe to call twice. */
  async close(): Promise<void> {
    await Promise.all(this.workers.map((worker) => worker.terminate()))
  }
}
