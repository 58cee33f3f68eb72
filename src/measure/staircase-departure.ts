/**
 * How an output leaves the straight line as the level rises: compression, clipping or limiting, and from which level on.
 *
 * Between steps a clipped sine's closed form leads where the output is cut off hard; else a power law through the steps on
 * both sides, as the terms of a power series grow.
 */
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import { type CutSides, cutForFundamental, cutForThd, cutFundamental, cutThd } from './hard-clip.js'
import type { Reading } from './line-power.js'
import { STEP_ORDER_MAX } from './step-reading.js'

export interface StaircaseStep {
  readonly sourceDbfs: number
  readonly peakFs: number
  /** Standard uncertainty of peakFs, in the same unit. */
  readonly peakFsU: number
  /** Gain against the low steps: negative where the output falls behind. */
  readonly gainDb: number
  readonly gainDbU: number
  /** Orders 2 to 9 below 20 kHz, over the fundamental. */
  readonly thd: Reading
  /** Squared peaks of orders 2 and up, noise taken off; null where the distortion was only bounded. */
  readonly harmonicPowers: readonly number[] | null
  /** Largest sample of the step: at 1 the capture itself stops. */
  readonly samplePeakFs: number
}

/** What bounds the straight part. */
export type DepartureKind =
  /** Neither limit is passed. */
  | 'clean'
  /** Peaks are cut off: high orders come up within a decibel or two. */
  | 'hard clipping'
  /** Low orders grow smoothly with the level. */
  | 'soft clipping'
  /** The gain falls while the sine stays one: a level control, or a filter behind the place that clips. */
  | 'limiting'

export interface LevelPoint {
  readonly sourceDbfs: number
  /** Standard uncertainty (dB): noise, and what is not known between two steps. */
  readonly sourceDbU: number
  /** Output peak there, fraction of full scale. */
  readonly peakFs: number
}

export interface Departure {
  readonly kind: DepartureKind
  /** Source levels at which the gain has fallen by 0.1, 0.5 and 1 dB; those that are reached. */
  readonly compressionPoints: readonly (LevelPoint & { readonly dropDb: number })[]
  /** Where distortion passes the limit; null where it does not. */
  readonly onset: LevelPoint | null
  /** Highest level within both limits; isTop where all of the staircase is, so that the truth is this or more. */
  readonly highestClean: (LevelPoint & { readonly isTop: boolean }) | null
}

export interface CleanLimits {
  readonly thdRatio: number
  readonly compressionDb: number
}

const DROPS_DB = [0.1, 0.5, 1] as const
/** Distortion over that of a clipped sine with the same loss of gain; a cubic curve has 0.3 and more. */
const LIMITING_SHARE = 0.15
/** Orders 4 and up over all: a clipped sine has 0.2 and more up to 4 dB over, a power series of third order has none. */
const HIGH_ORDER_SHARE = 0.15
/** Growth of distortion (dB) for each dB of level where no high orders can be seen; a third-order term grows by 2. */
const ABRUPT_GROWTH = 6
/** Of the distance between two steps, what a power law between them may be off by, standard. */
const BETWEEN_STEPS = { smooth: 0.02, abrupt: 0.3 } as const
/** Steps agree on one cut when they are no further apart than this, rms (dB). */
const AGREED_DB = 0.15
/** Fades and filters leave this much on a level read from a loss of gain (dB). */
const LEAST_DB = 1e-3
/** Share of even orders from which one side is taken as cut; both sides alike have none. */
const EVEN_SHARE = 0.3

