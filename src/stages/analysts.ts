/**
 * Analyses the inputs of a take side by side on the machine's cores.
 *
 * The workers start with the run and warm up while the take is read or recorded. Samples are handed over to
 * them, not copied: after analyse() a take is used up. Where the program runs from its sources (in tests)
 * there is no compiled worker to start, and the same work is done in this thread.
 */
import { once } from 'node:events'
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

export class Analysts {
  private readonly workers: readonly Worker[]
  private readonly warm: Promise<unknown>

  /** @param sampleRateHz the rate that the takes will most likely have */
  constructor(inputCountMost: number, sampleRateHz: number) {
    // This thread does its share too.
    const count = Math.min(availableParallelism(), inputCountMost) - 1
    const url = new URL('./analyse-worker.js', import.meta.url)
    this.workers =
      IS_COMPILED && count > 0
        ? Array.from({ length: count }, () => new Worker(url, { workerData: { sampleRateHz } }))
        : []
    // A worker that dies of it is told by the first analysis.
    this.warm = Promise.allSettled(this.workers.map((worker) => once(worker, 'message')))
  }

  /** Resolves when all are warm: until then they take the processor from a player or a capture. */
  async ready(): Promise<void> {
    await this.warm
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
            worker.postMessage(request, [channels[index].buffer as ArrayBuffer])
            waiting++
          }
          const onAnswer = (answer: AnalyseAnswer | null): void => {
            if (answer === null) return
            const { index, analysis } = answer
            answers[index] = analysis
            waiting--
            hand()
            if (waiting === 0) finish(resolve)
          }
          const onError = (error: Error): void => finish(() => reject(error))
          const onAbort = (): void => finish(() => reject(signal.reason))
          worker.on('message', onAnswer).on('error', onError)
          signal.addEventListener('abort', onAbort, { once: true })
          // One in work and one in hand: this thread may be busy with its own when the first answer comes.
          hand()
          hand()
          if (waiting === 0) finish(resolve)
        }),
    )
    const own = async (): Promise<void> => {
      const reference = sweepReference(located)
      while (next < channels.length) {
        const index = next++
        answers[index] = analyseInput(channels[index], located, reference, setting)
        // Lets answers of the workers in, and a stop.
        await setImmediate()
        signal.throwIfAborted()
      }
    }
    await Promise.all([...working, own()])
    return answers
  }

  /** Ends the workers; safe to call twice. */
  async close(): Promise<void> {
    await Promise.all(this.workers.map((worker) => worker.terminate()))
  }
}
