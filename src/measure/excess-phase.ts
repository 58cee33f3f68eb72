/**
 * Polarity and delay of a response: what is left of its phase when the minimum-phase part is taken off.
 *
 * The sign of the largest sample is wrong for band-limited outputs; the phase that a filter must have for its magnitude
 * is not (Hilbert transform of the log magnitude; e.g. A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal
 * Processing, 1989, ch. 10; from memory). What remains is a delay and a sign. An all-pass in the way shows as lack of
 * confidence.
 */
import { dot } from '../dsp/dot.js'
import type { ExcessPhase } from './analysis.js'
import { GRID_HZ, gridIndex } from './grid.js'

/** The passband: within this of the largest magnitude. */
const PASSBAND_DB = 12
/** Magnitudes further down than this are replaced by the slope above them. */
const TRUSTED_DB = 45
/** Width of a grid cell in ln f, and how many cells the magnitude goes on beyond the grid: 14 octaves. */
const CELL = Math.log(GRID_HZ[1] / GRID_HZ[0])
const BEYOND = 14 * 48

/** Integral of ln coth |u / 2| over cell k: [k, k + 1] × CELL. Over all cells of both sides it comes to pi^2 / 2. */
const KERNEL: Float64Array = Float64Array.from({ length: GRID_HZ.length + 2 * BEYOND }, (_, k) => {
  // Near 0 the integrand is -ln(u / 2) + u^2 / 12: the first cell in closed form, the others by Simpson's rule.
  if (k === 0) return CELL * (1 - Math.log(CELL / 2)) + CELL ** 3 / 36
  const weight = (u: number): number => -Math.log(Math.tanh(u / 2))
  const steps = k < 16 ? 8 : 2
  let sum = 0
  for (let i = 0; i <= steps; i++) {
    sum += weight(CELL * (k + i / steps)) * (i === 0 || i === steps ? 1 : i % 2 === 1 ? 4 : 2)
  }
  return (sum * CELL) / steps / 3
})
/** The same for the cells on both sides; cell 0 stands in the middle. */
const TWO_SIDED = Float64Array.from({ length: 2 * KERNEL.length }, (_, k) =>
  k < KERNEL.length ? KERNEL[KERNEL.length - 1 - k] : KERNEL[k - KERNEL.length],
)

/**
 * @param re, im response on GRID_HZ
 * @param error rms error of each point
 * @param centreS first guess of the delay, where the response is largest
 * @returns null where too little of the response stands clear of its error
 */
