/**
 * What of a vehicle is asked to be flat, measured: single outputs and electrical sums, each from the sweeps alone.
 *
 * Outputs are read from the sides that they do hear; a sum that only wants its parts aligned is read aligned. Sections are
 * those of a processor at 48 kHz.
 */
import { type EqSection, undoing } from '../dsp/cookbook.js'
import type { Job, OutputSpec, SumSpec } from '../job/job.js'
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { ratioFromDb } from '../units/level.js'
import type { Transfer } from './analysis.js'
import { electricalSum, type SumPart } from './electrical-sum.js'
import { type Equaliser, findEqualiser, levelCurveOf } from './equaliser.js'
import type { LevelCurve } from './equaliser-region.js'
import { type Deviations, deviationsOf, type FlatRange, furthest } from './flatness.js'
import { type Passband, passbandOf } from './passband.js'
import { heardBy, sidesOf } from './source-sides.js'
import { type PartSetting, sumTransfer } from './sum-transfer.js'

const PROCESSING_HZ = 48_000

/** One lead of a take of the sweeps. */
export interface SweptLead {
  readonly outputNumber: number
  readonly patchName: string
  readonly input: RigInput
  readonly transfer: Transfer
}

export interface FlatTarget {
  /** 3 front left high; sum front left. */
  readonly name: string
  readonly outputs: readonly number[]
  readonly toleranceDb: number
  readonly outcome: FlatOutcome | FlatMissing
}

export interface FlatOutcome {
  readonly deviations: Deviations
  readonly curve: LevelCurve
  readonly equaliser: Equaliser | null
  readonly band: FlatRange['band']
  /** What undoes the sections that were found, and what is left then. */
  readonly undo: readonly EqSection[]
  readonly undone: Deviations
  /** Of a sum: its outputs that have settings of their own to undo; typed in, they change the sum too. */
  readonly undoFirst: readonly number[]
  /** Of a sum that was read with its parts aligned: how it stands, and what aligns it. */
  readonly alignment: {
    readonly worstDb: number
    readonly worstHz: number
    readonly says: readonly string[]
    /** Some of them are of opposite polarity; which one is wrong only the map tells. */
    readonly isTurned: boolean
  } | null
}

/** Why it could not be looked at, as a sentence. */
export interface FlatMissing {
  readonly because: string
  /** An output is dead: a fault that the stage of the outputs names. */
  readonly isDead?: boolean
}

export const isRead = (outcome: FlatOutcome | FlatMissing): outcome is FlatOutcome => 'deviations' in outcome

export function flatTargets(job: Job, leads: readonly SweptLead[]): FlatTarget[] {
  const { flat, limits } = job
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const heard = new Map(leads.map((lead) => [lead.outputNumber, hearing(lead, specOf(lead.outputNumber), job)]))
  const outputs = flat.outputs.map((number): FlatTarget => {
    const spec = specOf(number)
    return {
      name: `${number} ${spec.label}`,
      outputs: [number],
      toleranceDb: flat.toleranceDb ?? limits.flatnessDbMax,
      outcome: outputOutcome(heard.get(number) ?? null, job),
    }
  })
  const undone = outputs.flatMap(({ outputs: [number], outcome }) =>
    isRead(outcome) && outcome.undo.length > 0 ? [number] : [],
  )
  const sums = job.sums.filter(({ name }) => flat.sums.includes(name))
  return [
    ...outputs,
    ...sums.map((sum): FlatTarget => {
      const toleranceDb = flat.toleranceDb ?? limits.sumFlatnessDbMax
      const parts = sum.outputs.map((number) => heard.get(number) ?? null)
      return {
        name: `sum ${sum.name}`,
        outputs: sum.outputs,
        toleranceDb,
        outcome: afterItsOutputs(sumOutcome(sum, parts, toleranceDb, job), sum, undone),
      }
    }),
  ]
}

/** Settings for a sum beside those for its outputs would undo the same thing twice. */
function afterItsOutputs(
  outcome: FlatOutcome | FlatMissing,
  { outputs }: SumSpec,
  undone: readonly number[],
): FlatOutcome | FlatMissing {
  const undoFirst = outputs.filter((number) => undone.includes(number))
  if (!isRead(outcome) || undoFirst.length === 0) return outcome
  return { ...outcome, undo: [], undone: outcome.deviations, undoFirst }
}

interface HeardLead extends SweptLead {
  readonly passband: Passband | null
  /** The map entry with the sides that it does hear. */
  readonly spec: OutputSpec
}

function hearing(lead: SweptLead, spec: OutputSpec, job: Job): HeardLead {
  const passband = passbandOf(lead.transfer)
  const wantedVrms = spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain) * ratioFromDb(-job.limits.deadDbBelow)
  const isDead = passband === null || passband.gain * fullScaleAtLead(lead.input) < wantedVrms
  return { ...lead, passband: isDead ? null : passband, spec: heardBy(spec, sidesOf(spec, isDead ? null : passband)) }
}

