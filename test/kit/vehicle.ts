/**
 * Takes of a whole vehicle for the verdict's tests: each output of a channel map as one wire, healthy or with one fault.
 *
 * The wires are closed forms: source sides by their gains, fourth-order filters at the map's corners, level,
 * delay, then what the fault adds. A fault changes its own wires only, so the analyses of the others are used again.
 */
import type { Job, OutputSpec } from '../../src/job/job.js'
import { analyseInput } from '../../src/measure/analyse.js'
import type { Located } from '../../src/measure/analysis.js'
import { excessPhaseOf } from '../../src/measure/excess-phase.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import type { LeadData } from '../../src/measure/lead.js'
import { locate } from '../../src/measure/locate.js'
import { measureOutputs, type OutputMeasures } from '../../src/measure/outputs.js'
import { type SweepReference, sweepReference } from '../../src/measure/transfer.js'
import type { RigInput } from '../../src/rig/rig.js'
import type { Setting } from '../../src/rig/roles.js'
import { vrms } from '../../src/units/level.js'
import { type Judgement, judge } from '../../src/verdict/judge.js'
import { butterworth, type Filter, filtered, linkwitzRiley } from './biquad.js'
import { hiss } from './random.js'
import { audioOf, clipped, delayed, mixed, type Played, playTrack, shaped, sines, summed } from './track.js'

const RATE_HZ = 48_000
export const FULL_SCALE_VRMS = 4
/** Hiss of a healthy output, 0 Hz to 24 kHz: -94 dBV. */
const HISS_VRMS = 20e-6

export const INPUT: RigInput = { fullScaleVrms: vrms(FULL_SCALE_VRMS), padDb: 0, levelUncertaintyDb: 0.1 }

/** What is wrong with one wire; everything that is left out is healthy. */
export interface Fault {
  readonly isDead?: boolean
  readonly leftGain?: number
  readonly rightGain?: number
  /** In place of the map's band. */
  readonly band?: { readonly lowHz: number | null; readonly highHz: number | null }
  readonly equaliser?: Filter
  readonly gainDb?: number
  readonly isInverted?: boolean
  readonly lateSamples?: number
  /** Source signal (1 is full scale) is held to this. */
  readonly clipFs?: number
  /** y = x + a2 x^2 + a3 x^3 of the source signal. */
  readonly a2?: number
  readonly a3?: number
  readonly hissVrms?: number
  /** Steady sines on the wire: frequency and rms volts. */
  readonly lines?: readonly { readonly freqHz: number; readonly vrms: number }[]
  /** The card stops at its full scale. */
  readonly cardClips?: boolean
}

/** One wire as samples of a card with FULL_SCALE_VRMS. */
export function wireOf(spec: OutputSpec, played: Played, fault: Fault = {}): Float64Array {
  const { lowHz, highHz } = fault.band ?? spec.crossover
  const slope = !fault.band && spec.crossover.shape === 'linkwitz_riley' ? linkwitzRiley : butterworth
  const count = played.left.length
  const hissFs = (fault.hissVrms ?? HISS_VRMS) / (FULL_SCALE_VRMS / Math.SQRT2)
  const noise = hiss(count, hissFs, 100 + spec.number)
  const lines = sines(
    count,
    played.samplesPerS,
    (fault.lines ?? []).map(({ freqHz, vrms: level }) => ({ freqHz, peak: level / FULL_SCALE_VRMS })),
  )
  if (fault.isDead) return summed(noise, lines)
  let wire = mixed(played, fault.leftGain ?? spec.leftGain, fault.rightGain ?? spec.rightGain)
  if (fault.clipFs !== undefined) wire = clipped(wire, fault.clipFs)
  if (fault.a2 !== undefined || fault.a3 !== undefined) wire = shaped(wire, fault.a2 ?? 0, fault.a3 ?? 0)
  wire = filtered(wire, [
    ...(lowHz === null ? [] : slope('high', 4, lowHz, RATE_HZ)),
    ...(highHz === null ? [] : slope('low', 4, highHz, RATE_HZ)),
    ...(fault.equaliser ?? []),
  ])
  wire = delayed(wire, Math.round(spec.delayS * RATE_HZ) + (fault.lateSamples ?? 0))
  const polarity = spec.polarity * (fault.isInverted ? -1 : 1)
  const gain = (polarity * (spec.levelVrms * 10 ** ((fault.gainDb ?? 0) / 20))) / FULL_SCALE_VRMS
  for (let n = 0; n < count; n++) wire[n] = gain * wire[n] + noise[n] + lines[n]
  return fault.cardClips ? clipped(wire, 1) : wire
}

