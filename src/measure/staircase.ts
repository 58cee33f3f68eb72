/**
 * The level staircase of one frequency: what each step comes out as, and how the output leaves the straight line.
 *
 * Levels of the source are dBFS of its full scale (a sine's), gains are output peak over source peak. Of each step only
 * the settled inner part counts, later by what the output is late.
 */
import { STAIRCASE_DBFS, sectionsOf } from '../stimulus/layout.js'
import { DB_PER_NEPER, dbFromRatio } from '../units/level.js'
import type { Located } from './analysis.js'
import { type Departure, departureOf, type StaircaseStep } from './staircase-departure.js'
import { distortionBound, readStep, stepReader } from './step-reading.js'

export const STAIRCASE_METHOD = 'level staircase/1'

/** From and to where in a step it is read, after the output's delay: fades take 10 ms, filters ring a little longer. */
const INNER_S = { from: 0.04, to: 0.188 } as const
/** Steps up to here set the straight line. */
const LOW_DBFS = -20
/** Harmonics are read where more is left than noise, and that might come near the limit; else all of it bounds them. */
const MORE_THAN_NOISE = 1.3
const NEAR_LIMIT = 0.03
const LATEST_S = 0.6

export interface StaircaseReading extends Departure {
  readonly freqHz: number
  /** Output peak for a source of full scale, by the low steps, and its relative standard uncertainty. */
  readonly gain: number
  readonly gainRelativeU: number
  readonly steps: readonly StaircaseStep[]
}

export interface StaircaseOptions {
  /** How much later than located the output is (transfer's centreS). */
  readonly delayS?: number
  /** Distortion from which a step counts as clipped; 1 % where nothing is said. */
  readonly thdLimitRatio?: number
  /** Loss of gain from which a step no longer counts as clean (dB). */
  readonly compressionLimitDb?: number
  /** Lines that are there without the tone (hum), as peaks: those near the tone make the low steps uncertain. */
  readonly lines?: readonly { readonly freqHz: number; readonly peakFs: number }[]
}

/** Distortion at which an output commonly counts as clipped. Common practice, no source. */
export const THD_LIMIT_RATIO = 0.01
export const COMPRESSION_LIMIT_DB = 0.5

/**
 * @param channel one input, whole take
 * @returns null where the take ends before the staircase does, or nothing of this frequency comes through
 */
export function readStaircase(
  channel: Float32Array,
  located: Located,
  freqHz: number,
  options: StaircaseOptions = {},
): StaircaseReading | null {
  const { samplesPerS, startSample } = located
  const limits = {
    thdRatio: options.thdLimitRatio ?? THD_LIMIT_RATIO,
    compressionDb: options.compressionLimitDb ?? COMPRESSION_LIMIT_DB,
  }
  const delayS = Math.min(LATEST_S, Math.max(0, options.delayS ?? 0))
  const count = Math.floor((INNER_S.to - INNER_S.from) * samplesPerS)
  const reader = stepReader(freqHz, count, samplesPerS)
  const lobeHz = (4 * samplesPerS) / count
  const besideFs = Math.hypot(
    ...(options.lines ?? []).filter((line) => Math.abs(line.freqHz - freqHz) < lobeHz).map(({ peakFs }) => peakFs),
  )

  const sections = sectionsOf().filter(({ kind, tones }) => kind === 'staircase' && tones[0].freqHz === freqHz)
  const firsts = sections.map(({ startS }) => Math.round(startSample + (startS + delayS + INNER_S.from) * samplesPerS))
  if (firsts.length === 0 || firsts[0] < 0 || firsts.at(-1)! + count > channel.length) return null
  const readings = firsts.map((first) => readStep(channel.subarray(first, first + count), reader))
  // The quietest step says what noise is; the loudest, whether anything comes through.
  const noiseMeanSquare = readings[0].restMeanSquare
  const top = readings.at(-1)!
  if (top.peakFs ** 2 < 100 * noiseMeanSquare || top.peakFs === 0) return null
  const read = sections.map(({ tones }, i) => {
    const reading = readings[i]
    const sourceDbfs = STAIRCASE_DBFS[i]
    const bound = distortionBound(reading)
    const isRead =
      reading.restMeanSquare > MORE_THAN_NOISE * noiseMeanSquare && bound.value > NEAR_LIMIT * limits.thdRatio
    const distortion = isRead ? reading.readDistortion() : null
    // Noise that was not looked at beside the tone is taken as spread over all of the band.
    const noise = distortion?.noise ?? (4 * reading.restMeanSquare * reader.windowSquares) / reader.windowSum ** 2
    return {
      sourceDbfs,
      sourcePeakFs: tones[0].peakFs,
      peakFs: reading.peakFs,
      peakFsU: Math.sqrt(0.5 * noise + 0.5 * besideFs ** 2),
      thd: distortion?.thd ?? bound,
      harmonicPowers: distortion?.powers ?? null,
      samplePeakFs: reading.samplePeakFs,
    }
  })

  // Weighted by the source's power: noise and hum are alike in all of them.
  let [cross, power, variance] = [0, 0, 0]
  for (const { sourceDbfs, sourcePeakFs, peakFs, peakFsU } of read) {
    if (sourceDbfs > LOW_DBFS) continue
    cross += peakFs * sourcePeakFs
    power += sourcePeakFs ** 2
    variance += (peakFsU * sourcePeakFs) ** 2
  }
  const gain = cross / power
  const gainRelativeU = Math.sqrt(variance) / cross
  const steps = read.map(({ sourcePeakFs, ...each }): StaircaseStep => {
    const share = each.sourceDbfs > LOW_DBFS ? 0 : sourcePeakFs ** 2 / power
    const own = each.peakFsU / each.peakFs
    return {
      ...each,
      gainDb: dbFromRatio(each.peakFs / (gain * sourcePeakFs)),
      // A low step is itself part of the line that it is compared with.
      gainDbU:
        DB_PER_NEPER * Math.sqrt((own * (1 - share)) ** 2 + Math.max(0, gainRelativeU ** 2 - (own * share) ** 2)),
    }
  })
  return { freqHz, gain, gainRelativeU, steps, ...departureOf(steps, gain, limits) }
}
