/** Many drawn vehicles measured as a run would, and each figure held against the truth and its own uncertainty. */
import { analyseInput } from '../../src/measure/analyse.js'
import type { Estimate } from '../../src/measure/estimate.js'
import type { LeadData } from '../../src/measure/lead.js'
import { locate } from '../../src/measure/locate.js'
import { measureOutputs, type OutputMeasures } from '../../src/measure/outputs.js'
import { sweepReference } from '../../src/measure/transfer.js'
import { type Base, baseOf, type Drawn, draw, RATE_HZ, type Truth } from './chain.js'

/** One figure of one take. Errors are in the measurand's own unit. */
export interface Trial {
  readonly error: number
  /** Expanded, k = 2. */
  readonly u: number
  readonly truth: number
}

export type Trials = ReadonlyMap<string, readonly Trial[]>

/** Vehicles that share a player and a clock. */
const PER_BASE = 25

/** @param count vehicles; the seeds are their numbers from the first on */
export function runCampaign(snrDb: number, count: number, firstSeed: number): Trials {
  const trials = new Map<string, Trial[]>()
  let base: Base | null = null
  for (let k = 0; k < count; k++) {
    if (base === null || k % PER_BASE === 0) base = baseOf(firstSeed + k)
    for (const [name, trial] of trialsOf(draw(base, firstSeed + k, snrDb))) {
      if (!trials.has(name)) trials.set(name, [])
      trials.get(name)!.push(trial)
    }
  }
  return trials
}

function trialsOf({ job, inputs, channels, truth }: Drawn): [string, Trial][] {
  const located = locate({ sampleRateHz: RATE_HZ, channels }, 'drawn take')
  const reference = sweepReference(located)
  const leads = channels.map(
    (channel, k): LeadData => ({
      outputNumber: k + 1,
      patchName: 'patch 1',
      inputNumber: k + 1,
      input: inputs[k],
      captureBits: 24,
      analysis: analyseInput(channel, located, reference),
      others: new Map(),
    }),
  )
  const measures = measureOutputs(job, leads)
  const clock: Trial = {
    error: located.clockOffsetPpm - truth.clockOffsetPpm,
    u: located.clockOffsetPpmU,
    truth: truth.clockOffsetPpm,
  }
  return [['clock offset', clock], ...MEASURANDS.flatMap(({ name, read }) => read(measures, truth).map(named(name)))]
}

const named =
  (name: string) =>
  (trial: Trial): [string, Trial] => [name, trial]

const against = (from: Estimate | null, truth: number): Trial[] =>
  from === null || from.isAtMost ? [] : [{ error: from.value - truth, u: from.u, truth }]

const dbv = (volts: number): number => 20 * Math.log10(volts)

interface Measurand {
  readonly name: string
  readonly read: (measures: readonly OutputMeasures[], truth: Truth) => Trial[]
}

const MEASURANDS: readonly Measurand[] = [
  {
    name: 'level',
    read: (measures, { levelVrms }) =>
      measures.flatMap(({ deviationDb, spec }, k) => against(deviationDb, dbv(levelVrms[k]) - dbv(spec.levelVrms))),
  },
  {
    name: 'delay',
    read: ([first, second], { delayS }) => {
      const spread = second.delayS && first.delayS ? second.delayS : null
      return against(spread, delayS)
    },
  },
  {
    name: 'THD',
    read: ([{ thdPct }], { a2, a3 }) => against(thdPct, thdPctOf(a2, a3)),
  },
  {
    name: 'noise',
    read: (measures, { noiseVrms }) => measures.flatMap(({ noiseDbv }, k) => against(noiseDbv, dbv(noiseVrms[k]))),
  },
  {
    name: 'noise A',
    // White noise reads 2.0483 dB less through A than unweighted in the same band (closed form of IEC 61672-1, integrated).
    read: (measures, { noiseVrms }) =>
      measures.flatMap(({ noiseADbv }, k) => against(noiseADbv, dbv(noiseVrms[k]) - 2.0483)),
  },
]

/** THD over the fundamental of x + a2 x² + a3 x³ at -3 dBFS, percent. */
function thdPctOf(a2: number, a3: number): number {
  const peak = 10 ** (-3 / 20)
  const fundamental = peak + 0.75 * a3 * peak ** 3
  return (100 * Math.hypot(0.5 * a2 * peak ** 2, 0.25 * a3 * peak ** 3)) / fundamental
}

export interface Summary {
  readonly count: number
  readonly worst: number
  readonly rms: number
  /** Share of trials whose interval holds the truth. */
  readonly coverage: number
  readonly medianU: number
}

export function summaryOf(trials: readonly Trial[]): Summary {
  const errors = trials.map(({ error }) => Math.abs(error))
  const us = trials.map(({ u }) => u).sort((a, b) => a - b)
  return {
    count: trials.length,
    worst: Math.max(...errors),
    rms: Math.sqrt(errors.reduce((sum, error) => sum + error * error, 0) / errors.length),
    coverage: trials.filter(({ error, u }) => Math.abs(error) <= u).length / trials.length,
    medianU: us[us.length >> 1],
  }
}