export function excessPhaseOf(
  re: Float64Array,
  im: Float64Array,
  error: Float64Array,
  centreS = 0,
): ExcessPhase | null {
  const magnitude = Float64Array.from(re, (value, i) => Math.hypot(value, im[i]))
  let largest = 0
  magnitude.forEach((value, i) => {
    // The outermost points belong to the sweep's own ends.
    if (GRID_HZ[i] > 15 && GRID_HZ[i] < 20_500 && value > 10 * error[i] && value > largest) largest = value
  })
  if (largest === 0) return null
  const floor = largest * 10 ** (-PASSBAND_DB / 20)
  const band: number[] = []
  magnitude.forEach((value, i) => {
    if (value > floor && value > 10 * error[i] && GRID_HZ[i] > 15 && GRID_HZ[i] < 20_500) band.push(i)
  })
  if (band.length < 12) return null

  const { phaseRad: minimumRad, delayU: shapeU, cornerHz } = minimumPhase(magnitude, error, largest)
  const excess = Float64Array.from(
    band,
    (i) => Math.atan2(im[i], re[i]) - minimumRad[i] + 2 * Math.PI * GRID_HZ[i] * centreS,
  )
  const phasors: Phasors = {
    freqHz: Float64Array.from(band, (i) => GRID_HZ[i]),
    c: excess.map(Math.cos),
    s: excess.map(Math.sin),
  }
  const highHz = phasors.freqHz[band.length - 1]
  const lowHz = phasors.freqHz[0]
  const centreHz = Math.sqrt(highHz * lowHz)

  // Far around where a few steps reach, else near the envelope's delay.
  const reachS = Math.max(0.06, 2 / centreHz)
  const stepS = 1 / (10 * highHz)
  const isWide = reachS / stepS < 2000
  const best = isWide
    ? scanned(phasors, 0, reachS, stepS)
    : scanned(phasors, roughDelay(phasors, reachS), Math.max(0.0015, 1.5 / centreHz), stepS)
  const delayS = sharpened(phasors, best.delayS, stepS, best.sign)
  const value = agreementAt(phasors, delayS)

  // Phase left over turns into delay by the spread of frequencies; neighbours are alike, a quarter octave is one value
  let squareHz = 0
  let residual = 0
  for (let k = 0; k < band.length; k++) {
    const freqHz = phasors.freqHz[k]
    squareHz += freqHz * freqHz
    const turn = 2 * Math.PI * freqHz * delayS
    residual += (phasors.s[k] * Math.cos(turn) + phasors.c[k] * Math.sin(turn)) ** 2
  }
  const rmsHz = Math.sqrt(squareHz / band.length)
  const phaseRad = Math.sqrt(residual / band.length)
  // A coupling corner fc turns the phase by fc / f; from its magnitude alone it is known to about a tenth.
  const couplingU = (2 * 0.1 * cornerHz) / (2 * Math.PI * rmsHz * rmsHz)
  return {
    delayS: centreS + delayS,
    // The factor: so that 95 of 100 tries with usual filters at 80 to 40 dB of signal over noise lie inside.
    delayU: 1.3 * Math.hypot((2 * phaseRad) / (2 * Math.PI * rmsHz) / Math.sqrt(band.length / 12), shapeU, couplingU),
    sign: value >= 0 ? 1 : -1,
    confidence: Math.abs(value),
    rival: best.rival,
  }
}

/**
 * Whether a sign is settled. Filters of every usual kind stay above the first bound down to 60 dB of signal over noise; an
 * all-pass at the edge of a band that turns the sign stays below it (both tried).
 */
export const isSettled = ({ confidence, rival }: Pick<ExcessPhase, 'confidence' | 'rival'>): boolean =>
  confidence >= 0.967 && confidence - rival >= 0.15

/** In the order of frequency. Arrays of numbers: objects whose fields happen to be whole would be another kind each time. */
interface Phasors {
  readonly freqHz: Float64Array
  readonly c: Float64Array
  readonly s: Float64Array
}

/** Mean of the phasors when a delay is taken off: 1 where all stand at phase 0, -1 at half a turn. */
function agreementAt({ freqHz, c, s }: Phasors, delayS: number): number {
  let sum = 0
  for (let k = 0; k < freqHz.length; k++) {
    const turn = 2 * Math.PI * freqHz[k] * delayS
    sum += c[k] * Math.cos(turn) - s[k] * Math.sin(turn)
  }
  return sum / freqHz.length
}

/**
 * Sums of all phasors as a delay is taken off in equal steps. Turning each by a fixed angle a step costs no sine.
 * @returns real and imaginary part of the sum for each step, interleaved
 */
function sweepDelays({ freqHz, c, s }: Phasors, startS: number, stepS: number, count: number): Float64Array {
  const sums = new Float64Array(2 * count)
  for (let p = 0; p < freqHz.length; p++) {
    const start = 2 * Math.PI * freqHz[p] * startS
    const turn = 2 * Math.PI * freqHz[p] * stepS
    const stepRe = Math.cos(turn)
    const stepIm = Math.sin(turn)
    let re = c[p] * Math.cos(start) - s[p] * Math.sin(start)
    let im = s[p] * Math.cos(start) + c[p] * Math.sin(start)
    for (let k = 0; k < sums.length; k += 2) {
      sums[k] += re
      sums[k + 1] += im
      const next = re * stepRe - im * stepIm
      im = im * stepRe + re * stepIm
      re = next
    }
  }
  return sums
}

