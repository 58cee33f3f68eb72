/**
 * What a log of a slow meter says: when a switched line rises or falls, and the level on which a current settles.
 *
 * A reading is the value at its time, or null where the meter showed overload or had none. Readings that a meter makes
 * while it changes its range are neither averaged in nor hidden: they are left out and counted.
 */

export interface LogPoint {
  readonly atS: number
  readonly value: number | null
}

export interface Edge {
  /** Half way between the last reading before it and the first after it. */
  readonly atS: number
  /** Standard uncertainty (s): the edge is anywhere between the two. */
  readonly u: number
}

export interface Thresholds {
  readonly highMin: number
  readonly lowMax: number
}

export const EDGE_METHOD = 'edge of a polled line, hysteresis and two readings/1'
export const SETTLED_METHOD = 'median of a flat tail of polled readings/1'

/**
 * First time that a line is on the side asked for, in two readings running; what is between the thresholds is on neither side.
 *
 * @returns null where it never is; atS of the first reading where it was from the beginning (u is 0)
 *
 * Source of u: polled every T, an edge lies evenly within T: T / sqrt 12.
 */
export function edgeOf(log: readonly LogPoint[], to: 'high' | 'low', { highMin, lowMax }: Thresholds): Edge | null {
  const known = log.filter((point): point is LogPoint & { value: number } => point.value !== null)
  const isThere = ({ value }: { value: number }): boolean => (to === 'high' ? value >= highMin : value <= lowMax)
  const index = known.findIndex((point, i) => isThere(point) && i + 1 < known.length && isThere(known[i + 1]))
  if (index < 0) return null
  if (index === 0) return { atS: known[0].atS, u: 0 }
  const [before, after] = [known[index - 1].atS, known[index].atS]
  return { atS: (before + after) / 2, u: (after - before) / Math.sqrt(12) }
}

export interface Cleaned {
  readonly points: readonly { readonly atS: number; readonly value: number }[]
  /** Overloads and wild readings that were left out, but for those in a gap. */
  readonly jumpCount: number
  /** Stretches without a reading, at least three times as long as usual. */
  readonly gaps: readonly { readonly fromS: number; readonly toS: number }[]
}

/** A single reading this many times above or below both its neighbours is the meter's, not the vehicle's. */
const WILD_RATIO = 2
const GAP_RATIO = 3

/** @param floor what a reading may always differ by */
export function cleaned(log: readonly LogPoint[], floor: number): Cleaned {
  const known = log.filter((point): point is LogPoint & { value: number } => point.value !== null)
  const points = known.filter(({ value }, i) => {
    if (i === 0 || i === known.length - 1) return true
    const sizes = [Math.abs(known[i - 1].value), Math.abs(known[i + 1].value)]
    const size = Math.abs(value)
    const isAbove = size > WILD_RATIO * Math.max(...sizes) && size > Math.max(...sizes) + floor
    const isBelow = WILD_RATIO * size < Math.min(...sizes) && size < Math.min(...sizes) - floor
    return !isAbove && !isBelow
  })
  const spacings = log.slice(1).map(({ atS }, i) => atS - log[i].atS)
  const usualS = median(spacings)
  // A log may begin and end in a gap.
  const ends = [...log.slice(0, 1), ...known, ...log.slice(-1)].map(({ atS }) => atS)
  const gaps = ends.slice(1).flatMap((toS, i) => {
    const fromS = ends[i]
    return toS - fromS > GAP_RATIO * usualS * (1 + 1e-9) ? [{ fromS, toS }] : []
  })
  const isInGap = (atS: number): boolean => gaps.some(({ fromS, toS }) => atS >= fromS && atS <= toS)
  const lone = log.filter(({ value, atS }) => value === null && !isInGap(atS)).length
  return { points, jumpCount: known.length - points.length + lone, gaps }
}

export interface Settled {
  readonly level: number
  /** Standard uncertainty of the level from the spread of its readings, and of a drift that is seen, in its unit. */
  readonly spreadU: number
  readonly driftU: number
  /** Of the last digit that the meter shows, as its readings tell it; null where all of them are 0. */
  readonly resolution: number | null
  /** From here on it stayed. */
  readonly fromS: number
  readonly readingCount: number
}