/** A vehicle on the bench: its healthy wires analysed once. */
export interface Vehicle {
  readonly job: Job
  readonly played: Played
  readonly located: Located
  readonly reference: SweepReference
  readonly healthy: ReadonlyMap<number, InputAnalysis>
}

export function vehicleOf(job: Job): Vehicle {
  const played = playTrack({ leadInS: 0.5, tailS: 0.5, ppm: 40 })
  const wires = job.outputs.map((spec) => wireOf(spec, played))
  const audio = audioOf(RATE_HZ, ...wires)
  const located = locate(audio, 'take')
  const reference = sweepReference(located)
  const healthy = new Map(
    job.outputs.map(({ number }, i) => [number, analyseInput(audio.channels[i], located, reference)]),
  )
  return { job, played, located, reference, healthy }
}

/** One output of the vehicle with a fault, analysed. */
export function faulty(vehicle: Vehicle, number: number, fault: Fault): InputAnalysis {
  const spec = vehicle.job.outputs.find((output) => output.number === number)!
  const wire = Float32Array.from(wireOf(spec, vehicle.played, fault))
  return analyseInput(wire, vehicle.located, vehicle.reference)
}

/** All that was played, louder by a gain (negative: inverted too), while noise stays as it is. */
export function louder(analysis: InputAnalysis, gain: number): InputAnalysis {
  const { transfer } = analysis
  const times = (values: Float64Array): Float64Array => values.map((value) => gain * value)
  const [leftRe, leftIm, rightRe, rightIm] = [
    times(transfer.leftRe),
    times(transfer.leftIm),
    times(transfer.rightRe),
    times(transfer.rightIm),
  ]
  return {
    ...analysis,
    transfer: { ...transfer, leftRe, leftIm, rightRe, rightIm },
    left: excessPhaseOf(leftRe, leftIm, transfer.leftError, transfer.centreS),
    right: excessPhaseOf(rightRe, rightIm, transfer.rightError, transfer.centreS),
    tones: analysis.tones.map((tone) => ({
      ...tone,
      peakFs: Math.abs(gain) * tone.peakFs,
      harmonicsFs: tone.harmonicsFs.map((peakFs) => Math.abs(gain) * peakFs),
    })),
    peakFs: Math.abs(gain) * analysis.peakFs,
  }
}

/** How leads were taken, where it is not one patch and one setting. */
export interface Taking {
  /** By setting, then by output number. */
  readonly others?: Readonly<Partial<Record<Setting, ReadonlyMap<number, InputAnalysis>>>>
  readonly patchOf?: (outputNumber: number) => string
  readonly captureBits?: number
}

/** The measures of a run: for each lead (by the number of its output) what was analysed on it. Inputs are in this order. */
export const measuresOf = (
  job: Job,
  analyses: ReadonlyMap<number, InputAnalysis>,
  { others = {}, patchOf, captureBits = 24 }: Taking = {},
): OutputMeasures[] =>
  measureOutputs(
    job,
    [...analyses].map(
      ([outputNumber, analysis], i): LeadData => ({
        outputNumber,
        patchName: patchOf?.(outputNumber) ?? 'patch 1',
        inputNumber: i + 1,
        input: INPUT,
        captureBits,
        analysis,
        others: new Map(
          Object.entries(others).flatMap(([setting, taken]) => {
            const other = taken?.get(outputNumber)
            return other ? [[setting as Setting, other] as const] : []
          }),
        ),
      }),
    ),
  )

/** The vehicle judged with other analyses in place of some healthy ones. */
export const judged = (vehicle: Vehicle, changed: Iterable<readonly [number, InputAnalysis]> = []): Judgement =>
  judge(vehicle.job, measuresOf(vehicle.job, new Map([...vehicle.healthy, ...changed])), [], [])

/** Each finding that isn't mere information, as "kind numbers verdict". */
export const findingsSaid = ({ findings }: Judgement): string[] =>
  findings
    .filter(({ verdict }) => verdict !== 'pass')
    .map(({ kind, outputs, verdict }) => `${kind} ${outputs.join(',')} ${verdict}`)