/** Delay of the envelope: the largest magnitude of the sum, whatever its sign; low part of the band first. */
function roughDelay(phasors: Phasors, reachS: number): number {
  const { freqHz } = phasors
  const lowCount = freqHz.filter((hz) => hz < 16 * freqHz[0]).length
  const highest = (count: number, centreS: number, spanS: number): number => {
    const stepS = 1 / (6 * freqHz[count - 1])
    const some = { freqHz: freqHz.subarray(0, count), c: phasors.c.subarray(0, count), s: phasors.s.subarray(0, count) }
    const sums = sweepDelays(some, centreS - spanS, stepS, Math.ceil((2 * spanS) / stepS) + 1)
    let [best, largest] = [0, 0]
    for (let k = 0; k < sums.length / 2; k++) {
      const power = sums[2 * k] * sums[2 * k] + sums[2 * k + 1] * sums[2 * k + 1]
      if (power > largest) [best, largest] = [k, power]
    }
    return centreS - spanS + best * stepS
  }
  const coarse = highest(lowCount, 0, reachS)
  return highest(freqHz.length, coarse, 1 / freqHz[lowCount - 1])
}

/** The best agreement with either sign around a delay, and the best with the other sign. */
function scanned(
  phasors: Phasors,
  centreS = 0,
  reachS: number,
  stepS: number,
): { delayS: number; sign: 1 | -1; rival: number } {
  const sums = sweepDelays(phasors, centreS - reachS, stepS, Math.ceil((2 * reachS) / stepS) + 1)
  let [highest, lowest] = [0, 0]
  for (let k = 1; k < sums.length / 2; k++) {
    if (sums[2 * k] > sums[2 * highest]) highest = k
    if (sums[2 * k] < sums[2 * lowest]) lowest = k
  }
  const isPositive = sums[2 * highest] >= -sums[2 * lowest]
  return {
    delayS: centreS - reachS + (isPositive ? highest : lowest) * stepS,
    sign: isPositive ? 1 : -1,
    rival: (isPositive ? -sums[2 * lowest] : sums[2 * highest]) / phasors.freqHz.length,
  }
}

/** Highest point near a delay by bisection of the parabola through three points. */
function sharpened(phasors: Phasors, startS: number, startStepS: number, sign: number): number {
  let [delayS, stepS] = [startS, startStepS]
  for (let pass = 0; pass < 6; pass++) {
    const [a, b, c] = [-1, 0, 1].map((k) => sign * agreementAt(phasors, delayS + k * stepS))
    const bend = a - 2 * b + c
    if (bend < 0) delayS += Math.max(-1, Math.min(1, (0.5 * (a - c)) / bend)) * stepS
    stepS *= 0.3
  }
  return delayS
}

/**
 * Phase (radians, on GRID_HZ) of the minimum-phase system with this magnitude, by Bode's gain-phase integral:
 * phase(f0) = 1/pi × integral of (d ln M / du) ln coth |u / 2| du, u = ln(f / f0).
 *
 * On a logarithmic grid that is a sum over the slope of each cell. Where the magnitude isn't known it goes on as filters
 * do: with the slope it had, or below the band like one coupling capacitor.
 *
 * Source: H. W. Bode, Network Analysis and Feedback Amplifier Design, 1945, ch. XIV (from memory).
 */
