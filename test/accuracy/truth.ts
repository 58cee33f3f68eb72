/**
 * What the readings of a drawn vehicle should be, in closed form. Frequencies are on the player's clock; amplitudes are peaks
 * over the source's full scale, unless the name says volts or dB.
 */
import { GRID_HZ, gridIndex } from '../../src/measure/grid.js'
import { STAIRCASE_DBFS, SWEEP, TONE_PEAK_FS } from '../../src/stimulus/layout.js'
import { type Filter, responseAt } from '../kit/biquad.js'
import { type Base, noiseRatio } from './chain.js'
import { RATE_HZ, type Vehicle } from './vehicle.js'

export interface Truth {
  readonly vehicle: Vehicle
  readonly snrDb: number
  readonly samplesPerS: number
  readonly clockOffsetPpm: number
  /** Of the second output against the first. */
  readonly delayS: number
}

export const truthOf = (base: Base, vehicle: Vehicle, snrDb: number): Truth => ({
  vehicle,
  snrDb,
  samplesPerS: base.early.samplesPerS,
  clockOffsetPpm: base.ppm,
  delayS: (vehicle.wholeSamples + base.lateSamples) / base.early.samplesPerS,
})

export const db = (ratio: number): number => 20 * Math.log10(ratio)

/** The filters run on the capture's clock. */
export function magnitude({ vehicle, samplesPerS }: Truth, output: 0 | 1, freqHz: number): number {
  const { re, im } = responseAt(vehicle.filters[output], freqHz, samplesPerS)
  return Math.hypot(re, im)
}

/** What was meant for the nominal rate, as it stands on the player's clock. */
export const played = ({ samplesPerS }: Truth, freqHz: number): number => (freqHz * samplesPerS) / RATE_HZ

/** Gain of the fundamental through x + a2 x² + a3 x³: H1 = A + ¾ a3 A³. */
const cubicGain = ({ a3 }: Vehicle, peak: number): number => 1 + 0.75 * a3 * peak * peak

/** As the sweep of the side that it hears meets it, over a source of 0 dBFS. */
export function sweepGain(truth: Truth, output: 0 | 1, freqHz: number): number {
  const linear = magnitude(truth, output, freqHz)
  return output === 0 ? linear * cubicGain(truth.vehicle, SWEEP.peakFs * linear) : linear
}

export const levelVrms = (truth: Truth, output: 0 | 1, freqHz: number): number =>
  truth.vehicle.levelVrms[output] * sweepGain(truth, output, freqHz)

/** Peak of a tone of both sides where the first output's curve begins. */
const meets = (truth: Truth, freqHz: number, sourcePeak: number): number =>
  sourcePeak * (1 + truth.vehicle.leak) * magnitude(truth, 0, freqHz)

/** Peaks of the fundamental and of orders 2 and 3 of a steady tone: A + ¾ a3 A³, a2 A² / 2, a3 A³ / 4. */
export function toneOf(truth: Truth, freqHz: number): { h1: number; h2: number; h3: number } {
  const { vehicle } = truth
  const peak = meets(truth, freqHz, TONE_PEAK_FS)
  return {
    h1: peak * cubicGain(vehicle, peak),
    h2: Math.abs(0.5 * vehicle.a2 * peak ** 2),
    h3: Math.abs(0.25 * vehicle.a3 * peak ** 3),
  }
}

export const thdOf = (truth: Truth, freqHz: number): number => {
  const { h1, h2, h3 } = toneOf(truth, freqHz)
  return Math.hypot(h2, h3) / h1
}

/** Everything but the tone over the total, 20 Hz to 20 kHz. */
export function thdNOf(truth: Truth, freqHz: number): number {
  const { h1, h2, h3 } = toneOf(truth, freqHz)
  // Rms: a full-scale sine of the output has √½.
  const noise = noiseOverFullScale(truth, 0, 'unweighted') * Math.SQRT1_2
  const rest = Math.hypot(h2 * Math.SQRT1_2, h3 * Math.SQRT1_2, noise)
  return rest / Math.hypot(rest, h1 * Math.SQRT1_2)
}

