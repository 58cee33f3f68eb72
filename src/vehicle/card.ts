/**
 * The capture card: its own noise, response, distortion, full scale, clipping, and whole steps with TPDF dither.
 *
 * Noise levels are for 20 Hz to 20 kHz; the noise itself is white up to half the sample rate. In the order of the real
 * thing: inputs leak into each other, each shapes what it gets, distorts it, adds its noise, and makes numbers of it.
 */
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { ratioFromDb } from '../units/level.js'
import { tpdfDither } from '../wav/dither.js'
import { distort } from './distortion.js'
import type { CardFault } from './fault-card.js'
import type { SineLine } from './model.js'
import { shift } from './resample.js'
import { coefficientsOf, type Filter } from './sections.js'
import { gaussian, seedFor } from './seeded.js'

const NOISE_BAND_HZ = 20_000 - 20
/** What a shut mute leaves of an output's noise. */
const MUTED_NOISE = ratioFromDb(-30)

export interface LeadNoise {
  readonly vrms: number
  /** 1 where the output is open, 0 where it is muted; null: always open. */
  readonly mute: Float32Array | null
}

export interface CardSpec {
  readonly sampleRateHz: number
  readonly bits: 16 | 24 | 32
  readonly noiseDbfs: number
  /** How much more it reads than the rig file makes of it. */
  readonly levelErrorDb: number
}

/** Adds sines to volts on a lead, in place. */
export function addLines(volts: Float32Array, lines: readonly SineLine[], laterRad: number, samplesPerS: number): void {
  for (const { freqHz, rms, phaseRad } of lines) {
    // A turning pointer: its rounding grows to about 1e-10 over a take.
    const w = (2 * Math.PI * freqHz) / samplesPerS
    const [cos, sin] = [Math.cos(w), Math.sin(w)]
    const peak = Math.SQRT2 * rms
    let x = peak * Math.cos(phaseRad + laterRad)
    let y = peak * Math.sin(phaseRad + laterRad)
    for (let n = 0; n < volts.length; n++) {
      volts[n] += y
      ;[x, y] = [x * cos - y * sin, y * cos + x * sin]
    }
  }
}

/**
 * Volts on leads with what their inputs get from each other, in place.
 *
 * @param leakDb of every other input, as a part of full scale: inputs of another range count by theirs
 */
export function leakBetween(leads: readonly Float32Array[], inputs: readonly RigInput[], leakDb: number): void {
  const ratio = ratioFromDb(leakDb)
  const scales = inputs.map((input) => 1 / fullScaleAtLead(input))
  for (let n = 0; n < leads[0].length; n++) {
    let sum = 0
    for (let k = 0; k < leads.length; k++) sum += leads[k][n] * scales[k]
    for (let k = 0; k < leads.length; k++) leads[k][n] += (ratio * (sum - leads[k][n] * scales[k])) / scales[k]
  }
}

/** What an input does to its signal: volts in, volts as it understands them out, in place. */
export function shapeInput(
  volts: Float32Array,
  input: RigInput,
  inputNumber: number,
  card: CardFault,
  samplesPerS: number,
): void {
  const own = card.inputs.get(inputNumber)
  if (own?.isDead) {
    volts.fill(0)
    return
  }
  const filters: Filter[] = [
    ...(card.lowHz === null ? [] : [{ kind: 'high_pass_1', freqHz: card.lowHz } as const]),
    ...card.eq,
  ]
  for (const filter of filters) runFilter(volts, filter, samplesPerS)
  if (own) {
    const gain = ratioFromDb(own.gainDb) * (own.isInverted ? -1 : 1)
    if (gain !== 1) for (let n = 0; n < volts.length; n++) volts[n] *= gain
    if (own.delayS !== 0) shift(volts, own.delayS * samplesPerS)
  }
  if (card.distortion) {
    const { secondPct, thirdPct } = card.distortion
    distort(volts, Math.SQRT2 * fullScaleAtLead(input), secondPct / 100, thirdPct / 100)
  }
}

/** One section as it is, in Float64. */
function runFilter(samples: Float32Array, filter: Filter, samplesPerS: number): void {
  const { b, a } = coefficientsOf(filter, samplesPerS)
  let [x1, x2, y1, y2] = [0, 0, 0, 0]
  for (let n = 0; n < samples.length; n++) {
    const x = samples[n]
    const y = b[0] * x + b[1] * x1 + b[2] * x2 - a[1] * y1 - a[2] * y2
    ;[x2, x1, y2, y1] = [x1, x, y1, y]
    samples[n] = y
  }
}

/**
 * Captures one input: volts on its lead become samples, in place.
 *
 * @param noise of the output on the lead; null when nothing is connected
 */
export function captureInput(
  volts: Float32Array,
  noise: LeadNoise | null,
  input: RigInput,
  card: CardSpec,
  seed: number,
): void {
  const scale = ratioFromDb(card.levelErrorDb) / (Math.SQRT2 * fullScaleAtLead(input))
  const spread = Math.sqrt(card.sampleRateHz / 2 / NOISE_BAND_HZ)
  // 0 dBFS is a full-scale sine, whose rms is 1 / sqrt 2 of full scale.
  const ownFs = (spread * ratioFromDb(card.noiseDbfs)) / Math.SQRT2
  const leadFs = spread * scale * (noise?.vrms ?? 0)
  const normal = gaussian(seedFor(seed, 'noise'))
  const mute = noise?.mute ?? null
  // Two independent noises add up to one with the sum of their powers.
  const openFs = Math.hypot(ownFs, leadFs)
  const muteFs = Math.hypot(ownFs, leadFs * MUTED_NOISE)

  // Float32 holds 24 bits: a 32-bit word has no steps left to dither.
  const steps = card.bits === 32 ? null : 2 ** (card.bits - 1)
  const dither = tpdfDither(seedFor(seed, 'dither'))
  for (let n = 0; n < volts.length; n++) {
    const noiseFs = mute === null ? openFs : muteFs + mute[n] * (openFs - muteFs)
    const sample = scale * volts[n] + noiseFs * normal()
    if (steps === null) volts[n] = Math.max(-1, Math.min(1, sample))
    else volts[n] = Math.max(-steps, Math.min(steps - 1, Math.round(steps * sample + dither()))) / steps
  }
}
