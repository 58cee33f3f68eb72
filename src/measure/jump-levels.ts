/**
 * Complex levels of an output at single frequencies, at the times when chirp, sweeps and tones pass them: peak and phase against
 * what was played, as a cosine.
 */
import { type Section, SWEEP, sweepPhaseRad } from '../stimulus/layout.js'
import type { Located } from './analysis.js'
import { fitAround, type Span } from './local-fit.js'
import { markerPair, playedOpening } from './marker-pair.js'

/** Where sweeps and chirps are read: about two to an octave, and the frequencies of the steady tones. */
const FREQS_HZ = [30, 60, 120, 240, 450, 700, 997, 1500, 2200, 3200, 4500, 6300, 9000, 12_000, 16_000] as const
/** A response so much smaller than the largest is outside of the band. */
const IN_BAND = 0.1
/** Tones are read in pieces of so much, so that a jump within one is found too. */
export const PIECE_S = 0.18

export interface Level {
  readonly re: number
  readonly im: number
  /** Standard uncertainty of the phase. */
  readonly phaseU: number
}

/** A sweep around the place where it passes a frequency: complex level against what was played. */
export function passing(
  channel: Float32Array,
  { startSample, samplesPerS }: Located,
  startS: number,
  freqHz: number,
  shiftSamples: number,
): Level | null {
  const { freqHzStart, rateS, durationS, peakFs } = SWEEP
  const sinceS = (n: number): number => (n - shiftSamples - startSample) / samplesPerS - startS
  const passS = rateS * Math.log(freqHz / freqHzStart)
  const halfS = Math.min(0.06, Math.max(0.03, 2 / freqHz))
  const at = (s: number): number => Math.round(startSample + shiftSamples + (startS + s) * samplesPerS)
  const span = { from: at(Math.max(0.005, passS - halfS)), to: at(Math.min(durationS - 0.003, passS + halfS)) }
  if (passS > durationS - 0.01 || freqHz > 0.4 * samplesPerS) return null
  return levelIn(
    channel,
    span,
    samplesPerS,
    freqHz,
    (n) => sweepPhaseRad(sinceS(n), freqHzStart, rateS),
    peakFs,
    at(passS),
  )
}

function levelIn(
  channel: Float32Array,
  span: Span,
  samplesPerS: number,
  freqHz: number,
  phaseRad: (sample: number) => number,
  peakFs: number,
  at: number,
): Level | null {
  if (span.from < 0 || span.to > channel.length) return null
  const stretch = {
    kind: 'tone' as const,
    ...span,
    isSweep: true,
    freqsHz: () => [freqHz],
    phasesRad: (n: number) => [phaseRad(n)],
  }
  const fit = fitAround(channel, stretch, [span], samplesPerS, 'stiff', true)
  if (!fit) return null
  const level = fit.levelAt(at)
  const size = Math.hypot(level.re, level.im)
  const phaseU = (3 * fit.rms * Math.sqrt(2 / (span.to - span.from))) / Math.max(size, 1e-12)
  return phaseU > 0.5 ? null : { re: level.re / peakFs, im: level.im / peakFs, phaseU }
}

/**
 * Response at each frequency as the opening chirp shows it: what was captured over what was played, as spectra. A chirp is too
 * short for slow outputs to be read where it passes a frequency.
 */
export function references(channel: Float32Array, located: Located, delaySamples: number): ReadonlyMap<number, Level> {
  const pair = markerPair(channel, located)
  if (!pair) return new Map()
  const { size, samplesPerS, opening, noisePower } = pair
  const played = playedOpening(located)
  const levels = new Map<number, Level>()
  for (const freqHz of FREQS_HZ) {
    if (freqHz > 0.4 * samplesPerS) continue
    const place = (freqHz * size) / samplesPerS
    // Neighbours a window's width around, each with the delay taken off, so that they are alike.
    let [re, im, energy] = [0, 0, 0]
    for (let k = Math.max(1, Math.round(place) - 2); k <= Math.round(place) + 2; k++) {
      const [a, b, c, d] = [opening[2 * k], opening[2 * k + 1], played[2 * k], played[2 * k + 1]]
      const angle = (2 * Math.PI * (k - place) * delaySamples) / size
      const [crossRe, crossIm] = [a * c + b * d, b * c - a * d]
      re += crossRe * Math.cos(angle) - crossIm * Math.sin(angle)
      im += crossRe * Math.sin(angle) + crossIm * Math.cos(angle)
      energy += c * c + d * d
    }
    // Levels stand against a cosine, and what was played is a sine.
    const level = { re: im / energy, im: -re / energy }
    const phaseU = Math.sqrt(noisePower / energy) / Math.max(Math.hypot(level.re, level.im), 1e-12)
    if (phaseU < 0.3) levels.set(freqHz, { ...level, phaseU })
  }
  // Far outside of the output's band nothing is said reliably.
  const largest = Math.max(0, ...[...levels.values()].map(({ re, im }) => Math.hypot(re, im)))
  for (const [freqHz, { re, im }] of levels) if (Math.hypot(re, im) < IN_BAND * largest) levels.delete(freqHz)
  return levels
}

/** The phase of the delay that was taken off for the fit. */
export function delayed({ re, im, phaseU }: Level, freqHz: number, delaySamples: number, samplesPerS: number): Level {
  const angle = (-2 * Math.PI * freqHz * delaySamples) / samplesPerS
  const [c, s] = [Math.cos(angle), Math.sin(angle)]
  return { re: re * c - im * s, im: re * s + im * c, phaseU }
}

/** Level of a tone in a piece of it, through a Hann window. */
export function toneLevel(
  channel: Float32Array,
  { startSample, samplesPerS }: Located,
  section: Section,
  pieceS: number,
  late: number,
  playerHz: number,
): Level | null {
  const { freqHz, peakFs } = section.tones[0]
  const phaseFromS = Math.ceil(section.startS * playerHz - 1e-6) / playerHz
  const from = Math.round(startSample + late + pieceS * samplesPerS)
  const count = Math.round(PIECE_S * samplesPerS)
  if (from < 0 || from + count > channel.length) return null
  let [re, im, weights, power] = [0, 0, 0, 0]
  for (let i = 0; i < count; i++) {
    const weight = 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / count)
    const angle = 2 * Math.PI * freqHz * ((from + i - late - startSample) / samplesPerS - phaseFromS)
    const value = weight * channel[from + i]
    re += value * Math.cos(angle)
    im -= value * Math.sin(angle)
    weights += weight
    power += value * value
  }
  const size = (2 * Math.hypot(re, im)) / weights
  // What isn't the tone, as noise: 3/8 is the mean square of the window.
  const rest = Math.max(0, power / count - (0.375 * size * size) / 2)
  const phaseU = Math.sqrt((4 * rest) / count) / Math.max(size, 1e-12)
  return phaseU > 0.5 ? null : { re: (2 * re) / weights / peakFs, im: (2 * im) / weights / peakFs, phaseU }
}
