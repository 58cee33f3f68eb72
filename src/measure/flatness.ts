/**
 * How far a response is from flat over a range, and what the settings that undo it leave.
 *
 * Deviations are dB from the mean level of the range, each octave counted alike, over a twelfth of an octave. A band edge that
 * the channel map expects is taken off as it was found: where an output ends is not asked here.
 */
import { type EqSection, multiplySection, warpedSquares } from '../dsp/cookbook.js'
import { type EdgeAxis, multiplyEdge } from './edge-filters.js'
import type { Equaliser, FoundEdge } from './equaliser.js'
import type { LevelCurve } from './equaliser-region.js'
import { type Estimate, estimate } from './estimate.js'

export const FLATNESS_METHOD = 'deviation from the mean level, 1/12 octave/1'

export interface Deviations {
  readonly freqHz: readonly number[]
  readonly levelDb: readonly number[]
  /** Standard uncertainty of each from noise. */
  readonly uDb: readonly number[]
  readonly highest: Estimate
  readonly lowest: Estimate
}

export interface FlatRange {
  readonly fromHz: number
  readonly toHz: number
  /** Corners that the map expects; null where nothing limits it. */
  readonly band: { readonly lowHz: number | null; readonly highHz: number | null }
  /** The rate at which sections and edges are taken to run. */
  readonly sampleRateHz: number
}

const REACH = 2
/** Fewer points than a third of an octave say nothing. */
const POINTS_MIN = 16

/**
 * @param undo sections that are put behind it
 * @param inputsU standard uncertainty from what the rig's inputs are off against each other, dB
 * @returns null where the range and the band have less than a third of an octave in common, or noise hides it
 */
export function deviationsOf(
  curve: LevelCurve,
  equaliser: Equaliser | null,
  range: FlatRange,
  { undo = [], inputsU = 0 }: { undo?: readonly EqSection[]; inputsU?: number } = {},
): Deviations | null {
  const { band, sampleRateHz } = range
  const low = band.lowHz === null ? null : (equaliser?.lowEdge ?? null)
  const high = band.highHz === null ? null : (equaliser?.highEdge ?? null)
  const fromHz = Math.max(range.fromHz, band.lowHz === null ? 0 : (low?.halfPowerHz ?? band.lowHz))
  const toHz = Math.min(range.toHz, band.highHz === null ? 1e5 : (high?.halfPowerHz ?? band.highHz))
  const all = [...curve.freqHz.keys()].filter((i) => curve.freqHz[i] >= fromHz && curve.freqHz[i] <= toHz)
  const inside = all.filter((i) => Number.isFinite(curve.levelDb[i]) && Number.isFinite(curve.uDb[i]))
  if (inside.length < POINTS_MIN || inside.length < all.length) return null

  const axisHz = Float64Array.from(inside, (i) => curve.freqHz[i])
  const power = powersOf(axisHz, [low, high], undo, sampleRateHz)
  const bare = inside.map((i, n) => curve.levelDb[i] + 10 * Math.log10(power[n]))
  const mean = bare.reduce((sum, value) => sum + value, 0) / bare.length
  const near = (n: number): number[] => {
    const first = Math.max(0, n - REACH)
    return bare.slice(first, n + REACH + 1).map((_, k) => first + k)
  }
  const levelDb = bare.map((_, n) => {
    const places = near(n)
    return places.reduce((sum, k) => sum + bare[k], 0) / places.length - mean
  })
  // Below 100 Hz neighbours share their noise: nothing is gained by their mean.
  const uDb = bare.map((_, n) => Math.max(...near(n).map((k) => curve.uDb[inside[k]])))
  const edgeU = low || high ? (equaliser?.residualDb.rms ?? 0) : 0
  const at = (n: number): Estimate =>
    estimate(
      levelDb[n],
      { noise: uDb[n], 'band edge as fitted': edgeU, 'input calibrations': inputsU },
      FLATNESS_METHOD,
      {
        freqHz: axisHz[n],
      },
    )
  const places = [...levelDb.keys()]
  return {
    freqHz: [...axisHz],
    levelDb,
    uDb,
    highest: at(places.reduce((best, n) => (levelDb[n] > levelDb[best] ? n : best))),
    lowest: at(places.reduce((best, n) => (levelDb[n] < levelDb[best] ? n : best))),
  }
}

/** The deviation that is furthest from 0, either way. */
export const furthest = ({ highest, lowest }: Deviations): Estimate =>
  Math.abs(highest.value) >= Math.abs(lowest.value) ? highest : lowest

/** Squared magnitudes of the sections, over those of the edges. */
function powersOf(
  axisHz: Float64Array,
  edges: readonly (FoundEdge | null)[],
  undo: readonly EqSection[],
  sampleRateHz: number,
): Float64Array {
  const warped = warpedSquares(axisHz, sampleRateHz)
  const power = new Float64Array(axisHz.length).fill(1)
  const axis: EdgeAxis = { squares: axisHz.map((hz) => hz * hz), warped, sampleRateHz }
  for (const edge of edges) if (edge) multiplyEdge(edge, edge.cornerHz, axis, power)
  const over = power.map((value) => 1 / value)
  for (const section of undo) multiplySection(section, warped, sampleRateHz, over)
  return over
}
