/** What a response looks like as a whole: its level, its band, and which source sides it hears. */
import type { Transfer } from './analysis.js'
import { GRID_HZ } from './grid.js'

export interface Passband {
  /** Median magnitude of both sides together over the passband (capture full scale over source full scale). */
  readonly gain: number
  /** -3 dB corners against the median; null where the audio band itself ends the response. */
  readonly lowHz: number | null
  readonly highHz: number | null
  /** 0: left alone; pi / 4: both alike; pi / 2: right alone. */
  readonly sideRad: number
  /** Cosine of the phase between the sides, power-weighted: 1 in phase, -1 opposed. Near 0 when one side is missing. */
  readonly sidePhase: number
}

/** Nearer than this to the ends of the audio band a corner is not told from coupling and anti-alias filters. */
const AUDIO_HZ = [24, 17_500] as const
const CORNER_DB = 3

/** @returns null where nothing stands ten times above the error */
export function passbandOf(transfer: Transfer): Passband | null {
  const { leftRe, leftIm, rightRe, rightIm, leftError, rightError } = transfer
  const both = Float64Array.from(GRID_HZ, (_, i) => Math.hypot(leftRe[i], leftIm[i], rightRe[i], rightIm[i]))
  const isClear = (i: number): boolean =>
    GRID_HZ[i] >= 20 && GRID_HZ[i] <= 20_000 && both[i] > 10 * Math.hypot(leftError[i], rightError[i])
  const clear = [...both.keys()].filter(isClear)
  if (clear.length === 0) return null
  const largest = Math.max(...clear.map((i) => both[i]))
  // Within 10 dB of the top: a boosted stretch does not hide the rest of the band.
  const inBand = clear.filter((i) => both[i] > largest * 10 ** (-10 / 20))
  const gain = median(inBand.map((i) => both[i]))
  const corner = gain * 10 ** (-CORNER_DB / 20)
  const above = inBand.filter((i) => both[i] >= corner)
  const [lowHz, highHz] = [GRID_HZ[above[0]], GRID_HZ[above.at(-1)!]]

  let [left, right, product] = [0, 0, 0]
  for (const i of above) {
    // What noise adds to each side's power is taken off, so that a silent side reads as one.
    left += Math.max(0, leftRe[i] ** 2 + leftIm[i] ** 2 - leftError[i] ** 2)
    right += Math.max(0, rightRe[i] ** 2 + rightIm[i] ** 2 - rightError[i] ** 2)
    product += leftRe[i] * rightRe[i] + leftIm[i] * rightIm[i]
  }
  return {
    gain,
    lowHz: lowHz < AUDIO_HZ[0] ? null : lowHz,
    highHz: highHz > AUDIO_HZ[1] ? null : highHz,
    sideRad: Math.atan2(Math.sqrt(right), Math.sqrt(left)),
    sidePhase: product / Math.max(Math.sqrt(left * right), Number.MIN_VALUE),
  }
}

export function median(values: readonly number[]): number {
  if (values.length === 0) throw new RangeError('median: no values')
  const sorted = [...values].sort((a, b) => a - b)
  const middle = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[middle] : 0.5 * (sorted[middle - 1] + sorted[middle])
}
