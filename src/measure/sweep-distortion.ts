/**
 * Distortion against frequency, from the sweep.
 *
 * The sweep is synchronised: its phase L ln n later is n times what it is now. So a harmonic of order n is the sweep itself,
 * L ln n early, and its response stands that long before the linear one, with the scale of the linear one: at n f it is
 * the harmonic's peak over the peak that was played. Source: A. Novak, P. Lotton, L. Simon, JAES 63(10), 786-798, 2015;
 * y = x + a2 x² + a3 x³ at a peak P gives a2 P / 2 and a3 P² / 4 over 1 + 3/4 a3 P².
 */
import { realSpectrum, sizeFor } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { SWEEP } from '../stimulus/layout.js'
import type { Transfer } from './analysis.js'
import { GRID_HZ, gridIndex } from './grid.js'
import { amplitudeOf, type LinePower, over, type Reading, sumOfLines } from './line-power.js'
import { RESPONSE_WINDOW_SQUARE_S } from './response-window.js'
import type { ImpulseResponses } from './transfer.js'

export const SWEEP_DISTORTION_METHOD = 'thd against frequency from sweep, orders 2 to 5/1'

const ORDERS = [2, 3, 4, 5] as const
const BAND_HZ = [20, 20_000] as const
/** Points an octave, and how much of the grid each takes in: a sixth of an octave. */
const GRID_STEP = 8
/** The first point from 20 Hz on that is a whole number of steps from 1 kHz. */
const FIRST_INDEX = gridIndex(1000) - GRID_STEP * Math.floor((gridIndex(1000) - gridIndex(BAND_HZ[0])) / GRID_STEP)
/**
 * What the cut of the responses leaves on a ratio, standard: 0.1 %; and where a harmonic lies little above the place
 * where the sweep starts it, n times 10 Hz, 0.7 % (on polynomials: at 22 Hz 0.5 % of the second and 1.4 % of the third).
 */
const methodRelativeU = (freqHz: number): number => (freqHz < 28 ? 0.007 : 0.001)
/** Where the output itself is weaker than this against its strongest, its distortion there says nothing. */
const CARRIED_DB = -30
/** Shares of the gaps to the orders around that a window takes: responses begin at once and die away slowly. */
const BEFORE_SHARE = 0.35
const AFTER_SHARE = 0.62

export interface SweepDistortionPoint {
  /** Of the fundamental. */
  readonly freqHz: number
  /** Rms sum of the harmonics that lie below 20 kHz, over the fundamental. */
  readonly thd: Reading
  /** Each harmonic over the fundamental, orders 2 and up, as far as they lie below 20 kHz. */
  readonly harmonics: readonly Reading[]
}

export interface SweepDistortion {
  readonly side: 'left' | 'right'
  /** Peak of the sweep as played, fraction of the source's full scale: harmonics grow with it. */
  readonly sourcePeakFs: number
  readonly points: readonly SweepDistortionPoint[]
}

/**
 * @param responses of the same input as transfer; read before the next deconvolve overwrites them
 * @returns points a sixth of an octave apart (base 2 through 1 kHz), where the output carries the fundamental; of the side
 *   that the output hears louder
 */
export function sweepDistortion(responses: ImpulseResponses, transfer: Transfer): SweepDistortion {
  const isLeft = energyOf(transfer.leftRe, transfer.leftIm) >= energyOf(transfer.rightRe, transfer.rightIm)
  const impulse = isLeft ? responses.left : responses.right
  const [re, im, error] = isLeft
    ? [transfer.leftRe, transfer.leftIm, transfer.leftError]
    : [transfer.rightRe, transfer.rightIm, transfer.rightError]
  const orders = ORDERS.map((order) => orderSpectrum(impulse, responses, order))

  // Largest magnitude of the response, in thirds of an octave and not at a single peak.
  const own = GRID_HZ.map((_, i) => bandMean(re, im, i))
  const carriedPower = Math.max(...own) * 10 ** (CARRIED_DB / 10)
  const points: SweepDistortionPoint[] = []
  for (let i = FIRST_INDEX; i < GRID_HZ.length && 2 * GRID_HZ[i] <= BAND_HZ[1]; i += GRID_STEP) {
    if (own[i] < carriedPower || own[i] <= 0) continue
    const lines = orders
      .filter(({ order }) => order * GRID_HZ[i] <= BAND_HZ[1])
      .map((each) => lineAt(each, GRID_HZ[i], error))
    const peak = Math.sqrt(own[i])
    // A bound grows by what the method may be off; a value is that much less certain.
    const peakU = Math.hypot(error[i] / Math.SQRT2, methodRelativeU(GRID_HZ[i]) * peak)
    const ratio = (line: LinePower): Reading => over(amplitudeOf(line), peak, peakU)
    points.push({
      freqHz: GRID_HZ[i],
      thd: ratio(sumOfLines(lines)),
      harmonics: lines.map(ratio),
    })
  }
  return { side: isLeft ? 'left' : 'right', sourcePeakFs: SWEEP.peakFs, points }
}