/** Two tones through the curve: d2 = a2 A1 A2 at sum and difference, d3 = ¾ a3 A1² A2 at 2 f1 ± f2. */
function twoTones(truth: Truth, [first, second]: readonly [readonly [number, number], readonly [number, number]]) {
  const { a2, a3 } = truth.vehicle
  const [p, q] = [first, second].map(([freqHz, peak]) => meets(truth, freqHz, peak))
  return {
    product2: a2 * p * q,
    product3: 0.75 * a3 * p * p * q,
    other3: 0.75 * a3 * p * q * q,
    out: [p * (1 + a3 * (0.75 * p * p + 1.5 * q * q)), q * (1 + a3 * (0.75 * q * q + 1.5 * p * p))] as const,
  }
}

/** SMPTE RP 120, rms form: both sidebands of each order, over the high tone. */
export function modulationOf(truth: Truth): number {
  const { product2, product3, out } = twoTones(truth, [
    [60, 0.56],
    [7000, 0.14],
  ])
  return (Math.SQRT2 * Math.hypot(product2, product3)) / out[1]
}

/** IEC 60268-3, rms form: f2 - f1, 2 f1 - f2 and 2 f2 - f1, over both tones. */
export function differenceToneOf(truth: Truth): number {
  const { product2, product3, other3, out } = twoTones(truth, [
    [19_000, 0.35],
    [20_000, 0.35],
  ])
  return Math.hypot(product2, product3, other3) / (out[0] + out[1])
}

/** What is left of a sine cut at r of its peak: b1 = (2/π)(θ + ½ sin 2θ), θ = arcsin r. */
const cutFundamental = (r: number): number => {
  const angle = Math.asin(Math.min(1, r))
  return (2 / Math.PI) * (angle + 0.5 * Math.sin(2 * angle))
}

/** bn = (2/π)(sin((n-1)θ) / (n(n-1)) + sin((n+1)θ) / (n(n+1))), n odd, to an order. */
function cutThd(r: number, orderMax: number): number {
  const angle = Math.asin(Math.min(1, r))
  let squares = 0
  for (let n = 3; n <= orderMax; n += 2) {
    squares +=
      ((2 / Math.PI) * (Math.sin((n - 1) * angle) / (n * (n - 1)) + Math.sin((n + 1) * angle) / (n * (n + 1)))) ** 2
  }
  return Math.sqrt(squares) / cutFundamental(r)
}

/** Source peak at which the first output cuts off. */
const cutAt = ({ vehicle }: Truth): number => vehicle.cutFs! / (1 + vehicle.leak)

/** Level at which a cut sine has 1 % of orders 2 to 9, dBFS. */
export function cleanLevelDbfs(truth: Truth): number {
  let [low, high] = [0.9, 1]
  for (let i = 0; i < 60; i++) {
    const middle = 0.5 * (low + high)
    if (cutThd(middle, 9) > 0.01) low = middle
    else high = middle
  }
  return db(cutAt(truth) / high)
}

/** Loss of gain at 0 dBFS against the low steps, which count by their power. */
export function compressionDb(truth: Truth, freqHz: number): number {
  const { vehicle } = truth
  if (vehicle.cutFs !== null) return -db(cutFundamental(cutAt(truth)))
  const low = STAIRCASE_DBFS.filter((level) => level <= -20).map((level) => 10 ** (level / 20))
  const gainAt = (peak: number): number => cubicGain(vehicle, meets(truth, freqHz, peak))
  const power = low.reduce((sum, peak) => sum + peak * peak, 0)
  return -db(gainAt(1) / (low.reduce((sum, peak) => sum + peak * peak * gainAt(peak), 0) / power))
}

/**
 * White noise through the weightings, 20 Hz to 20 kHz, dB: integrals of the analytic curves of IEC 61672-1 and of the network
 * of ITU-R BS.468-4.
 */
