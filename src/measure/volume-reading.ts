/**
 * One take of the staircases at one volume: how clean each output is for a full-scale source, and what it gives.
 *
 * The input of an amplifier that adds outputs is read as one: their volts are added before it is read.
 */
import type { AmplifierSpec } from '../job/gains.js'
import type { Job, OutputSpec } from '../job/job.js'
import { defaultReferenceHz } from '../job/parse.js'
import { fullScaleAtLead, type Lead, type RigInput } from '../rig/rig.js'
import { staircaseHzFor } from '../stimulus/excerpt.js'
import type { Located } from './analysis.js'
import { relativeFromDb } from './estimate.js'
import { CLIPPED_FS } from './input-meter.js'
import { calibrationBudget } from './rig-reach.js'
import { readStaircase, type StaircaseReading } from './staircase.js'

export interface OutputAtVolume {
  readonly outputNumber: number
  readonly freqHz: number
  /** Volts for a full-scale source by its low steps; null where nothing of the staircase comes through. */
  readonly fullScaleVrms: number | null
  /** Of the step at full scale, standard uncertainty in the same unit. */
  readonly thdPct: number
  readonly thdPctU: number
  readonly isAtMost: boolean
  readonly isHard: boolean
  /** The card stopped before the output did: its distortion is the card's. */
  readonly isCardOverdriven: boolean
}

export interface InputAtVolume {
  readonly channel: string
  readonly freqHz: number
  readonly fullScaleVrms: number
  /** Relative standard uncertainties. */
  readonly budget: Readonly<Record<string, number>>
}

export interface TakeAtVolume {
  readonly outputs: readonly OutputAtVolume[]
  readonly inputs: readonly InputAtVolume[]
}

/** Where an amplifier's input is read: as its outputs together, which end where none of them goes on. */
export function channelHz(spec: AmplifierSpec, job: Job): number {
  const fed = job.outputs.filter(({ number }) => spec.outputs.includes(number))
  const end = (corners: readonly (number | null)[], pick: (...values: number[]) => number): number | null =>
    corners.includes(null) ? null : pick(...(corners as number[]))
  const lowHz = end(
    fed.map((one) => one.lowHz),
    Math.min,
  )
  const highHz = end(
    fed.map((one) => one.highHz),
    Math.max,
  )
  return staircaseHzFor(defaultReferenceHz(lowHz, highHz))
}

/** @param channels samples of all inputs of the take */
export function readAtVolume(
  job: Job,
  inputs: readonly RigInput[],
  leads: readonly Lead[],
  channels: readonly Float32Array[],
  located: Located,
): TakeAtVolume {
  const thdLimitRatio = (job.gains.thdPctMax ?? job.limits.thdPctMax) / 100
  const used = new Set(job.amplifiers.flatMap(({ outputs }) => outputs))
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const leadOf = (number: number): Lead | undefined => leads.find(({ outputNumber }) => outputNumber === number)
  const read = (samples: Float32Array, freqHz: number, delayS: number): StaircaseReading | null =>
    readStaircase(samples, located, freqHz, { thdLimitRatio, delayS })
  const outputs = leads
    .filter(({ outputNumber }) => used.has(outputNumber))
    .map(({ inputNumber, outputNumber }): OutputAtVolume => {
      const spec = specOf(outputNumber)
      const freqHz = staircaseHzFor(spec.referenceHz)
      const reading = read(channels[inputNumber - 1], freqHz, spec.delayS)
      const top = reading?.steps.at(-1)
      return {
        outputNumber,
        freqHz,
        fullScaleVrms: reading && reading.gain * fullScaleAtLead(inputs[inputNumber - 1]),
        thdPct: 100 * (top?.thd.value ?? 0),
        thdPctU: 100 * (top?.thd.u ?? 0),
        isAtMost: top?.thd.isAtMost ?? true,
        isHard: reading?.kind === 'hard clipping',
        isCardOverdriven: (top?.samplePeakFs ?? 0) >= CLIPPED_FS,
      }
    })
  const fed = job.amplifiers.flatMap((spec): InputAtVolume[] => {
    const its = spec.outputs.map(leadOf)
    if (its.some((lead) => lead === undefined)) return []
    const found = its as Lead[]
    const freqHz = channelHz(spec, job)
    const volts = new Float32Array(channels[0].length)
    for (const { inputNumber } of found) {
      const perFs = fullScaleAtLead(inputs[inputNumber - 1])
      const samples = channels[inputNumber - 1]
      for (let n = 0; n < volts.length; n++) volts[n] += perFs * samples[n]
    }
    const reading = read(volts, freqHz, Math.max(...spec.outputs.map((number) => specOf(number).delayS)))
    if (!reading) return []
    const [input] = found.map(({ inputNumber }) => inputs[inputNumber - 1])
    const calibration = Object.entries(calibrationBudget(input)).map(([source, uDb]) => [source, relativeFromDb(uDb)])
    const budget = { ...Object.fromEntries(calibration), noise: reading.gainRelativeU }
    return [{ channel: spec.name, freqHz, fullScaleVrms: reading.gain, budget }]
  })
  return { outputs, inputs: fed }
}
