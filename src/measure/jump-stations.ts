/**
 * Between which parts of the track samples were lost or added, when their number is known.
 *
 * A response has one phase at each frequency. The opening chirp tells it; each sweep and each tone that passes the frequency
 * later tells it again, at its own time or, after the jump, so many samples away from it. The jump lies where the one
 * explanation ends and the other begins.
 */
import {
  CHIRP,
  openingSpacingS,
  type Section,
  SWEEP,
  sectionStartS,
  sectionsOf,
  sweepPhaseRad,
  TRACK_REVISION,
} from '../stimulus/layout.js'
import type { Located } from './analysis.js'
import { fitAround, type Span } from './local-fit.js'
import { markerPair, playedOpening } from './marker-pair.js'

/** Where sweeps and chirps are read: about two to an octave, and the frequencies of the steady tones. */
const FREQS_HZ = [30, 60, 120, 240, 450, 700, 997, 1500, 2200, 3200, 4500, 6300, 9000, 12_000, 16_000] as const
/** A response so much smaller than the largest is outside of the band. */
const IN_BAND = 0.1
/** Tones are read in pieces of so much, so that a jump within one is found too. */
const PIECE_S = 0.18
/** Tones start on a sample of the player; of which rate isn't known. */
const PLAYER_RATES_HZ = [48_000, 44_100] as const
/** What compression and a slow drift may turn a phase by. */
const PHASE_SLACK_RAD = 0.05
/** No single reading outweighs all others. */
const COST_MOST = 60
/** What stations may cost on the average; 1 by noise alone, more where a level is low. */
const COST_EACH = 12
/** Costs that differ by less are alike: four standard deviations. */
const COST_ALIKE = 16

interface Level {
  readonly re: number
  readonly im: number
  /** Standard uncertainty of the phase. */
  readonly phaseU: number
}

/** Something that tells on which side of the jump its times are. */
interface Station {
  readonly timesS: readonly number[]
  /** Minus twice the log-likelihood, when everything at each of the times is late by so much. */
  readonly cost: (lateSamples: readonly number[]) => number
}

/**
 * @param delaySamples of the output, as the opening chirp shows it
 * @returns track times between which the jump lies; null where nothing tells
 */
export function bracketJump(
  channel: Float32Array,
  located: Located,
  lateSamples: number,
  delaySamples: number,
): { readonly fromS: number; readonly toS: number } | null {
  const known = references(channel, located, delaySamples)
  const sweeps = [...known].map(([freqHz, reference]) =>
    sweepStation(channel, located, freqHz, reference, delaySamples),
  )
  let best: { readonly cost: number; readonly fromS: number; readonly toS: number } | null = null
  for (const playerHz of PLAYER_RATES_HZ) {
    const stations = [...sweeps, ...toneStations(channel, located, known, playerHz)]
    const split = bestSplit(stations, lateSamples)
    if (split && (!best || split.cost < best.cost)) best = split
  }
  return best
}

/** The moment before which nothing is late and after which all is, by the least cost; with all moments that are as good. */
function bestSplit(
  stations: readonly Station[],
  lateSamples: number,
): { readonly cost: number; readonly fromS: number; readonly toS: number } | null {
  if (stations.length === 0) return null
  const firstS = sectionStartS('opening') + openingSpacingS(TRACK_REVISION) + CHIRP.durationS
  const times = [...new Set(stations.flatMap(({ timesS }) => timesS))].sort((a, b) => a - b)
  const edges = [firstS, ...times, sectionStartS('closing')]
  const costs = edges.slice(0, -1).map((edgeS) => {
    const momentS = edgeS + 1e-6
    return stations.reduce((sum, { timesS, cost }) => sum + cost(timesS.map((s) => (s < momentS ? 0 : lateSamples))), 0)
  })
  const cost = Math.min(...costs)
  const alike = costs.flatMap((value, i) => (value < cost + COST_ALIKE ? [i] : []))
  // Where readings agree with neither, as on an output whose delay changes all the time, there is no one jump.
  if (cost > COST_EACH * stations.length) return null
  return { cost, fromS: edges[alike[0]], toS: edges[alike[alike.length - 1] + 1] }
}