function minimumPhase(
  magnitude: Float64Array,
  error: Float64Array,
  largest: number,
): { phaseRad: Float64Array; delayU: number; cornerHz: number } {
  const isTrusted = (i: number): boolean =>
    magnitude[i] > largest * 10 ** (-TRUSTED_DB / 20) && magnitude[i] > 8 * error[i]
  const [bottom, top] = [gridIndex(12), gridIndex(20_500)]
  let first = magnitude.indexOf(largest)
  let last = first
  while (first > bottom && isTrusted(first - 1)) first--
  while (last < top && isTrusted(last + 1)) last++

  const slopeOver = (from: number, to: number): number =>
    Math.log(magnitude[to] / magnitude[from]) / (CELL * (to - from))
  // Half an octave: long enough to be a slope in noise, short enough to be the last one.
  const span = Math.max(4, Math.min(24, Math.floor((last - first) / 4)))
  const lowSlope = fittedSlope(magnitude, error, first, first + span).slope
  const high = fittedSlope(magnitude, error, last - span, last)
  // A response that still falls steeply where the grid ends is as band limited as one that has sunk out of sight.
  const isLimited = last < top || high.slope < STEEP
  const highSlope = isLimited ? Math.min(0, high.slope) : 0
  // One coupling capacitor far above its corner: d ln M / du = (fc / f)^2.
  const isCoupling = first === bottom && lowSlope > 0 && lowSlope < 0.3
  const cornerHz = isCoupling ? Math.sqrt(GRID_HZ[first] * GRID_HZ[first + span]) * Math.sqrt(lowSlope) : 0
  const beyond = isLimited
    ? topSlopes(
        GRID_HZ[last],
        { ...high, slope: highSlope },
        fittedSlope(magnitude, error, last - 2 * span, last - span).slope,
        span,
      )
    : null
  const slopeAt = (cell: number): number => {
    if (cell >= first && cell < last) return slopeOver(cell, cell + 1)
    if (cell >= last) return beyond ? beyond.slopeAt(cell - last) : mirroredSlope(cell)
    if (!isCoupling) return first > bottom || lowSlope >= 0.3 ? lowSlope : 0
    const square = (cornerHz / (GRID_HZ[0] * Math.exp(CELL * (cell + 0.5)))) ** 2
    return square / (1 + square)
  }
  // What digital filters do to a band without end is symmetric about half their rate, and goes on like that.
  const topHz = GRID_HZ[last]
  const roomHz = FILTER_RATE_HZ / 2 - topHz
  // The slope that is known lies a little lower, and goes to zero in proportion.
  const slopeHz = GRID_HZ[last - (span >> 1)]
  const topPerHz = ((high.slope / slopeHz) * roomHz) / (FILTER_RATE_HZ / 2 - slopeHz)
  const mirroredLog = (freqHz: number): number => {
    const folded = Math.abs(freqHz - FILTER_RATE_HZ * Math.round(freqHz / FILTER_RATE_HZ))
    // Between the last known point and half the rate the slope falls to zero.
    const over = Math.min(folded - topHz, roomHz)
    if (over > 0) return Math.log(magnitude[last]) + topPerHz * over * (1 - over / (2 * roomHz))
    const place = Math.max(first, Math.min(last - 1e-9, Math.log(folded / GRID_HZ[0]) / CELL))
    const cell = Math.floor(place)
    return Math.log(magnitude[cell]) + (place - cell) * Math.log(magnitude[cell + 1] / magnitude[cell])
  }
  let meanLog = 0
  for (let k = 0; k < MEAN_STEPS; k++)
    meanLog += mirroredLog((FILTER_RATE_HZ / 2 / MEAN_STEPS) * (k + 0.5)) / MEAN_STEPS
  const mirroredSlope = (cell: number): number => {
    const fromHz = GRID_HZ[0] * Math.exp(CELL * cell)
    if (fromHz > MIRRORED_UP_TO_HZ) return 0
    const toHz = fromHz * Math.exp(CELL)
    return ((toHz > MIRRORED_UP_TO_HZ ? meanLog : mirroredLog(toHz)) - mirroredLog(fromHz)) / CELL
  }
  const slopes = Float64Array.from({ length: GRID_HZ.length + 2 * BEYOND }, (_, j) => slopeAt(j - BEYOND))
  // What the sum itself leaves, tried with usual filters: with a band limit up to a twentieth of a sample at 48 kHz.
  const digitalU = first > bottom || isLimited ? 0.9e-6 : 0.03e-6
  const phaseRad = new Float64Array(GRID_HZ.length)
  for (let i = 0; i < phaseRad.length; i++) {
    const first = TWO_SIDED.length / 2 - BEYOND - i
    phaseRad[i] = dot(slopes, TWO_SIDED.subarray(first, first + slopes.length)) / Math.PI
  }
  return { phaseRad, delayU: Math.hypot(beyond?.delayU ?? 0, digitalU), cornerHz }
}

