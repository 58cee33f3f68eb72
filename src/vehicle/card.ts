/**
 * The capture card: its own noise, full scale, clipping, and whole steps with TPDF dither.
 *
 * Noise levels are for 20 Hz to 20 kHz; the noise itself is white up to half the sample rate.
 */
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { ratioFromDb } from '../units/level.js'
import { tpdfDither } from '../wav/dither.js'
import type { SineLine } from './model.js'
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