export const WHITE_DB = { unweighted: 0, a: -2.0483, c: -3.4505, bs468: 7.2628, ccirRms: 1.6328 } as const
export type Weighting = keyof typeof WHITE_DB

/** Rms of noise and hum at the lead, over that of the output's full-scale sine. */
export function noiseOverFullScale(
  truth: Truth,
  output: 0 | 1,
  weighting: Weighting,
  weightDb: (freqHz: number) => number = () => 0,
): number {
  const { vehicle, snrDb, samplesPerS } = truth
  const all = noiseRatio(snrDb)
  const white = all * Math.sqrt((20_000 - 20) / (samplesPerS / 2)) * 10 ** (WHITE_DB[weighting] / 20)
  const hum = output === 1 ? [] : vehicle.hum
  return Math.hypot(white, ...hum.map(({ freqHz, rmsOverNoise }) => rmsOverNoise * all * 10 ** (weightDb(freqHz) / 20)))
}

export const humVrms = ({ vehicle, snrDb }: Truth): number =>
  vehicle.levelVrms[0] * noiseRatio(snrDb) * Math.hypot(...vehicle.hum.map(({ rmsOverNoise }) => rmsOverNoise))

/** dB re the reference of the power mean over five grid points, as the curve is defined. */
export function curveDb(truth: Truth, output: 0 | 1, freqHz: number, referenceHz: number): number {
  const power = (hz: number): number => {
    const i = gridIndex(hz)
    return [-2, -1, 0, 1, 2].reduce((sum, k) => sum + sweepGain(truth, output, GRID_HZ[i + k]) ** 2, 0)
  }
  return 10 * Math.log10(power(freqHz) / power(referenceHz))
}

/** Rms of the magnitude over a band, each octave alike: Simpson's rule in 4000 steps. */
export function fullBandGain(truth: Truth, output: 0 | 1, lowHz: number, highHz: number): number {
  const steps = 4000
  let sum = 0
  for (let n = 0; n <= steps; n++) {
    const weight = n === 0 || n === steps ? 1 : n % 2 === 1 ? 4 : 2
    sum += weight * magnitude(truth, output, lowHz * (highHz / lowHz) ** (n / steps)) ** 2
  }
  return Math.sqrt(sum / 3 / steps)
}

/**
 * Group delay of a filter as it is defined: slope of the least-squares cubic through the phase at nine grid points. It is taken
 * from the phase's own derivatives' average, computed here by solving for the cubic anew.
 */
export function groupDelayS({ vehicle, samplesPerS }: Truth, output: 0 | 1, index: number): number {
  const filter: Filter = vehicle.filters[output]
  const phases: number[] = []
  for (let k = -4; k <= 4; k++) {
    const { re, im } = responseAt(filter, GRID_HZ[index + k], samplesPerS)
    const raw = Math.atan2(im, re)
    const before = phases.at(-1) ?? raw
    phases.push(raw + 2 * Math.PI * Math.round((before - raw) / (2 * Math.PI)))
  }
  // Odd part only: phase = b k + c k³; normal equations of the two.
  let [k2, k4, k6, kp, k3p] = [0, 0, 0, 0, 0]
  phases.forEach((phase, n) => {
    const k = n - 4
    k2 += k ** 2
    k4 += k ** 4
    k6 += k ** 6
    kp += k * phase
    k3p += k ** 3 * phase
  })
  const slope = (k6 * kp - k4 * k3p) / (k2 * k6 - k4 * k4)
  return -slope / (2 * Math.PI * GRID_HZ[index] * Math.log(GRID_HZ[1] / GRID_HZ[0]))
}

/** Where a filter is 3.0103 dB down, between two frequencies of which one lies in its band. */
export function halfPowerHz(truth: Truth, output: 0 | 1, insideHz: number, outsideHz: number): number {
  let [inside, outside] = [insideHz, outsideHz]
  for (let i = 0; i < 60; i++) {
    const middle = Math.sqrt(inside * outside)
    if (magnitude(truth, output, middle) ** 2 > 0.5) inside = middle
    else outside = middle
  }
  return inside
}
