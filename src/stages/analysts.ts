/**
 * Analyses the inputs of a take side by side on the machine's cores.
 *
 * The workers start with the run and prepare themselves while the take is read or recorded. Samples are handed over to
 * them, not copied: after analyse() the take's channels are empty. Where the program runs from its sources (in tests)
 * there is no compiled worker to start, and the same work is done in this thread.
 */
import { availableParallelism } from 'node:os'
import { Worker } from 'node:worker_threads'
import { analyseInput } from '../measure/analyse.js'
import type { InputAnalysis, Located } from '../measure/analysis.js'
import { sweepReference } from '../measure/transfer.js'
import type { AnalyseAnswer, AnalyseRequest } from './analyse-worker.js'

const IS_COMPILED = import.meta.url.endsWith('.js')

export class Analysts {
  private readonly workers: readonly Worker[]

  /** @param sampleRateHz the rate that the takes will most likely have */
  constructor(inputCountMost: number, sampleRateHz: number) {
    const count = Math.min(availableParallelism(), inputCountMost)
    const url = new URL('./analyse-worker.js', import.meta.url)
    this.workers =
      IS_COMPILED && count > 1
        ? Array.from({ length: count }, () => new Worker(url, { workerData: { sampleRateHz } }))
        : []
  }

  /** @returns one analysis for each channel, in their order */
  async analyse(channels: readonly Float32Array[], located: Located, signal: AbortSignal): Promise<InputAnalysis[]> {
    signal.throwIfAborted()
    if (this.workers.length === 0) {
      const reference = sweepReference(located)
      return channels.map((channel) => analyseInput(channel, located, reference))
    }
    const answers: InputAnalysis[] = new Array(channels.length)
    let next = 0
    const serve = (worker: Worker): Promise<void> =>
      new Promise((resolve, reject) => {
        const hand = (): void => {
          const index = next++
          const channel = channels[index]
          if (!channel) {
            finish(resolve)
            return
          }
          const request: AnalyseRequest = { index, channel, located }
          worker.postMessage(request, [channel.buffer as ArrayBuffer])
        }
        const onAnswer = ({ index, analysis }: AnalyseAnswer): void => {
          answers[index] = analysis
          hand()
        }
        const onError = (error: Error): void => finish(() => reject(error))
        const onAbort = (): void => finish(() => reject(signal.reason))
        const finish = (settle: () => void): void => {
          worker.off('message', onAnswer).off('error', onError)
          signal.removeEventListener('abort', onAbort)
          settle()
        }
        worker.on('message', onAnswer).on('error', onError)
        signal.addEventListener('abort', onAbort, { once: true })
        hand()
      })
    await Promise.all(this.workers.map(serve))
    return answers
  }

  /** Ends the workers; safe to call twice. */
  async close(): Promise<void> {
    await Promise.all(this.workers.map((worker) => worker.terminate()))
  }
}
