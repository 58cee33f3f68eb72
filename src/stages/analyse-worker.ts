/** Worker thread: analyses inputs of takes, one message each. */
import { parentPort } from 'node:worker_threads'
import { analyseInput } from '../measure/analyse.js'
import type { Located } from '../measure/analysis.js'
import type { InputAnalysis } from '../measure/input-analysis.js'
import { type SweepReference, sweepReference } from '../measure/transfer.js'
import type { Setting } from '../rig/roles.js'

export interface AnalyseRequest {
  readonly index: number
  readonly channel: Float32Array
  readonly located: Located
  readonly setting: Setting
}

export interface AnalyseAnswer {
  readonly index: number
  readonly analysis: InputAnalysis
}

let known: { located: Located; sweeps: SweepReference } | null = null

parentPort?.on('message', ({ index, channel, located, setting }: AnalyseRequest) => {
  if (known?.located.startSample !== located.startSample || known.located.samplesPerS !== located.samplesPerS) {
    known = { located, sweeps: sweepReference(located) }
  }
  const answer: AnalyseAnswer = { index, analysis: analyseInput(channel, located, known.sweeps, setting) }
  parentPort!.postMessage(answer)
})
