/**
 * Follows a harmonic series that moves: short spectra, and through them the path of the fundamental on which most of the
 * series' lines stand out.
 *
 * In a spectrum over seconds a line that drifts by a few hertz is smeared and may go unseen; in 0.17 s it stands still.
 */
import { room } from '../dsp/room.js'
import { floorOf, type ShortSpectra, shortSpectra } from './short-spectra.js'

/** Ripple of alternators: 6 p n / 60 for p pole pairs at n turns a minute; 90 Hz to 6 kHz covers their fundamentals too. */
const FUNDAMENTAL_HZ = [90, 6000] as const
/** The path is found by lines below this; then all up to the top of the band are read. */
const SOUGHT_TO_HZ = 12_000
const TOP_HZ = 20_000
const ORDER_MAX = 8
const STEP_HZ = 1.5
/** Of a step of the fundamental from one block to the next: a line that stands out pays for some hundred hertz a second. */
const STEP_COST = 0.1
/** Bins about a line that hold it, in a short block. */
const REACH = 3
/** A line's excess over its noise counts up to e^4; below three times the noise it counts nothing. */
const COUNTS_FROM = 3
const COUNTS_UP_TO = 4
/** What a place without a line yields on average, and a little more: an order that is empty speaks against a fundamental. */
const EMPTY_COST = 0.12
/**
 * Independent values for each bin of each block in a sum over bins and blocks: half-overlapped Hann windows weigh samples by
 * sin^4 + cos^4, so (3/4)^2 / (19/32) of the time counts, and a block lasts two steps.
 */
const WORTH = (0.75 ** 2 / (19 / 32)) * 0.5
/** An order of a series that was found is there when its power is this many times its own standard uncertainty. */
const SURE = 8

export interface WhineTrack {
  /** Fundamental in each block (Hz), and the middle of the block from the first sample (s). */
  readonly freqHz: readonly number[]
  readonly timeS: readonly number[]
  /** Standard uncertainty of one value of freqHz, from how neighbours differ. */
  readonly freqU: number
  /** Orders that stand out. */
  readonly orders: readonly number[]
  /** Power of each of these orders (full-scale sine: 1), and the standard uncertainty of their sum. */
  readonly powers: readonly number[]
  readonly powerU: number
}

/**
 * @param samples a stretch without signal, 1 s or more
 * @param maskedHz lines that are known to have another cause: places that count nothing
 * @returns null where no series stands out
 */
export function trackWhine(samples: Float32Array, samplesPerS: number, maskedHz: readonly number[]): WhineTrack | null {
  const spectra = shortSpectra(samples, samplesPerS, TOP_HZ, 2 * REACH)
  const { blockCount, binCount, binHz } = spectra
  if (blockCount < 8) return null
  const floor = floorOf(spectra)
  const isMasked = new Uint8Array(binCount)
  for (const hz of maskedHz) {
    const centre = Math.round(hz / binHz)
    isMasked.fill(1, Math.max(0, centre - REACH), Math.min(binCount, centre + REACH + 1))
  }
  const path = bestPath(spectra, floor, isMasked)
  if (!path) return null
  const first = linesAlong(spectra, floor, isMasked, path)
  // A path at a half or a third of the fundamental holds every second or third line only.
  const divisor = first.map(({ order }) => order).reduce(greatestCommonDivisor, 0)
  if (divisor === 0) return null
  const freqHz = refined(
    spectra,
    floor,
    isMasked,
    path.map((hz) => hz * divisor),
    first.map(({ order }) => order / divisor),
  )
  const lines = linesAlong(spectra, floor, isMasked, freqHz)
  if (lines.length === 0) return null
  return {
    freqHz,
    timeS: freqHz.map((_, t) => t * spectra.hopS + spectra.sizeS / 2),
    freqU: scatterOf(freqHz),
    orders: lines.map(({ order }) => order),
    powers: lines.map(({ power }) => power),
    powerU: Math.hypot(...lines.map(({ u }) => u)),
  }
}

const greatestCommonDivisor = (a: number, b: number): number => (b === 0 ? a : greatestCommonDivisor(b, a % b))

/**
 * The path of the fundamental with the highest score, by dynamic programming (R. Bellman, 1957); Hz for each block. As a step
 * costs by its length, the best way into every place is found in two sweeps over the places.
 */
