/**
 * The same output at several volume settings: how far its level goes, and whether its response changes shape (a loudness
 * curve).
 *
 * Every setting is held against the first one; differences are dB, later over first.
 */

import { DB_PER_NEPER } from '../units/level.js'
import { GRID_HZ } from './grid.js'
import { varianceOfSum } from './grid-noise.js'
import type { Heard } from './heard.js'
import { median } from './passband.js'
import { levelOf, smoothed } from './smoothing.js'

export const VOLUME_METHOD = 'level and shape against volume/1'

export interface VolumeStep {
  /** What the person calls it: '20', 'quiet'. */
  readonly setting: string
  readonly response: Heard
}

/** Change of shape at one frequency. */
export interface ShapePoint {
  readonly freqHz: number
  /** dB over the change at the reference frequency, and its standard uncertainty. */
  readonly liftDb: number
  readonly liftU: number
}

export interface VolumeChange {
  readonly setting: string
  /** Over the band, the stretch that most points agree on: what a loudness curve lifts does not count. Standard uncertainty, dB. */
  readonly levelChangeDb: number
  readonly levelChangeU: number
  /** Where the change of shape is taken as 0. */
  readonly referenceHz: number
  /** In third octaves. */
  readonly shape: readonly ShapePoint[]
  /** Two neighbouring third octaves or more are lifted alike, by more than 0.3 dB and twice their uncertainty. */
  readonly hasLoudness: boolean
  /** The shape near 50 Hz and near 10 kHz; null where the band does not reach. */
  readonly bass: ShapePoint | null
  readonly treble: ShapePoint | null
}

/** What lies further from the middle than this, or than a few times the noise of a point, does not count. */
const PLATEAU_DB = 0.5
const PLATEAU_U = 5
const PASSES = 50
const LOUDNESS_DB = 0.3
const THIRD_OCTAVE = 10 ** 0.05

/**
 * @param steps two or more responses of one output
 * @param lowHz, highHz the output's band
 * @returns one change for each step after the first
 * @throws RangeError for fewer than two steps, or a band under a third octave
 */
export function volumeChanges(steps: readonly VolumeStep[], lowHz: number, highHz: number): VolumeChange[] {
  if (steps.length < 2) throw new RangeError(`volumeChanges: ${steps.length} volume settings, want two or more`)
  const [first, ...later] = steps
  return later.map(({ setting, response }) => ({
    setting,
    ...levelChange(first.response, response, lowHz, highHz),
    ...shapeChange(first.response, response, lowHz, highHz),
  }))
}

/**
 * Biweight location: the middle that most points agree on, each counting less the further off it is, started at the median.
 *
 * Source: F. Mosteller, J. W. Tukey, Data Analysis and Regression, 1977 (from memory).
 */
function levelChange(
  before: Heard,
  after: Heard,
  lowHz: number,
  highHz: number,
): Pick<VolumeChange, 'levelChangeDb' | 'levelChangeU'> {
  const power = ({ re, im }: Heard, i: number): number => re[i] ** 2 + im[i] ** 2
  const points: { i: number; db: number; u: number }[] = []
  for (let i = 0; i < GRID_HZ.length; i++) {
    if (GRID_HZ[i] < lowHz || GRID_HZ[i] > highHz) continue
    const [a, b] = [power(before, i), power(after, i)]
    const u = DB_PER_NEPER * Math.SQRT1_2 * Math.sqrt(before.error[i] ** 2 / a + after.error[i] ** 2 / b)
    points.push({ i, db: 10 * Math.log10(b / a), u })
  }
  if (points.length < 16)
    throw new RangeError(`volumeChanges: band ${lowHz} to ${highHz} Hz, want a third octave or more`)
  const reachDb = Math.max(PLATEAU_DB, PLATEAU_U * median(points.map(({ u }) => u)))
  let levelChangeDb = median(points.map(({ db }) => db))
  for (let pass = 0; pass < PASSES; pass++) {
    let [sum, count] = [0, 0]
    for (const { db } of points) {
      const weight = Math.max(0, 1 - ((db - levelChangeDb) / reachDb) ** 2) ** 2
      sum += weight * (db - levelChangeDb)
      count += weight
    }
    levelChangeDb += sum / count
    if (Math.abs(sum / count) < 1e-9) break
  }
  // How far the middle follows a point: the slope of its influence, over that of all.
  const follow = points.map(({ db }) => {
    const square = ((db - levelChangeDb) / reachDb) ** 2
    return square < 1 ? (1 - square) * (1 - 5 * square) : 0
  })
  const whole = follow.reduce((sum, value) => sum + value, 0)
  const variance = [before, after].reduce((sum, heard) => {
    const scales = points.map(({ i }, n) => (DB_PER_NEPER * follow[n]) / whole / power(heard, i))
    const aRe = points.map(({ i }, n) => scales[n] * heard.re[i])
    const aIm = points.map(({ i }, n) => scales[n] * heard.im[i])
    return sum + varianceOfSum(points[0].i, aRe, aIm, heard.error)
  }, 0)
  return { levelChangeDb, levelChangeU: Math.sqrt(variance) }
}

function shapeChange(
  before: Heard,
  after: Heard,
  lowHz: number,
  highHz: number,
): Omit<VolumeChange, 'setting' | 'levelChangeDb' | 'levelChangeU'> {
  // Bands that lie wholly inside; the reference is 1 kHz, or the middle of a band that does not hold it.
  const [a, b] = [before, after].map((heard) => smoothed(heard, 3, lowHz * THIRD_OCTAVE, highHz / THIRD_OCTAVE))
  if (a.freqHz.length === 0) throw new RangeError(`volumeChanges: band ${lowHz} to ${highHz} Hz holds no third octave`)
  const changes = a.freqHz.map((freqHz, n) => {
    const [one, other] = [a, b].map(({ power, powerU }) => levelOf({ power: power[n], powerU: powerU[n] }))
    return { freqHz, db: other.levelDb - one.levelDb, u: Math.hypot(one.levelDbU, other.levelDbU) }
  })
  const nearest = (wantedHz: number): number =>
    changes.reduce(
      (best, { freqHz }, n) =>
        Math.abs(Math.log(freqHz / wantedHz)) < Math.abs(Math.log(changes[best].freqHz / wantedHz)) ? n : best,
      0,
    )
  const [first, last] = [changes[0].freqHz, changes.at(-1)!.freqHz]
  const middle = nearest(first < 1000 && last > 1000 ? 1000 : Math.sqrt(first * last))
  const shape = changes.map(({ freqHz, db, u }, n) => ({
    freqHz,
    liftDb: db - changes[middle].db,
    liftU: n === middle ? 0 : Math.hypot(u, changes[middle].u),
  }))
  const isLifted = ({ liftDb, liftU }: ShapePoint): boolean => Math.abs(liftDb) > Math.max(LOUDNESS_DB, 2 * liftU)
  const at = (freqHz: number): ShapePoint | null =>
    first <= freqHz * THIRD_OCTAVE && last >= freqHz / THIRD_OCTAVE ? shape[nearest(freqHz)] : null
  return {
    referenceHz: changes[middle].freqHz,
    shape,
    hasLoudness: shape.some(
      (point, n) => n > 0 && isLifted(point) && isLifted(shape[n - 1]) && point.liftDb * shape[n - 1].liftDb > 0,
    ),
    bass: at(50),
    treble: at(10_000),
  }
}
