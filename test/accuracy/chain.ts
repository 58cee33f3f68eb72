/**
 * A vehicle drawn by chance, with its truth: what the accuracy of every measurand is held against.
 *
 * Two outputs are taken together. The first hears the left side and distorts a little; the second hears the right side,
 * comes later and is equalised, or is band limited. Each input of the card is off by what its stated calibration allows. All truth
 * is closed form: gains, delays, filters of the Audio EQ Cookbook, a polynomial, white noise.
 */
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import type { RigInput } from '../../src/rig/rig.js'
import { vrms } from '../../src/units/level.js'
import { butterworth, type Filter, filtered, magnitudeDb, peaking } from '../kit/biquad.js'
import { hiss, normalFrom, uniformFrom } from '../kit/random.js'
import { type Played, playTrack } from '../kit/track.js'

export const RATE_HZ = 48_000
export const FULL_SCALE_VRMS = 4
/** What the rig says of its volts, k = 2; each input is off by a draw from it. */
export const LEVEL_U_DB = 0.1

export interface Base {
  readonly ppm: number
  readonly early: Played
  /** The same, by a part of a sample later. */
  readonly late: Played
  readonly lateSamples: number
}

/** One player and one clock; many vehicles are drawn on it, because making it is what takes long. */
export function baseOf(seed: number): Base {
  const uniform = uniformFrom(seed)
  const ppm = 200 * (uniform() - 0.5)
  const leadInS = 0.5 + uniform() / RATE_HZ
  const lateSamples = uniform()
  return {
    ppm,
    lateSamples,
    early: playTrack({ ppm, leadInS, tailS: 0.4 }),
    late: playTrack({ ppm, leadInS: leadInS + lateSamples / RATE_HZ, tailS: 0.4 }),
  }
}

export interface Section {
  readonly freqHz: number
  readonly gainDb: number
  readonly q: number
}

export interface Truth {
  readonly clockOffsetPpm: number
  readonly levelVrms: readonly [number, number]
  readonly crosstalkDb: number
  readonly a2: number
  readonly a3: number
  readonly delayS: number
  /** 20 Hz to 20 kHz, at the lead. */
  readonly noiseVrms: readonly [number, number]
  readonly sections: readonly Section[]
  readonly highHz: number | null
  /** Response of the second output against the first one's 1 kHz reference, dB. */
  readonly responseDb: (freqHz: number) => number
}

export interface Drawn {
  readonly job: Job
  readonly inputs: readonly RigInput[]
  readonly channels: readonly Float32Array[]
  readonly truth: Truth
}

const INPUT: RigInput = { fullScaleVrms: vrms(FULL_SCALE_VRMS), padDb: 0, levelUncertaintyDb: LEVEL_U_DB }
const HIGH_HZ = 3000
const NOISE_BAND = Math.sqrt((20_000 - 20) / (RATE_HZ / 2))

const jobWith = (isBanded: boolean): Job =>
  parseJob(
    `name: drawn\nvehicle: { model: drawn }\noutputs:\n  - { number: 1, label: one, left: 1, right: 0, level_vrms: 1 }\n` +
      `  - { number: 2, label: two, left: 0, right: 1, level_vrms: 1${isBanded ? `, band: { high_hz: ${HIGH_HZ} }` : ''} }\n`,
    'drawn.yaml',
  )
const JOBS = { full: jobWith(false), banded: jobWith(true) } as const

/** @param snrDb full-scale sine at the output over its noise, 0 Hz to half the rate */
export function draw(base: Base, seed: number, snrDb: number): Drawn {
  const uniform = uniformFrom(seed)
  const normal = normalFrom(seed + 0x5eed)
  const between = (low: number, high: number): number => low + (high - low) * uniform()
  const logBetween = (low: number, high: number): number => low * (high / low) ** uniform()
  const levelVrms = [between(0.5, 2), between(0.5, 2)] as const
  const crosstalkDb = between(-70, -35)
  const thd = logBetween(3e-5, 3e-3)
  // At -3 dBFS: H2 is a2 A / 2 of the fundamental, H3 a3 A² / 4.
  const peak = 10 ** (-3 / 20)
  const share = between(0, 2 * Math.PI)
  const a2 = (2 * thd * Math.cos(share)) / peak
  const a3 = (4 * thd * Math.sin(share)) / peak ** 2
  const isBanded = seed % 4 === 0
  const sections = isBanded ? [] : drawnSections(1 + (seed % 3), between, logBetween)
  const filter: Filter = isBanded
    ? butterworth('low', 4, HIGH_HZ, RATE_HZ)
    : sections.map(({ freqHz, gainDb, q }) => peaking(freqHz, gainDb, q, RATE_HZ))
  const wholeSamples = Math.floor(between(0, 300))
  const errorDb = [normal() * (LEVEL_U_DB / 2), normal() * (LEVEL_U_DB / 2)]
  const noise = levelVrms.map((level) => level * 10 ** (-snrDb / 20))

  const count = base.early.left.length
  const wires = [new Float64Array(count), filtered(base.late.right, filter)]
  const leak = 10 ** (crosstalkDb / 20)
  const [left, right] = [base.early.left, base.early.right]
  for (let n = 0; n < count; n++) {
    const x = left[n] + leak * right[n]
    wires[0][n] = x * (1 + x * (a2 + x * a3))
  }
  const channels = wires.map((wire, k) => {
    const card = 10 ** (errorDb[k] / 20) / FULL_SCALE_VRMS
    // 1 on the wire is a peak; a full-scale sine of rms FULL_SCALE_VRMS peaks at 1 in the file.
    const gain = levelVrms[k] * card
    const hissFs = noise[k] * card * Math.SQRT1_2
    const random = hiss(count, hissFs, seed * 2 + k + 1)
    const late = k === 1 ? wholeSamples : 0
    const out = new Float32Array(count)
    for (let n = 0; n < count; n++) out[n] = (n >= late ? gain * wire[n - late] : 0) + random[n]
    return out
  })
  const job = isBanded ? JOBS.banded : JOBS.full
  return {
    job,
    inputs: [INPUT, INPUT],
    channels,
    truth: {
      clockOffsetPpm: base.ppm,
      levelVrms: [levelVrms[0], levelVrms[1] * 10 ** (magnitudeDb(filter, job.outputs[1].referenceHz, RATE_HZ) / 20)],
      crosstalkDb,
      a2,
      a3,
      delayS: (wholeSamples + base.lateSamples) / base.early.samplesPerS,
      noiseVrms: [noise[0] * NOISE_BAND, noise[1] * NOISE_BAND],
      sections,
      highHz: isBanded ? HIGH_HZ : null,
      responseDb: (freqHz) => magnitudeDb(filter, freqHz, RATE_HZ) - magnitudeDb(filter, 1000, RATE_HZ),
    },
  }
}

/** Apart by an octave and more, so that what each one is, is a question with an answer. */
function drawnSections(
  count: number,
  between: (low: number, high: number) => number,
  logBetween: (low: number, high: number) => number,
): Section[] {
  const edges = Array.from({ length: count + 1 }, (_, k) => 50 * (10_000 / 50) ** (k / count))
  return Array.from({ length: count }, (_, k) => ({
    freqHz: logBetween(edges[k] * 1.4, edges[k + 1] / 1.4),
    gainDb: between(1, 9) * (between(0, 1) < 0.5 ? -1 : 1),
    q: logBetween(0.7, 5),
  }))
}
