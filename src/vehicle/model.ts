/**
 * The simulated vehicle as numbers: a healthy one from the job's channel map, then what the faults file changes.
 *
 * A healthy vehicle is not ideal. Each output is a little off, by an amount that its seed fixes, as the parts of a real
 * interface are. Everything here is truth that only this folder knows; the measuring code sees takes.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { dbv, ratioFromDb, type Vrms, vrms, vrmsFromDbv } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { type AmplifierModel, amplifierModels } from './amplifier-model.js'
import { type ChimeModel, chimeModel } from './chime-model.js'
import type { EngineModel } from './engine.js'
import { checkAmplifierFaults } from './fault-amplifiers.js'
import { checkChimeFaults } from './fault-chimes.js'
import type { TimeFaults } from './fault-events.js'
import { checkPinFaults } from './fault-pins.js'
import type { PowerFault } from './fault-power.js'
import type { Faults, HumFault, OutputFault } from './faults.js'
import type { HeadUnitModel } from './head-unit.js'
import { type PinsModel, pinsModel } from './pins-model.js'
import { butterworth, type Filter, linkwitzRiley } from './sections.js'
import { between, evenRandom, seedFor } from './seeded.js'
import { HEALTHY_SUPPLY, type SupplyModel } from './supply-model.js'

/** How far a healthy output is off, either way, and what it adds. Common practice for line outputs, no source. */
const HEALTHY = {
  levelDb: 0.1,
  noiseDbv: [-96, -94],
  secondPct: [0.003, 0.004],
  thirdPct: [0.0015, 0.0025],
  sideLeakDb: [-82, -78],
  couplingHz: [1.8, 2.2],
} as const

/** From player to lead, the same for all outputs. */
const LATENCY_S = 3.2e-3
/** Turned fully to the front, a fader leaves this much at the rear. */
const FADER_DB = -60

export interface SineLine {
  readonly freqHz: number
  readonly rms: Vrms
  readonly phaseRad: number
}

export interface OutputModel {
  readonly number: number
  /** What it hears of the source sides, leakage included. */
  readonly leftGain: number
  readonly rightGain: number
  readonly filters: readonly Filter[]
  /** The filters that a healthy one has, in front of its coupling capacitor: level is set through them. */
  readonly healthyFilters: readonly Filter[]
  readonly couplingHz: number
  readonly referenceHz: number
  /** Peak at the reference frequency for a full-scale sine at gain 1, sign included. */
  readonly peakV: number
  /** Peak for which the harmonics below are given. */
  readonly fullVpk: number
  readonly secondRatio: number
  readonly thirdRatio: number
  readonly clipVpk: number | null
  readonly softClipVpk: number | null
  readonly isDead: boolean
  /** What the fader leaves when it is turned to the front. */
  readonly faderFrontGain: number
  readonly delayS: number
  /** 20 Hz to 20 kHz. */
  readonly noise: Vrms
  readonly lines: readonly SineLine[]
  readonly mute: OutputFault['autoMute']
  readonly leak: { readonly fromOutput: number; readonly ratio: number } | null
  /** What it hears of the incoherent copy of a side, where the head unit sends one. */
  readonly surroundGain: number
  /** What comes in while the engine runs. */
  readonly engine: EngineModel
  readonly timeFaults: TimeFaults
}

export interface VehicleModel {
  readonly seed: number
  readonly headUnit: HeadUnitModel
  /** What the interface makes, by the channel map's number. */
  readonly outputs: ReadonlyMap<number, OutputModel>
  /** Which of them comes out at the pins of a number. */
  readonly atPins: ReadonlyMap<number, number>
  /** By the name that the job gives it. */
  readonly chimes: ReadonlyMap<string, ChimeModel>
  /** By the name of the channel. */
  readonly amplifiers: ReadonlyMap<string, AmplifierModel>
  readonly supply: SupplyModel
  readonly pins: PinsModel
  readonly power: PowerFault
  /** From player to lead, for all alike. */
  readonly latencyS: number
  readonly capture: Faults['capture'] & { readonly lines: readonly SineLine[] }
}

