/**
 * Where a band ends and how steeply: -3 dB corners with their slopes.
 *
 * A corner belongs to the filter that ends the band: where sections and edges explain the curve it is read from the fitted edge, so
 * that a boost beside it does not move it. Else it is where the curve itself is 3 dB down.
 */
import type { Equaliser, FoundEdge } from './equaliser.js'
import type { LevelCurve } from './equaliser-region.js'
import { median } from './passband.js'

export const BAND_EDGES_METHOD = 'corner -3 dB, from fitted edge or curve/1'

export interface BandEdge {
  readonly cornerHz: number
  /** Standard uncertainty. */
  readonly cornerHzU: number
  /** Above 0: how much it falls in each octave away from the band; null where the curve does not go far enough down. */
  readonly slopeDbPerOctave: number | null
  /** Standard uncertainty; 0 for a fitted edge, whose order is a whole number. */
  readonly slopeDbPerOctaveU: number
  readonly isFromFit: boolean
}

export interface BandEdges {
  /** null where nothing ends the band within the audio band. */
  readonly low: BandEdge | null
  readonly high: BandEdge | null
}

const AUDIO_HZ = { low: 20, high: 20_000 } as const
/** Half power. */
const CORNER_DB = 10 * Math.log10(2)
const TOP_DB = 10
/** Points that noise moves by more say nothing. */
const NOISE_DB_MAX = 1
const OCTAVE_DB = 20 * Math.log10(2)
/** Depth between which a slope is read off the curve: past the knee, above what noise and leakage fill up. */
const SLOPE_DB = { from: 12, to: 36 } as const
const SLOPE_OCTAVES_MIN = 1 / 4

/** @param equaliser what was found on the same curve, or null */
export function bandEdgesOf(curve: LevelCurve, equaliser: Equaliser | null): BandEdges {
  if (equaliser?.isExplained) return { low: fromFit(equaliser.lowEdge), high: fromFit(equaliser.highEdge) }
  return { low: fromCurve(curve, -1), high: fromCurve(curve, 1) }
}

function fromFit(edge: FoundEdge | null): BandEdge | null {
  if (!edge || edge.halfPowerHz < AUDIO_HZ.low || edge.halfPowerHz > AUDIO_HZ.high) return null
  return {
    cornerHz: edge.halfPowerHz,
    cornerHzU: edge.halfPowerHzU,
    slopeDbPerOctave: OCTAVE_DB * edge.order,
    slopeDbPerOctaveU: 0,
    isFromFit: true,
  }
}

/** The outermost place where the curve, coming from its top, goes through 3 dB below its passband's median. */
function fromCurve({ freqHz, levelDb, uDb }: LevelCurve, step: 1 | -1): BandEdge | null {
  const isReadable = (i: number): boolean =>
    freqHz[i] >= AUDIO_HZ.low && freqHz[i] <= AUDIO_HZ.high && Number.isFinite(levelDb[i]) && uDb[i] < NOISE_DB_MAX
  const audible = [...freqHz.keys()].filter(isReadable)
  if (audible.length === 0) return null
  const topDb = audible.reduce((most, i) => Math.max(most, levelDb[i]), Number.NEGATIVE_INFINITY)
  const band = audible.filter((i) => levelDb[i] > topDb - TOP_DB)
  const referenceDb = median(band.map((i) => levelDb[i]))
  const above = band.filter((i) => levelDb[i] >= referenceDb - CORNER_DB)
  const inner = step < 0 ? above[0] : above[above.length - 1]
  const outer = inner + step
  if (!isReadable(outer)) return null
  const fallDb = levelDb[inner] - levelDb[outer]
  const octaves = Math.abs(Math.log2(freqHz[outer] / freqHz[inner]))
  const share = (levelDb[inner] - (referenceDb - CORNER_DB)) / fallDb
  const cornerHz = freqHz[inner] * 2 ** (step * share * octaves)
  // Noise moves the crossing by as much as the curve takes to fall by it; the slope is that of some points around.
  const around = slopeBetween(freqHz, levelDb, Math.max(0, inner - 4), Math.min(freqHz.length - 1, inner + 4))
  const cornerHzU = (cornerHz * Math.LN2 * uDb[inner]) / Math.max(Math.abs(around.slope), 1e-3)
  const { slope, u } = farSlope({ freqHz, levelDb, uDb, referenceDb, outer, step })
  return { cornerHz, cornerHzU, slopeDbPerOctave: slope, slopeDbPerOctaveU: u, isFromFit: false }
}

interface Fall {
  readonly freqHz: Float64Array
  readonly levelDb: Float64Array
  readonly uDb: Float64Array
  readonly referenceDb: number
  readonly outer: number
  readonly step: 1 | -1
}

function farSlope({ freqHz, levelDb, uDb, referenceDb, outer, step }: Fall): { slope: number | null; u: number } {
  const depth = (i: number): number => referenceDb - levelDb[i]
  let i = outer
  const isThere = (): boolean => i >= 0 && i < freqHz.length && uDb[i] < NOISE_DB_MAX
  while (isThere() && depth(i) < SLOPE_DB.from) i += step
  const first = i
  while (isThere() && depth(i) >= SLOPE_DB.from && depth(i) <= SLOPE_DB.to) i += step
  const last = i - step
  const octaves = Math.abs(Math.log2(freqHz[last] / freqHz[first]))
  if (!(octaves >= SLOPE_OCTAVES_MIN)) return { slope: null, u: 0 }
  const { slope, u } = slopeBetween(freqHz, levelDb, Math.min(first, last), Math.max(first, last))
  return { slope: -step * slope, u }
}

/** Straight line through levels over octaves, by least squares, and its standard uncertainty from what it leaves. */
function slopeBetween(
  freqHz: Float64Array,
  levelDb: Float64Array,
  from: number,
  to: number,
): { slope: number; u: number } {
  const count = to - from + 1
  const x = Array.from({ length: count }, (_, k) => Math.log2(freqHz[from + k]))
  const y = Array.from({ length: count }, (_, k) => levelDb[from + k])
  const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / count
  const [xMean, yMean] = [mean(x), mean(y)]
  let [xx, xy] = [0, 0]
  for (let k = 0; k < count; k++) {
    xx += (x[k] - xMean) ** 2
    xy += (x[k] - xMean) * (y[k] - yMean)
  }
  const slope = xy / xx
  const left = y.reduce((sum, value, k) => sum + (value - yMean - slope * (x[k] - xMean)) ** 2, 0)
  return { slope, u: Math.sqrt(left / Math.max(1, count - 2) / xx) }
}