/** @param gain output peak over source peak by the low steps */
export function departureOf(steps: readonly StaircaseStep[], gain: number, limits: CleanLimits): Departure {
  const dropDb = (step: StaircaseStep): number => -step.gainDb
  const isDropped = (step: StaircaseStep, limitDb: number): boolean =>
    dropDb(step) >= limitDb && dropDb(step) > 2 * step.gainDbU
  const isDistorted = (step: StaircaseStep): boolean => !step.thd.isAtMost && step.thd.value >= limits.thdRatio
  // A loss of gain lasts as the level rises; one low step alone is off by noise.
  const firstDropped = (limitDb: number): number => 1 + steps.findLastIndex((step) => !isDropped(step, limitDb))
  const firstOver = Math.min(
    firstDropped(Math.min(0.1, limits.compressionDb)),
    ...steps.flatMap((step, k) => (isDistorted(step) ? [k] : [])),
  )
  const kind = firstOver === steps.length ? 'clean' : kindOf(steps, firstOver)
  const cut = kind === 'hard clipping' ? cutOf(steps, isEvenAt(steps[firstOver])) : null
  const betweenShare = kind === 'hard clipping' ? BETWEEN_STEPS.abrupt : BETWEEN_STEPS.smooth

  const pointAt = (sourceDbfs: number, sourceDbU: number): LevelPoint => ({
    sourceDbfs,
    sourceDbU,
    peakFs: gain * ratioFromDb(sourceDbfs + gainDbAt(steps, sourceDbfs, cut)),
  })
  const compressed = (limitDb: number): LevelPoint | null => {
    const index = firstDropped(limitDb)
    if (index === steps.length) return null
    if (cut) {
      const level = cut.sourceDbfs - dbFromRatio(cutForFundamental(ratioFromDb(-limitDb), cut.sides))
      return pointAt(held(level, steps, index), cut.dbU)
    }
    return between(steps, index, limitDb, dropDb, ({ gainDbU }) => gainDbU, pointAt, betweenShare)
  }
  const distorted = (): LevelPoint | null => {
    const index = steps.findIndex(isDistorted)
    if (index < 0) return null
    const orderMax = (steps[index].harmonicPowers?.length ?? 0) + 1
    if (cut) {
      const level = cut.sourceDbfs - dbFromRatio(cutForThd(limits.thdRatio, cut.sides, orderMax))
      return pointAt(held(level, steps, index), cut.dbU)
    }
    return between(
      steps,
      index,
      limits.thdRatio,
      ({ thd }) => thd.value,
      ({ thd }) => thd.u,
      pointAt,
      betweenShare,
    )
  }

  const onset = distorted()
  const firstDrop = compressed(limits.compressionDb)
  const ends = [onset, firstDrop].filter((point) => point !== null)
  const lowest = ends.sort((a, b) => a.sourceDbfs - b.sourceDbfs)[0]
  const top = steps.at(-1)!
  return {
    kind,
    compressionPoints: DROPS_DB.flatMap((drop) => {
      const point = compressed(drop)
      return point ? [{ dropDb: drop, ...point }] : []
    }),
    onset,
    highestClean: lowest
      ? { ...lowest, isTop: false }
      : { sourceDbfs: top.sourceDbfs, sourceDbU: 0, peakFs: top.peakFs, isTop: true },
  }
}

function kindOf(steps: readonly StaircaseStep[], firstOver: number): DepartureKind {
  const step = steps[firstOver]
  const drop = -step.gainDb
  // The distortion of a clipped sine that has lost as much; told by the first step that has lost enough for it.
  const lost = steps.find(({ gainDb, gainDbU }) => -gainDb >= 0.1 && -gainDb > 5 * gainDbU)
  if (lost) {
    const asClipped = cutThd(cutForFundamental(ratioFromDb(lost.gainDb), 'both sides'), 'both sides', STEP_ORDER_MAX)
    if (lost.thd.value < LIMITING_SHARE * asClipped) return 'limiting'
  }
  if (drop > 0 && step.thd.isAtMost) return 'limiting'
  const powers = (step.harmonicPowers ?? []).map((power) => Math.max(0, power))
  if (powers.length >= 4) {
    const sum = (from: number): number => powers.slice(from).reduce((total, power) => total + power, 0)
    return sum(2) > HIGH_ORDER_SHARE ** 2 * sum(0) ? 'hard clipping' : 'soft clipping'
  }
  const before = steps[firstOver - 1]
  if (!before) return 'soft clipping'
  const growth = dbFromRatio(step.thd.value / before.thd.value) / (step.sourceDbfs - before.sourceDbfs)
  return growth > ABRUPT_GROWTH ? 'hard clipping' : 'soft clipping'
}

function isEvenAt({ harmonicPowers }: StaircaseStep): boolean {
  let [even, all] = [0, 0]
  for (const [k, power] of (harmonicPowers ?? []).entries()) {
    all += Math.max(0, power)
    if (k % 2 === 0) even += Math.max(0, power)
  }
  return even > EVEN_SHARE ** 2 * all
}

interface Cut {
  readonly sides: CutSides
  /** Source level at which peaks reach it, and its standard uncertainty. */
  readonly sourceDbfs: number
  readonly dbU: number
}