/** @throws StopError when the faults name an output that the job does not have */
export function modelFromJob(job: Job, faults: Faults): VehicleModel {
  const known = job.outputs.map(({ number }) => number)
  checkNumbers(known, faults)
  checkChimeFaults(faults.chimes, job, faults.where)
  checkPinFaults(faults.pins, job, faults.where)
  checkAmplifierFaults(faults.amplifiers, job, faults.where)
  const { surround, ...headUnit } = faults.headUnit
  return {
    seed: faults.seed,
    headUnit: { ...headUnit, volumeStep: job.volumeStep, surroundFrom: surround?.from ?? null },
    outputs: new Map(job.outputs.map((spec) => [spec.number, outputModel(spec, faults)])),
    atPins: exchangedPins(known, faults),
    chimes: new Map(
      job.chimes.map((spec) => [spec.name, chimeModel(spec, job.outputs, faults.chimes.get(spec.name) ?? null)]),
    ),
    amplifiers: amplifierModels(job, faults.amplifiers),
    pins: pinsModel(job, faults.pins, faults.seed),
    power: faults.power,
    supply: {
      restingV: HEALTHY_SUPPLY.restingV,
      chargingV: faults.engine.chargingV ?? HEALTHY_SUPPLY.chargingV,
      rippleVrms: faults.engine.rippleVrms ?? HEALTHY_SUPPLY.rippleVrms,
    },
    latencyS: LATENCY_S,
    capture: captureModel(faults),
  }
}

/** The card alone: what a rig is that is checked by itself. */
export const captureModel = ({ capture, seed }: Faults): VehicleModel['capture'] => ({
  ...capture,
  lines: humLines(capture.hum, seedFor(seed, 'card')),
})

function outputModel(spec: OutputSpec, faults: Faults): OutputModel {
  const { number } = spec
  const fault = faults.outputs.get(number) ?? null
  const seed = seedFor(faults.seed, 'output', number)
  const even = evenRandom(seed)
  // Drawn in a fixed order, whatever the faults replace: a fault changes nothing but what it says.
  const levelDb = between(even, -HEALTHY.levelDb, HEALTHY.levelDb)
  const noiseDbv = between(even, ...HEALTHY.noiseDbv)
  const secondPct = between(even, ...HEALTHY.secondPct)
  const thirdPct = between(even, ...HEALTHY.thirdPct)
  const sideLeakDb = between(even, ...HEALTHY.sideLeakDb)
  const leakSign = even() < 0.5 ? -1 : 1
  const couplingHz = between(even, ...HEALTHY.couplingHz)
  const whistlePhaseRad = between(even, 0, 2 * Math.PI)

  const healthyFilters = crossoverFilters(spec.crossover)
  const polarity = spec.polarity * (fault?.isInverted ? -1 : 1)
  const fullVpk = Math.SQRT2 * spec.levelVrms
  const whistle = fault?.whistle ?? null
  const hits = ({ outputs }: { readonly outputs: readonly number[] | null }): boolean =>
    outputs?.includes(number) ?? true
  const { surround } = faults.headUnit
  return {
    number,
    ...sidesOf(spec, fault, ratioFromDb(fault?.sideLeakDb ?? sideLeakDb) * leakSign),
    filters: [...(fault?.band ? bandFilters(fault.band) : healthyFilters), ...(fault?.eq ?? [])],
    healthyFilters,
    couplingHz,
    referenceHz: spec.referenceHz,
    peakV: polarity * fullVpk * ratioFromDb(levelDb + (fault?.gainDb ?? 0)),
    fullVpk,
    secondRatio: (fault?.distortion?.secondPct ?? secondPct) / 100,
    thirdRatio: (fault?.distortion?.thirdPct ?? thirdPct) / 100,
    clipVpk: fault?.clipVpk ?? null,
    softClipVpk: fault?.softClipVpk ?? null,
    isDead: fault?.isDead ?? false,
    faderFrontGain: spec.faderGroup === 'rear' ? ratioFromDb(FADER_DB) : 1,
    delayS: spec.delayS + (fault?.delayS ?? 0),
    noise: vrmsFromDbv(dbv(fault?.noiseDbv ?? noiseDbv)),
    lines: [
      ...humLines(fault?.hum ?? null, seed),
      ...(whistle
        ? [{ freqHz: whistle.freqHz, rms: vrmsFromDbv(dbv(whistle.levelDbv)), phaseRad: whistlePhaseRad }]
        : []),
    ],
    mute: fault?.autoMute ?? null,
    leak: fault?.leak ? { fromOutput: fault.leak.fromOutput, ratio: ratioFromDb(fault.leak.levelDb) } : null,
    surroundGain: surround?.outputs.includes(number) ? ratioFromDb(surround.levelDb) : 0,
    engine: engineModel(hits(faults.engine) ? faults.engine : NO_ENGINE, seed),
    timeFaults: {
      dropouts: faults.dropouts.filter(hits),
      repeats: faults.repeats.filter(hits),
      jumps: faults.jumps.filter(hits),
      clicks: faults.clicks.filter(hits),
    },
  }
}