function bestPath(spectra: ShortSpectra, floor: Float64Array, isMasked: Uint8Array): number[] | null {
  const { power, blockCount, binHz } = spectra
  const count = Math.floor((FUNDAMENTAL_HZ[1] - FUNDAMENTAL_HZ[0]) / STEP_HZ) + 1
  const binCount = Math.ceil(SOUGHT_TO_HZ / binHz) + 2
  const near = room('whine near', binCount)
  const gain = room('whine gain', binCount)
  const best = new Float64Array(count)
  const from = new Int16Array(blockCount * count)
  for (let t = 0; t < blockCount; t++) {
    for (let bin = 0; bin < binCount; bin++) {
      const ratio = isMasked[bin] ? 0 : power[t * spectra.binCount + bin] / (COUNTS_FROM * floor[bin])
      gain[bin] = ratio > 1 ? Math.min(COUNTS_UP_TO, Math.log(ratio)) : 0
    }
    for (let bin = 1; bin < binCount - 1; bin++) near[bin] = Math.max(gain[bin - 1], gain[bin], gain[bin + 1])
    const row = from.subarray(t * count, (t + 1) * count)
    for (let i = 0; i < count; i++) row[i] = i
    for (let i = 1; i < count; i++) {
      const value = best[i - 1] - STEP_COST
      if (value <= best[i]) continue
      best[i] = value
      row[i] = row[i - 1]
    }
    for (let i = count - 2; i >= 0; i--) {
      const value = best[i + 1] - STEP_COST
      if (value <= best[i]) continue
      best[i] = value
      row[i] = row[i + 1]
    }
    for (let i = 0; i < count; i++) {
      const place = (FUNDAMENTAL_HZ[0] + i * STEP_HZ) / binHz
      const orders = Math.min(ORDER_MAX, Math.floor((binCount - 2) / place))
      let score = -EMPTY_COST * orders
      for (let order = 1; order <= orders; order++) score += near[(order * place + 0.5) | 0]
      best[i] += score
    }
  }
  let at = 0
  for (let i = 1; i < count; i++) if (best[i] > best[at]) at = i
  if (best[at] <= 0) return null
  const path = new Array<number>(blockCount)
  for (let t = blockCount - 1; t >= 0; t--) {
    path[t] = FUNDAMENTAL_HZ[0] + at * STEP_HZ
    at = from[t * count + at]
  }
  return path
}

/** Orders whose power along a path of the fundamental stands out. */
function linesAlong(
  { power, blockCount, binCount, binHz, sizeS }: ShortSpectra,
  floor: Float64Array,
  isMasked: Uint8Array,
  freqHz: readonly number[],
): { order: number; power: number; u: number }[] {
  const lines: { order: number; power: number; u: number }[] = []
  for (let order = 1; order <= 2 * ORDER_MAX; order++) {
    let [sum, under, square, used] = [0, 0, 0, 0]
    for (let t = 0; t < blockCount; t++) {
      const hz = order * freqHz[t]
      const centre = Math.round(hz / binHz)
      // What moves while it is looked at is as much wider.
      const speed = Math.abs((freqHz[Math.min(t + 1, blockCount - 1)] - freqHz[Math.max(t - 1, 0)]) / sizeS)
      const reach = REACH + Math.min(8, Math.ceil((0.5 * order * speed * sizeS) / binHz / 2))
      if (centre + reach >= binCount || hz > TOP_HZ) break
      if (centre - reach < 1 || isMasked[centre - reach] || isMasked[centre] || isMasked[centre + reach]) continue
      let whole = 0
      for (let bin = centre - reach; bin <= centre + reach; bin++) whole += power[t * binCount + bin]
      const noise = floor[centre]
      sum += whole - (2 * reach + 1) * noise
      under += noise
      square += (2 * reach + 1) * noise * noise
      used++
    }
    if (used < 0.7 * blockCount) continue
    const mean = sum / used
    const count = WORTH * used
    const u = Math.sqrt((2 * Math.max(0, mean) * (under / used) + square / used) / count)
    if (mean > SURE * Math.sqrt(square / used / count)) lines.push({ order, power: mean, u })
  }
  return lines
}

/** The path to a fraction of a bin: the centre of each line's power, the higher orders telling more. */
function refined(
  { power, blockCount, binCount, binHz }: ShortSpectra,
  floor: Float64Array,
  isMasked: Uint8Array,
  path: readonly number[],
  orders: readonly number[],
): number[] {
  return path.map((hz, t) => {
    let [sum, weights] = [0, 0]
    for (const order of orders) {
      let peak = Math.round((order * hz) / binHz)
      if (peak + 4 >= binCount || peak < 4 || t >= blockCount) continue
      const at = t * binCount
      const middle = peak
      for (let bin = middle - 2; bin <= middle + 2; bin++) if (power[at + bin] > power[at + peak]) peak = bin
      const over = power[at + peak] / floor[peak]
      if (over < 10 || isMasked[peak]) continue
      // Between two bins of a Hann window: (2 r - 1) / (r + 1) for the ratio r of amplitudes.
      const side = power[at + peak + 1] > power[at + peak - 1] ? 1 : -1
      const ratio = Math.sqrt(power[at + peak + side] / power[at + peak])
      const place = peak + (side * (2 * ratio - 1)) / (ratio + 1)
      const weight = order * order * Math.min(over, 1e4)
      sum += (weight * place * binHz) / order
      weights += weight
    }
    return weights > 0 ? sum / weights : hz
  })
}

/** Standard deviation of one value, from second differences: a steady movement adds nothing. */
function scatterOf(values: readonly number[]): number {
  let sum = 0
  for (let i = 1; i < values.length - 1; i++) sum += (values[i - 1] - 2 * values[i] + values[i + 1]) ** 2
  return Math.sqrt(sum / Math.max(1, values.length - 2) / 6)
}