interface OrderSpectrum {
  readonly order: number
  readonly bins: Float64Array
  readonly binHz: number
  /** Sum of the window's squares over that of the window which transfer's error belongs to. */
  readonly errorShare: number
  /** Distance of independent values. */
  readonly independentHz: number
}

/** The response of one order, cut out and transformed. */
function orderSpectrum(impulse: Float64Array, { centre, samplesPerS }: ImpulseResponses, order: number): OrderSpectrum {
  const gapS = (n: number): number => SWEEP.rateS * Math.log(n / (n - 1))
  const before = Math.round(BEFORE_SHARE * gapS(order + 1) * samplesPerS)
  const after = Math.round(AFTER_SHARE * gapS(order) * samplesPerS)
  const middle = centre - Math.round(SWEEP.rateS * Math.log(order) * samplesPerS)
  const size = sizeFor(before + after)
  const samples = room('order samples', size)
  samples.fill(0)
  const total = impulse.length
  let [squares, fourths] = [0, 0]
  let from = (middle - before + 2 * total) % total
  for (let n = 0; n < before + after; n++) {
    const away = n - before
    const gain =
      away < -0.3 * before
        ? raised((n + 0.5) / (0.7 * before))
        : away > 0.6 * after
          ? raised((before + after - n - 0.5) / (0.4 * after))
          : 1
    samples[n] = gain * impulse[from]
    if (++from === total) from = 0
    const square = gain * gain
    squares += square
    fourths += square * square
  }
  return {
    order,
    bins: realSpectrum(samples, size, room(`order spectrum ${order}`, size + 2)),
    binHz: samplesPerS / size,
    errorShare: squares / (RESPONSE_WINDOW_SQUARE_S * samplesPerS),
    independentHz: (samplesPerS * fourths) / squares ** 2,
  }
}

const raised = (x: number): number => 0.5 - 0.5 * Math.cos(Math.PI * Math.min(1, x))

/** Power of an order at a frequency of the fundamental, over a sixth of an octave, its noise taken off. */
function lineAt(
  { order, bins, binHz, errorShare, independentHz }: OrderSpectrum,
  freqHz: number,
  error: Float64Array,
): LinePower {
  const centreHz = order * freqHz
  const [lowBin, highBin] = [(centreHz * 2 ** (-1 / 12)) / binHz, (centreHz * 2 ** (1 / 12)) / binHz]
  let [first, last] = [Math.ceil(lowBin), Math.floor(highBin)]
  if (first > last) first = last = Math.round(centreHz / binHz)
  let sum = 0
  for (let bin = first; bin <= last; bin++) sum += bins[2 * bin] ** 2 + bins[2 * bin + 1] ** 2
  const noise = error[gridIndex(centreHz)] ** 2 * errorShare
  const count = Math.max(1, ((highBin - lowBin) * binHz) / independentHz)
  // The noise level itself comes from a third of an octave of the transfer's quiet stretch.
  const noiseCount = Math.max(1, Math.min(17, 0.23 * centreHz * 0.9 * RESPONSE_WINDOW_SQUARE_S))
  const power = sum / (last - first + 1) - noise
  return { power, noise: noise / count, fixedVariance: noise * noise * (1 / count + 1 / noiseCount) }
}

function bandMean(re: Float64Array, im: Float64Array, middle: number): number {
  const reach = GRID_STEP / 2
  const [first, last] = [Math.max(0, middle - reach), Math.min(re.length - 1, middle + reach)]
  let sum = 0
  for (let i = first; i <= last; i++) sum += re[i] * re[i] + im[i] * im[i]
  return sum / (last - first + 1)
}

function energyOf(re: Float64Array, im: Float64Array): number {
  let sum = 0
  for (let i = 0; i < re.length; i++) sum += re[i] * re[i] + im[i] * im[i]
  return sum
}
