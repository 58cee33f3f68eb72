/**
 * Which part of a curve a fit may look at, and how much each point of it counts.
 *
 * Outside: what lies beyond the audio band, drowns in noise, is far down a band edge, or falls off faster than any analog
 * filter (a lossy source's or a converter's own end).
 */
import { axisOf, type FitData } from './equaliser-fit.js'
import { median } from './passband.js'

/** A response as it was measured, not smoothed. */
export interface LevelCurve {
  /** Rising; 48 points an octave or about that. */
  readonly freqHz: Float64Array
  readonly levelDb: Float64Array
  /** Standard uncertainty of each point from noise. */
  readonly uDb: Float64Array
  /** Points nearer than this to each other share their noise; 0 where each has its own. */
  readonly noiseWidthHz: number
}

export interface Region {
  readonly data: FitData
  /** Variance of each point from noise, raised so that neighbours count as if each had its own. */
  readonly noise: Float64Array
  /** Variance of each point from noise, as it is. */
  readonly ownNoise: Float64Array
  /** Median level of what is within 10 dB of the top. */
  readonly referenceDb: number
  /** Points less than 10 dB below the reference. */
  readonly isInBand: (index: number) => boolean
  /** The curve goes down by the limit within the audio band: there is an edge. */
  readonly endsBelow: { readonly low: boolean; readonly high: boolean }
}

const AUDIO_HZ = { low: 16, high: 19_000 } as const
const DEPTH_DB = { band: 10, end: 50 } as const
const NOISE_DB_MAX = 1
/** What the model of any real output is off by, at its best: filters computed with few bits, converter ripple. */
const FLOOR_DB = 0.02
/** Steeper than 48 dB an octave on a twelfth of an octave, above this frequency, is no filter of a kind that is fitted. */
const CLIFF = { fromHz: 10_000, points: 4, dropDb: 4.5 } as const
const POINTS_MIN = 48

/** @returns null where less than an octave can be read */
export function regionOf({ freqHz, levelDb, uDb, noiseWidthHz }: LevelCurve, sampleRateHz: number): Region | null {
  const topHz = Math.min(AUDIO_HZ.high, 0.45 * sampleRateHz)
  const isUsable = (i: number): boolean =>
    freqHz[i] >= AUDIO_HZ.low && freqHz[i] <= topHz && Number.isFinite(levelDb[i]) && uDb[i] < NOISE_DB_MAX
  const usable = [...freqHz.keys()].filter(isUsable)
  if (usable.length < POINTS_MIN) return null
  const peak = usable.reduce((best, i) => (levelDb[i] > levelDb[best] ? i : best))
  const referenceDb = median(usable.map((i) => levelDb[i]).filter((level) => level > levelDb[peak] - DEPTH_DB.band))
  const isHigh = (i: number): boolean => isUsable(i) && levelDb[i] > referenceDb - DEPTH_DB.end
  let [first, last] = [peak, peak]
  while (isHigh(first - 1)) first--
  while (isHigh(last + 1)) last++
  const endsBelow = { low: isUsable(first - 1), high: isUsable(last + 1) }
  const cliff = cliffIn(freqHz, levelDb, first, last)
  if (cliff !== null) {
    last = cliff
    endsBelow.high = false
  }
  if (last - first + 1 < POINTS_MIN) return null

  const cut = (values: Float64Array): Float64Array => values.slice(first, last + 1)
  const axisHz = cut(freqHz)
  const levels = cut(levelDb)
  const ownNoise = cut(uDb).map((u) => u * u)
  const noise = ownNoise.map((variance, i) => {
    const at = first + i
    const spacingHz = 0.5 * (freqHz[Math.min(at + 1, freqHz.length - 1)] - freqHz[Math.max(at - 1, 0)])
    return variance * Math.max(1, noiseWidthHz / spacingHz)
  })
  // Deep down an edge a real filter is off by more.
  const rootWeight = levels.map((level, i) => {
    const depth = Math.max(0, referenceDb - DEPTH_DB.band - level) / DEPTH_DB.band
    return 1 / Math.hypot(Math.sqrt(noise[i]), FLOOR_DB * (1 + depth))
  })
  return {
    data: { ...axisOf(axisHz, sampleRateHz), freqHz: axisHz, levelDb: levels, rootWeight },
    noise,
    ownNoise,
    referenceDb,
    isInBand: (i) => levels[i] > referenceDb - DEPTH_DB.band,
    endsBelow,
  }
}

/** Last point before a cliff at the upper end, with room for its ripple; null where there is none. */
function cliffIn(freqHz: Float64Array, levelDb: Float64Array, first: number, last: number): number | null {
  for (let i = first; i + CLIFF.points <= last; i++) {
    if (freqHz[i] < CLIFF.fromHz) continue
    if (levelDb[i] - levelDb[i + CLIFF.points] > CLIFF.dropDb) return i - 2 * CLIFF.points
  }
  return null
}