/** Least-squares slope d ln M / d ln f between two grid points, and its standard uncertainty from the error of each point. */
function fittedSlope(
  magnitude: Float64Array,
  error: Float64Array,
  from: number,
  to: number,
): { slope: number; sigma: number } {
  const middle = 0.5 * (from + to)
  let [squares, product, variance] = [0, 0, 0]
  for (let i = from; i <= to; i++) {
    const x = CELL * (i - middle)
    squares += x * x
    product += x * Math.log(magnitude[i])
    variance += x * x * 0.5 * (error[i] / magnitude[i]) ** 2
  }
  return { slope: product / squares, sigma: Math.sqrt(variance) / squares }
}

/** Slope d ln M / d ln f (6 dB an octave is 1) from which on a response counts as falling away. */
const STEEP = -1.2
/** Beyond this a mirrored magnitude counts as its mean. */
const MIRRORED_UP_TO_HZ = 192_000
const MEAN_STEPS = 96
/** Sample rate of the digital filters in a vehicle's chain, where one shows itself (common practice, no source). */
const FILTER_RATE_HZ = 48_000

/**
 * How the magnitude goes on above the last point that is known. An analog filter keeps its slope. A digital one gets steeper
 * on the way to a zero at half its rate, and its magnitude repeats beyond: ln M goes with ln |tan(pi f / rate)|. Which it is,
 * the slope a third of an octave earlier tells.
 *
 * A slope that is off by d from f on turns the phase by 2 d f' / (pi f): a delay of d / (pi^2 f). So the uncertainty of the
 * delay is a share of what the two ways differ by, or what the slope still changes.
 */
function topSlopes(
  lastHz: number,
  { slope, sigma }: { slope: number; sigma: number },
  earlierSlope: number,
  span: number,
): { slopeAt: (cell: number) => number; delayU: number } {
  const hz = (cell: number): number => lastHz * Math.exp(CELL * cell)
  const bend = (freqHz: number): number => {
    const x = (2 * Math.PI * Math.min(freqHz, 0.49 * FILTER_RATE_HZ)) / FILTER_RATE_HZ
    return x / Math.sin(x)
  }
  const order = slope / bend(hz(-span / 2))
  const earlierDigital = order * bend(hz(-1.5 * span))
  // Far below half the rate the two are the same, and what changes the slope is the filter's own knee.
  const isDigital = bend(lastHz) > 1.01 && Math.abs(earlierSlope - earlierDigital) < Math.abs(earlierSlope - slope)
  // Held between far down and the passband's level, so that the pole and the zero of the tangent stay finite.
  const tangent = (freqHz: number): number => Math.log(Math.abs(Math.tan((Math.PI * freqHz) / FILTER_RATE_HZ)))
  const levelAt = (cell: number): number =>
    Math.max(-60, Math.min(TRUSTED_DB / 8.686, order * (tangent(hz(cell)) - tangent(lastHz))))
  const slopeAt = isDigital ? (cell: number) => (levelAt(cell + 1) - levelAt(cell)) / CELL : () => slope
  let differenceS = 0
  if (isDigital) {
    for (let cell = 0; cell < BEYOND; cell++)
      differenceS += ((slopeAt(cell) - slope) * CELL) / hz(cell + 0.5) / Math.PI ** 2
  }
  // Where the slope bends as a digital filter's does and not otherwise, the other way is no longer in question.
  const doubt = isDigital && Math.abs(earlierSlope - earlierDigital) < 0.3 * Math.abs(earlierSlope - slope) ? 0.03 : 0.3
  const changeS = (earlierSlope - (isDigital ? earlierDigital : slope)) / (Math.PI ** 2 * lastHz)
  return { slopeAt, delayU: Math.hypot(doubt * differenceS, 2 * changeS, (2 * sigma) / (Math.PI ** 2 * lastHz)) }
}