function outputOutcome(lead: HeardLead | null, job: Job): FlatOutcome | FlatMissing {
  if (lead === null) return { because: 'It was not taken.' }
  if (lead.passband === null) return { because: 'Nothing comes out of it.', isDead: true }
  const { transfer, spec } = lead
  return read(levelCurveOf(transfer, spec.leftGain, spec.rightGain), spec, job, 0) ?? NOT_READ
}

const NOT_READ: FlatMissing = {
  because: 'Noise hides it, or its band and the range have less than a third of an octave in common.',
}

function sumOutcome(
  sum: SumSpec,
  leads: readonly (HeardLead | null)[],
  toleranceDb: number,
  job: Job,
): FlatOutcome | FlatMissing {
  const alive = leads.filter((lead) => lead !== null && lead.passband !== null) as HeardLead[]
  const dead = sum.outputs.filter((number) => !alive.some(({ outputNumber }) => outputNumber === number))
  if (dead.length > 0) return { because: `Nothing comes out of output ${dead.join(', ')}.`, isDead: true }
  if (new Set(alive.map(({ patchName }) => patchName)).size > 1) {
    return { because: 'Its outputs were taken in different patches, each on its own clock.' }
  }
  const side = (['leftGain', 'rightGain'] as const).find((gain) => alive.every(({ spec }) => spec[gain] !== 0))
  if (!side) return { because: 'Its outputs hear no common side.' }
  const parts = alive.map(
    (lead): SumPart => ({
      outputNumber: lead.outputNumber,
      transfer: lead.transfer,
      gainVrms: fullScaleAtLead(lead.input),
      leftGain: side === 'leftGain' ? 1 : 0,
      rightGain: side === 'leftGain' ? 0 : 1,
    }),
  )
  const least = (corners: readonly (number | null)[], pick: (...values: number[]) => number): number | null =>
    corners.includes(null) ? null : pick(...(corners as number[]))
  const band = {
    lowHz: least(
      alive.map(({ spec }) => spec.lowHz),
      Math.min,
    ),
    highHz: least(
      alive.map(({ spec }) => spec.highHz),
      Math.max,
    ),
  }
  // Where two parts are alike, what one is off by moves the sum by half of it; nowhere else it bends it.
  const inputsU = 0.5 * Math.hypot(...alive.map(({ input }) => input.levelUncertaintyDb / 2))
  const readAt = (settings: readonly PartSetting[]): FlatOutcome | null =>
    read(levelCurveOf(sumTransfer(parts, settings), 1, 0), band, job, inputsU)
  const asItStands = readAt([])
  if (asItStands === null) return NOT_READ
  const worst = furthest(asItStands.deviations)
  if (Math.abs(worst.value) <= toleranceDb) return asItStands
  const { settings } = electricalSum(parts)
  const aligned = readAt([
    { delayS: 0, gainDb: 0, isTurned: false },
    ...settings.map(({ extraDelayS, gainDb, isTurned }) => ({ delayS: extraDelayS ?? 0, gainDb, isTurned })),
  ])
  if (aligned === null || Math.abs(furthest(aligned.deviations).value) > ALIGNED_SHARE * Math.abs(worst.value)) {
    return asItStands
  }
  const says = settings.map(({ outputNumber, extraDelayS, gainDb }) => {
    const words = [
      ...(extraDelayS !== null && Math.abs(extraDelayS) > 2e-5 ? [`${(1000 * extraDelayS).toFixed(2)} ms later`] : []),
      ...(Math.abs(gainDb) > 0.1 ? [`${gainDb.toFixed(1)} dB more`] : []),
    ]
    return `output ${outputNumber}: ${words.length > 0 ? words.join(', ') : 'as it is'}`
  })
  const isTurned = settings.some((setting) => setting.isTurned)
  return { ...aligned, alignment: { worstDb: worst.value, worstHz: worst.freqHz!, says, isTurned } }
}

/** Alignment is what is wrong where it takes off this much of the deviation. */
const ALIGNED_SHARE = 0.5

function read(curve: LevelCurve, band: FlatRange['band'], job: Job, inputsU: number): FlatOutcome | null {
  const { fromHz, toHz } = job.flat
  const equaliser = findEqualiser(curve, band, PROCESSING_HZ)
  const range: FlatRange = { fromHz, toHz, band, sampleRateHz: PROCESSING_HZ }
  const undo = equaliser?.sections.map(undoing) ?? []
  const deviations = deviationsOf(curve, equaliser, range, { inputsU })
  const undone = deviationsOf(curve, equaliser, range, { inputsU, undo })
  return deviations && undone && { deviations, curve, equaliser, band, undo, undone, undoFirst: [], alignment: null }
}
