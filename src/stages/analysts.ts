/**
 * Analyses the inputs of a take side by side on the machine's cores.
 *
 * The workers start with the run and warm up while the take is read or recorded. Samples are handed over to
 * them, not copied: after analyse() a take is used up. Where the program runs from its sources (in tests)
 * there is no compiled worker to start, and the same work is done in this thread.
 */
import { availableParallelism } from 'node:os'
import { setImmediate } from 'node:timers/promises'
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
    // This thread does its share too.
    const count = Math.min(availableParallelism(), inputCountMost) - 1
    const url = new URL('./analyse-worker.js', import.meta.url)
    this.workers =
      IS_COMPILED && count > 0
        ? Array.from({ length: count }, () => new Worker(url, { workerData: { sampleRateHz } }))
        : []
  }

  /** @returns one analysis for each channel, in their order */
  async analyse(channels: readonly Float32Array[], located: Located, signal: AbortSignal): Promise<InputAnalysis[]> {
    signal.throwIfAborted()
    const answers: InputAnalysis[] = new Array(channels.length)
    // Dealt out in turn: every input is the same work.
    const handCount = this.workers.length + 1
    const share = (hand: number): number[] => [...channels.keys()].filter((index) => index % handCount === hand)
    const working = this.workers.map((worker, k) => {
      const indices = share(k)
      return new Promise<void>((resolve, reject) => {
        let left = indices.length
        const finish = (settle: () => void): void => {
          worker.off('message', onAnswer).off('error', onError)
          signal.removeEventListener('abort', onAbort)
          settle()
        }
        const onAnswer = ({ index, analysis }: AnalyseAnswer): void => {
          answers[index] = analysis
          if (--left === 0) finish(resolve)
        }
        const onError = (error: Error): void => finish(() => reject(error))
        const onAbort = (): void => finish(() => reject(signal.reason))
        if (left === 0) {
          resolve()
          return
        }
        worker.on('message', onAnswer).on('error', onError)
        signal.addEventListener('abort', onAbort, { once: true })
        for (const index of indices) {
          const request: AnalyseRequest = { index, channel: channels[index], located }
          worker.postMessage(request, [channels[index].buffer as ArrayBuffer])
        }
      })
    })
    await Promise.all([...working, this.ownShare(channels, share(handCount - 1), located, answers, signal)])
    return answers
  }

  /** This thread's part; between two inputs it lets a stop come through. */
  private async ownShare(
    channels: readonly Float32Array[],
    indices: readonly number[],
    located: Located,
    answers: InputAnalysis[],
    signal: AbortSignal,
  ): Promise<void> {
    const reference = sweepReference(located)
    for (const index of indices) {
      await setImmediate()
      signal.throwIfAborted()
      answers[index] = analyseInput(channels[index], located, reference)
    }
  }

  /** Ends the workers; safe to call twice. */
  async close(): Promise<void> {
    await Promise.all(this.workers.map((worker) => worker.terminate()))
  }
}
