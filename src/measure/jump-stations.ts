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
  TRACK_REVISION,
} from '../stimulus/layout.js'
import type { Located } from './analysis.js'
import { delayed, type Level, PIECE_S, passing, references, toneLevel } from './jump-levels.js'

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