/**
 * The cut, from the loss of gain of every step that is clipped; null where none tells, or where steps do not agree on one.
 * One side or both: whichever the steps agree on better; of a single step the even orders tell.
 */
function cutOf(steps: readonly StaircaseStep[], isEven: boolean): Cut | null {
  const lost = steps.filter(({ gainDb, gainDbU }) => -gainDb >= 0.03 && -gainDb > 5 * gainDbU)
  if (lost.length === 0) return null
  const [one, both] = [cutBy(lost, 'one side'), cutBy(lost, 'both sides')]
  const cut = lost.length === 1 ? (isEven ? one : both) : one.dbU < both.dbU ? one : both
  return cut.dbU < AGREED_DB ? cut : null
}

function cutBy(lost: readonly StaircaseStep[], sides: CutSides): Cut {
  const cuts = lost.map(({ sourceDbfs, gainDb, gainDbU }) => {
    const cutAt = (db: number): number =>
      sourceDbfs + dbFromRatio(cutForFundamental(ratioFromDb(Math.min(0, db)), sides))
    return { sourceDbfs: cutAt(gainDb), u: 0.5 * Math.abs(cutAt(gainDb + gainDbU) - cutAt(gainDb - gainDbU)) }
  })
  const weights = cuts.map(({ u }) => 1 / (u * u + LEAST_DB * LEAST_DB))
  const total = weights.reduce((sum, weight) => sum + weight, 0)
  const mean = cuts.reduce((sum, cut, k) => sum + weights[k] * cut.sourceDbfs, 0) / total
  // Steps that do not agree on one cut say how far the closed form holds.
  const spread = cuts.reduce((sum, cut, k) => sum + weights[k] * (cut.sourceDbfs - mean) ** 2, 0) / total
  // The straight line that all of them are held against is off for all alike: more steps do not make the cut surer.
  const shared = cuts.reduce((sum, { u }, k) => sum + weights[k] * u, 0) / total
  return { sides, sourceDbfs: mean, dbU: Math.hypot(shared, LEAST_DB, Math.sqrt(spread)) }
}

function gainDbAt(steps: readonly StaircaseStep[], sourceDbfs: number, cut: Cut | null): number {
  if (cut) return dbFromRatio(cutFundamental(ratioFromDb(cut.sourceDbfs - sourceDbfs), cut.sides))
  const after = steps.findIndex((step) => step.sourceDbfs >= sourceDbfs)
  if (after <= 0) return after < 0 ? steps.at(-1)!.gainDb : steps[0].gainDb
  const [a, b] = [steps[after - 1], steps[after]]
  return a.gainDb + ((b.gainDb - a.gainDb) * (sourceDbfs - a.sourceDbfs)) / (b.sourceDbfs - a.sourceDbfs)
}

/** A level of the closed form, not outside the two steps that it was seen between. */
const held = (sourceDbfs: number, steps: readonly StaircaseStep[], index: number): number =>
  Math.min(steps[index].sourceDbfs, Math.max(steps[index - 1]?.sourceDbfs ?? -Infinity, sourceDbfs))

/** Where a figure that grows as a power of the amplitude passes a limit, between a step and the one before it. */
function between(
  steps: readonly StaircaseStep[],
  index: number,
  limit: number,
  figureOf: (step: StaircaseStep) => number,
  uOf: (step: StaircaseStep) => number,
  pointAt: (sourceDbfs: number, sourceDbU: number) => LevelPoint,
  betweenShare: number,
): LevelPoint {
  const [after, before] = [steps[index], steps[index - 1]]
  if (!before) return pointAt(after.sourceDbfs, 0)
  const gapDb = after.sourceDbfs - before.sourceDbfs
  // Below noise nothing is known but that the limit is not passed: as from a hundredth of it.
  const [low, high] = [Math.min(Math.max(figureOf(before), 0.01 * limit), limit), figureOf(after)]
  const share = high > low ? Math.log(limit / low) / Math.log(high / low) : 1
  const slope = Math.log(high / low) / gapDb
  const noise = high > low ? Math.hypot(uOf(after) / high, uOf(before) / Math.max(low, uOf(before))) / slope : gapDb
  return pointAt(before.sourceDbfs + share * gapDb, Math.hypot(Math.min(gapDb, noise), betweenShare * gapDb))
}
