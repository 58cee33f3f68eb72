/**
 * The track as a capture with a clock of its own would hold it: every signal in it from its closed form, at the times of
 * that clock. Nothing is resampled, so a clock offset or another rate adds no error of its own.
 */
import type { Located } from '../../src/measure/analysis.js'
import {
  CHIRP,
  CLOSING_SPACING_S,
  chirpAt,
  openingSpacingS,
  SWEEP,
  sectionsOf,
  sweepAt,
  TONE_FADE_S,
  TRACK_REVISION,
  trackDurationS,
} from '../../src/stimulus/layout.js'
import type { Audio } from '../../src/units/audio.js'

const PLAYER_HZ = 48_000

/** Both source sides on the capture's clock. */
export interface Played {
  readonly sampleRateHz: number
  /** Capture samples for each second of track. */
  readonly samplesPerS: number
  /** Place of the track's first sample, fractional. */
  readonly startSample: number
  readonly left: Float64Array
  readonly right: Float64Array
}

export interface Playing {
  readonly sampleRateHz?: number
  /** Capture clock against player clock. */
  readonly ppm?: number
  readonly leadInS?: number
  readonly tailS?: number
  readonly revision?: number
  /** Stretch of the track that is there; all of it if left out. */
  readonly fromS?: number
  readonly toS?: number
}

export function playTrack(playing: Playing = {}): Played {
  const { sampleRateHz = 48_000, ppm = 0, leadInS = 0, tailS = 0, revision = TRACK_REVISION } = playing
  const { fromS = 0, toS = trackDurationS() } = playing
  const samplesPerS = sampleRateHz * (1 + ppm * 1e-6)
  const startSample = leadInS * sampleRateHz - fromS * samplesPerS
  const frameCount = Math.ceil(startSample + toS * samplesPerS + tailS * sampleRateHz)
  const left = new Float64Array(frameCount)
  const right = new Float64Array(frameCount)
  const add = (
    side: 'left' | 'right' | 'both',
    startS: number,
    durationS: number,
    at: (tS: number) => number,
  ): void => {
    const first = Math.max(0, Math.ceil(startSample + Math.max(fromS, startS) * samplesPerS))
    const last = Math.min(frameCount - 1, Math.floor(startSample + Math.min(toS, startS + durationS) * samplesPerS))
    for (let n = first; n <= last; n++) {
      const value = at((n - startSample) / samplesPerS - startS)
      if (side !== 'right') left[n] += value
      if (side !== 'left') right[n] += value
    }
  }
  const marker = (startS: number, spacingS: number): void => {
    for (const atS of [startS, startS + spacingS]) {
      add('both', atS, CHIRP.durationS, (tS) => CHIRP.peakFs * chirpAt(tS).inPhase)
    }
  }
  for (const { kind, startS, durationS, tones } of sectionsOf()) {
    if (kind === 'opening') marker(startS, openingSpacingS(revision))
    if (kind === 'closing') marker(startS, CLOSING_SPACING_S)
    if (kind === 'sweep_left') add('left', startS, durationS, (tS) => SWEEP.peakFs * sweepAt(tS))
    if (kind === 'sweep_right') add('right', startS, durationS, (tS) => SWEEP.peakFs * sweepAt(tS))
    // The player's oscillators start their phase on its first sample after the start.
    const phaseAtS = Math.ceil(startS * PLAYER_HZ - 1e-6) / PLAYER_HZ - startS
    for (const { freqHz, peakFs } of tones) {
      const turnsPerS = 2 * Math.PI * freqHz
      add('both', startS + phaseAtS, durationS - phaseAtS, (tS) => {
        const [sinceS, leftS] = [tS + phaseAtS, durationS - phaseAtS - tS]
        const fade = sinceS < TONE_FADE_S ? sinceS / TONE_FADE_S : leftS < TONE_FADE_S ? leftS / TONE_FADE_S : 1
        return fade * peakFs * Math.sin(turnsPerS * tS)
      })
    }
  }
  return { sampleRateHz, samplesPerS, startSample, left, right }
}

/** left and right gains on one wire. */
export function mixed({ left, right }: Played, leftGain: number, rightGain: number): Float64Array {
  const out = new Float64Array(left.length)
  for (let n = 0; n < out.length; n++) out[n] = leftGain * left[n] + rightGain * right[n]
  return out
}

/** Sums of signals of one length. */
export function summed(...signals: readonly Float64Array[]): Float64Array {
  const out = new Float64Array(signals[0].length)
  for (const signal of signals) for (let n = 0; n < out.length; n++) out[n] += signal[n]
  return out
}

export const scaled = (samples: Float64Array, gain: number): Float64Array => samples.map((value) => gain * value)

/** Later by a whole number of samples; the length stays. */
export function delayed(samples: Float64Array, count: number): Float64Array {
  const out = new Float64Array(samples.length)
  out.set(samples.subarray(0, samples.length - count), count)
  return out
}

/** One after the other. */
export function joined(...parts: readonly Float64Array[]): Float64Array {
  const out = new Float64Array(parts.reduce((sum, part) => sum + part.length, 0))
  let at = 0
  for (const part of parts) {
    out.set(part, at)
    at += part.length
  }
  return out
}

export const clipped = (samples: Float64Array, limit: number): Float64Array =>
  samples.map((value) => Math.max(-limit, Math.min(limit, value)))

/** y = x + a2 x^2 + a3 x^3. */
export const shaped = (samples: Float64Array, a2: number, a3: number): Float64Array =>
  samples.map((x) => x * (1 + x * (a2 + x * a3)))

/** A sum of steady sines: frequency and peak, phases by the golden angle so that they do not pile up. */
export const sines = (
  count: number,
  samplesPerS: number,
  tones: readonly { readonly freqHz: number; readonly peak: number }[],
): Float64Array => {
  const out = new Float64Array(count)
  for (const [k, { freqHz, peak }] of tones.entries()) {
    const stepRad = (2 * Math.PI * freqHz) / samplesPerS
    const [stepRe, stepIm] = [Math.cos(stepRad), Math.sin(stepRad)]
    let [re, im] = [0, 0]
    for (let n = 0; n < count; n++) {
      // Turned from sample to sample, and set anew before rounding adds up.
      if (n % 1024 === 0) [re, im] = [Math.cos(stepRad * n + 2.4 * k), Math.sin(stepRad * n + 2.4 * k)]
      out[n] += peak * im
      const next = re * stepRe - im * stepIm
      im = im * stepRe + re * stepIm
      re = next
    }
  }
  return out
}

/** A take of these channels, as a 24-bit card would hand it over. */
export const audioOf = (sampleRateHz: number, ...channels: readonly Float64Array[]): Audio => ({
  sampleRateHz,
  channels: channels.map((channel) => Float32Array.from(channel)),
})

/** Where the track stands in a take of it, from the closed form and not by looking. */
export const placeOf = ({ startSample, samplesPerS, sampleRateHz }: Played): Located => ({
  startSample,
  samplesPerS,
  clockOffsetPpm: (samplesPerS / sampleRateHz - 1) * 1e6,
  clockOffsetPpmU: 0,
  revision: TRACK_REVISION,
  match: 1,
})