/** A sweep around the place where it passes a frequency: complex level against what was played. */
function passing(
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
function references(channel: Float32Array, located: Located, delaySamples: number): ReadonlyMap<number, Level> {
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
function delayed({ re, im, phaseU }: Level, freqHz: number, delaySamples: number, samplesPerS: number): Level {
  const angle = (-2 * Math.PI * freqHz * delaySamples) / samplesPerS
  const [c, s] = [Math.cos(angle), Math.sin(angle)]
  return { re: re * c - im * s, im: re * s + im * c, phaseU }
}

/** Both sweeps at a frequency: together they are the response that the chirp, on both sides, has shown. */
function sweepStation(
  channel: Float32Array,
  located: Located,
  freqHz: number,
  reference: Level,
  delaySamples: number,
): Station {
  const starts = (['sweep_left', 'sweep_right'] as const).map(sectionStartS)
  const passS = SWEEP.rateS * Math.log(freqHz / SWEEP.freqHzStart) + delaySamples / located.samplesPerS
  const known = new Map<string, Level | null>()
  const levelOf = (side: number, late: number): Level | null => {
    const key = `${side} ${late}`
    if (!known.has(key)) {
      const level = passing(channel, located, starts[side], freqHz, late + delaySamples)
      known.set(key, level && delayed(level, freqHz, delaySamples, located.samplesPerS))
    }
    return known.get(key) ?? null
  }
  const least = 0.03 * Math.hypot(reference.re, reference.im)
  const isHeard = (side: number, lates: readonly number[]): boolean =>
    lates.some((late) => {
      const level = levelOf(side, late)
      return level !== null && Math.hypot(level.re, level.im) > least
    })
  return {
    timesS: starts.map((startS) => startS + passS),
    cost: (lates) => {
      const sides = [0, 1].filter((side) => isHeard(side, lates))
      const levels = sides.map((side) => levelOf(side, lates[side]))
      if (levels.length === 0 || levels.some((level) => level === null)) return COST_MOST
      const sum = levels.reduce<Level>(
        (total, level) => ({
          re: total.re + level!.re,
          im: total.im + level!.im,
          phaseU: Math.hypot(total.phaseU, level!.phaseU),
        }),
        { re: 0, im: 0, phaseU: 0 },
      )
      return costOf(sum, reference)
    },
  }
}

function toneStations(
  channel: Float32Array,
  located: Located,
  references: ReadonlyMap<number, Level>,
  playerHz: number,
): Station[] {
  return sectionsOf()
    .filter(({ kind, tones }) => kind !== 'preroll' && tones.length === 1 && references.get(tones[0].freqHz))
    .flatMap((section) =>
      piecesOf(section).map((startS) => {
        const { freqHz } = section.tones[0]
        const reference = references.get(freqHz)!
        const known = new Map<number, Level | null>()
        return {
          timesS: [startS + PIECE_S / 2],
          cost: ([late]) => {
            if (!known.has(late)) known.set(late, toneLevel(channel, located, section, startS, late, playerHz))
            const level = known.get(late)
            return level ? costOf(level, reference) : COST_MOST
          },
        } satisfies Station
      }),
    )
}

function piecesOf({ startS, durationS }: Section): number[] {
  const count = Math.max(1, Math.floor((durationS - 0.02) / PIECE_S))
  const from = startS + 0.5 * (durationS - count * PIECE_S)
  return Array.from({ length: count }, (_, i) => from + i * PIECE_S)
}

/** Level of a tone in a piece of it, through a Hann window. */
function toneLevel(
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

/** Minus twice the log-likelihood that a level is the reference: by its phase, unless its size is far off. */
function costOf(level: Level, reference: Level): number {
  const ratio = Math.hypot(level.re, level.im) / Math.max(Math.hypot(reference.re, reference.im), 1e-12)
  if (ratio < 0.4 || ratio > 2.5) return COST_MOST
  const phase = Math.atan2(
    level.im * reference.re - level.re * reference.im,
    level.re * reference.re + level.im * reference.im,
  )
  const u = Math.hypot(level.phaseU, reference.phaseU, PHASE_SLACK_RAD)
  return Math.min(COST_MOST, (phase / u) ** 2)
}