const TAIL_S = 60
const TAIL_COUNT_MIN = 12
/** Thirds of a flat tail agree within this part of its level, or as closely as their noise allows. */
const FLAT_RATIO = 0.05
/** Range of three normal values over their standard deviation that 99 % stay below (studentised range, q 0.99; 3, infinite). */
const RANGE_OF_THREE = 4.12
/** Scale of a normal distribution over its median absolute deviation. */
const SIGMA_PER_MAD = 1.482602219
/** This many readings in a row outside end the tail; one or two are a moment's work of something that sleeps. */
const OUTSIDE_COUNT = 3

/**
 * The level on which a log ends, if its end is flat: medians of the three thirds of the last minute (of the last twelve
 * readings, where that is longer) agree within 5 %, the floor, or their own noise.
 *
 * The level is the median of all readings since the last that lay outside; its variance is pi / 2 times that of a mean
 * (normal noise).
 *
 * @param floor what counts as the same, in the unit of the readings
 * @returns null where the end is not flat, or too short
 */
export function settledLevel(points: Cleaned['points'], floor: number): Settled | null {
  const endS = points.at(-1)?.atS ?? 0
  if (points.length < TAIL_COUNT_MIN || endS - points[0].atS < TAIL_S) return null
  const inTime = points.findIndex(({ atS }) => atS >= endS - TAIL_S)
  const tail = points.slice(Math.min(inTime, points.length - TAIL_COUNT_MIN)).map(({ value }) => value)
  if (driftOf(tail, floor) === null) return null
  const middle = median(tail)
  const allowed = Math.max(FLAT_RATIO * Math.abs(middle), RANGE_OF_THREE * sigmaOf(tail), floor)
  let from = points.length
  for (let i = points.length - 1, outside = 0; i >= 0 && outside < OUTSIDE_COUNT; i--) {
    const isInside = Math.abs(points[i].value - middle) <= allowed
    outside = isInside ? 0 : outside + 1
    if (isInside) from = i
  }
  const values = points.slice(from).map(({ value }) => value)
  return {
    level: median(values),
    spreadU: sigmaOf(values) * Math.sqrt(Math.PI / 2 / values.length),
    driftU: driftOf(values, floor) ?? 0,
    // A meter that shows 0 all the time has shown its digits before.
    resolution: resolutionOf(values) ?? resolutionOf(points.map(({ value }) => value)),
    fromS: points[from].atS,
    readingCount: values.length,
  }
}

const [COARSEST_POWER, FINEST_POWER] = [1, -9]

/** The largest power of ten of which all readings are whole multiples; 0 where none is, null where all are 0. */
export function resolutionOf(values: readonly number[]): number | null {
  const shown = values.filter((value) => value !== 0)
  if (shown.length === 0) return null
  for (let power = COARSEST_POWER; power >= FINEST_POWER; power--) {
    const counts = shown.map((value) => value * 10 ** -power)
    // Decimal digits in binary are off by parts in 1e16.
    if (counts.every((count) => Math.abs(count - Math.round(count)) < 1e-6)) return 10 ** power
  }
  return 0
}

/** Standard uncertainty of a drift beyond what noise explains, 0 where there is none; null: not flat. */
function driftOf(values: readonly number[], floor: number): number | null {
  const third = Math.floor(values.length / 3)
  const medians = [0, 1, 2].map((k) => median(values.slice(k * third, k === 2 ? values.length : (k + 1) * third)))
  const range = Math.max(...medians) - Math.min(...medians)
  const noise = RANGE_OF_THREE * sigmaOf(values) * Math.sqrt(Math.PI / 2 / third)
  if (range > Math.max(FLAT_RATIO * Math.abs(median(values)), noise, floor)) return null
  return range > noise ? range / Math.sqrt(12) : 0
}

const sigmaOf = (values: readonly number[]): number => {
  const middle = median(values)
  return SIGMA_PER_MAD * median(values.map((value) => Math.abs(value - middle)))
}

export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  const half = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2
}

const HOURS_PER_DAY = 24

/**
 * Days until the usable part of a battery is drawn: Ah times share over A, over 24. Closed form, without self-discharge.
 *
 * @param drainA above 0
 */
export function daysToFlat(batteryAh: number, usableShare: number, drainA: number): number {
  if (!(drainA > 0)) throw new RangeError(`daysToFlat: ${drainA} A draws no battery flat`)
  return (batteryAh * usableShare) / drainA / HOURS_PER_DAY
}