const crossoverFilters = ({ shape, lowHz, highHz }: OutputSpec['crossover']): Filter[] =>
  shape === 'butterworth'
    ? bandFilters({ lowHz, highHz, order: 4 })
    : [
        ...(lowHz === null ? [] : linkwitzRiley('high_pass', lowHz)),
        ...(highHz === null ? [] : linkwitzRiley('low_pass', highHz)),
      ]

const bandFilters = ({ lowHz, highHz, order }: NonNullable<OutputFault['band']>): Filter[] => [
  ...(lowHz === null ? [] : butterworth('high_pass', lowHz, order)),
  ...(highHz === null ? [] : butterworth('low_pass', highHz, order)),
]

/** @param leakRatio what a side that is not heard leaves, against the other */
function sidesOf(
  { leftGain, rightGain }: OutputSpec,
  fault: OutputFault | null,
  leakRatio: number,
): { leftGain: number; rightGain: number } {
  if (fault?.isSummed) {
    // Half of each side, as a mono output is made; where the sides are opposed, with the sign of the louder.
    const half = (Math.abs(leftGain) + Math.abs(rightGain)) / 2
    const sum = Math.sign(Math.abs(leftGain) >= Math.abs(rightGain) ? leftGain : rightGain) * half
    return { leftGain: sum, rightGain: sum }
  }
  return {
    leftGain: leftGain === 0 ? rightGain * leakRatio : leftGain,
    rightGain: rightGain === 0 ? leftGain * leakRatio : rightGain,
  }
}

/** A mains series whose lines fall with their order; all together have the level that was asked for. */
function humLines(hum: HumFault | null, seed: number): SineLine[] {
  if (hum === null) return []
  const even = evenRandom(seedFor(seed, 'hum'))
  return seriesRms(hum).map((rms, k) => ({
    freqHz: hum.freqHz * (k + 1),
    rms,
    phaseRad: between(even, 0, 2 * Math.PI),
  }))
}

/** Lines that fall with their order. */
function seriesRms({ levelDbv, harmonicCount }: { levelDbv: number; harmonicCount: number }): Vrms[] {
  const shares = Array.from({ length: harmonicCount }, (_, k) => 1 / (k + 1))
  const total = Math.hypot(...shares)
  const rms = vrmsFromDbv(dbv(levelDbv))
  return shares.map((share) => vrms((rms * share) / total))
}

const NO_ENGINE: Pick<Faults['engine'], 'whine' | 'noiseDbv'> = { whine: null, noiseDbv: null }

function engineModel({ whine, noiseDbv }: typeof NO_ENGINE, seed: number): EngineModel {
  const phaseRad = between(evenRandom(seedFor(seed, 'engine')), 0, 2 * Math.PI)
  return {
    whine: whine && { ...whine, rms: seriesRms(whine), phaseRad },
    noise: noiseDbv === null ? vrms(0) : vrmsFromDbv(dbv(noiseDbv)),
  }
}

function exchangedPins(known: readonly number[], faults: Faults): Map<number, number> {
  const atPins = new Map(known.map((number) => [number, number]))
  for (const [number, { swappedWith }] of faults.outputs) {
    if (swappedWith !== null) atPins.set(number, swappedWith).set(swappedWith, number)
  }
  return atPins
}

function checkNumbers(known: readonly number[], faults: Faults): void {
  const check = (number: number | null | undefined, path: string): void => {
    if (number == null || known.includes(number)) return
    throw new StopError(
      `the job has no output ${number}`,
      `${faults.where}, ${path}`,
      `Name one of its outputs: ${known.join(', ')}.`,
    )
  }
  for (const [number, { swappedWith, leak }] of faults.outputs) {
    check(number, `outputs.${number}`)
    check(swappedWith, `outputs.${number}.swapped_with`)
    check(leak?.fromOutput, `outputs.${number}.leak.from_output`)
  }
  for (const number of faults.headUnit.surround?.outputs ?? []) check(number, 'head_unit.surround.outputs')
  for (const number of faults.engine.outputs ?? []) check(number, 'engine.outputs')
  for (const kind of ['dropouts', 'repeats', 'jumps'] as const) {
    faults[kind].forEach(({ outputs }, index) => {
      for (const number of outputs ?? []) check(number, `${kind}[${index + 1}].outputs`)
    })
  }
  // An entry of the file is several clicks here.
  for (const { outputs } of faults.clicks) for (const number of outputs ?? []) check(number, 'clicks[].outputs')
}
