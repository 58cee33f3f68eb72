/**
 * Spectrum of a stretch in which lines of known frequency are read, with the noise around each.
 *
 * The window is flat with sloping ends, so that nearly all of the stretch counts: noise bandwidth 1.14 bins, where a flat-top
 * window has 4.5. The slopes are integrals of a Blackman-Harris window; a line's skirt is therefore below -92 dB and
 * falling from the slope's main lobe on. The stretch is centred on sample 0 of a longer transform: that leaves the spectrum
 * smooth enough to be read between its bins.
 */
import { complexSpectrum, realSpectrum, sizeFor } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { BLACKMAN_HARRIS_4 } from '../dsp/tables/harris-1978.js'

/** Share of the stretch that each slope takes. */
const SLOPE_SHARE = 0.15
/** Half of the main lobe of a Blackman-Harris window, in bins of its length (Harris 1978). */
const LOBE_BINS = 4
/** The transform is at least this much longer than the stretch: room for the interpolation's own window. */
const ROOM_FACTOR = 1.5
/** Bins on each side that a value between two is made of: its window then blurs a sixth of the transform's length. */
const REACH_BINS = 12

export interface FlatWindow {
  readonly window: Float64Array
  readonly sum: number
  readonly sumOfSquares: number
  readonly sumOfFourths: number
}

export interface LineSpectrum {
  /** Complex bins, re and im in turn. The room is used again by the next spectrum of its kind. */
  readonly bins: Float64Array
  /** Length of the transform. */
  readonly size: number
  /** Bins come back to the first after the last. */
  readonly isCircular: boolean
  readonly binHz: number
  /** Frequency of bin 0. */
  readonly originHz: number
  /** Beyond this from a line its skirt is below -92 dB of it. */
  readonly lobeHz: number
  /** Distance of values that are independent of each other. */
  readonly independentHz: number
  /** Peak of a line whose bin is 1. */
  readonly toPeak: number
  readonly flat: FlatWindow
}

const windows = new Map<number, FlatWindow>()
const WINDOWS_KEPT = 8

export function flatWindow(count: number): FlatWindow {
  let flat = windows.get(count)
  if (!flat) {
    const slope = Math.max(1, Math.round(SLOPE_SHARE * count))
    const window = new Float64Array(count).fill(1)
    for (let n = 0; n < slope; n++) window[n] = window[count - 1 - n] = rise((n + 0.5) / slope)
    let [sum, sumOfSquares, sumOfFourths] = [0, 0, 0]
    for (const weight of window) {
      sum += weight
      sumOfSquares += weight ** 2
      sumOfFourths += weight ** 4
    }
    flat = { window, sum, sumOfSquares, sumOfFourths }
    if (windows.size >= WINDOWS_KEPT) windows.clear()
    windows.set(count, flat)
  }
  return flat
}

/** Integral of a Blackman-Harris window from 0 to x, 1 at x = 1. */
function rise(x: number): number {
  const [a0, ...rest] = BLACKMAN_HARRIS_4
  return rest.reduce((sum, a, i) => {
    const k = 2 * Math.PI * (i + 1)
    return sum + ((i % 2 ? a : -a) * Math.sin(k * x)) / (a0 * k)
  }, x)
}

/** @param samples one channel of a stretch, 30 samples or more */
export function lineSpectrum(samples: Float32Array, samplesPerS: number): LineSpectrum {
  const count = samples.length
  if (count < 30) throw new RangeError(`lineSpectrum: ${count} samples, want 30 or more`)
  const flat = flatWindow(count)
  const size = sizeFor(ROOM_FACTOR * count)
  const placed = room('line samples', size)
  const middle = count >> 1
  for (let n = middle; n < count; n++) placed[n - middle] = flat.window[n] * samples[n]
  placed.fill(0, count - middle, size - middle)
  for (let n = 0; n < middle; n++) placed[size - middle + n] = flat.window[n] * samples[n]
  const bins = realSpectrum(placed, size, room('line spectrum', size + 2))
  return {
    ...shapeOf(count, samplesPerS, size, flat),
    bins,
    isCircular: false,
    originHz: 0,
    toPeak: 2 / flat.sum,
  }
}

/**
 * The same for complex samples around a frequency (narrow-band.ts).
 * @param samples re and im in turn
 * @param ratePerS complex samples for each second
 */
export function complexLineSpectrum(
  samples: Float64Array,
  count: number,
  ratePerS: number,
  originHz: number,
): LineSpectrum {
  const flat = flatWindow(count)
  const size = sizeFor(ROOM_FACTOR * count)
  const placed = room('complex line samples', 2 * size)
  const middle = count >> 1
  placed.fill(0)
  for (let n = 0; n < count; n++) {
    const to = 2 * ((n - middle + size) % size)
    placed[to] = flat.window[n] * samples[2 * n]
    placed[to + 1] = flat.window[n] * samples[2 * n + 1]
  }
  const bins = complexSpectrum(placed, room('complex line spectrum', 2 * size))
  return {
    ...shapeOf(count, ratePerS, size, flat),
    bins,
    isCircular: true,
    originHz,
    // Half of a real line lies at its negative frequency, which the narrow band has left behind.
    toPeak: 2 / flat.sum,
  }
}

const shapeOf = (count: number, ratePerS: number, size: number, flat: FlatWindow) => ({
  size,
  binHz: ratePerS / size,
  lobeHz: (LOBE_BINS * ratePerS) / (SLOPE_SHARE * count),
  independentHz: (ratePerS * flat.sumOfSquares) / flat.sum ** 2,
  flat,
})

/** Squared magnitude of a bin. */
export function binPower({ bins, size, isCircular }: LineSpectrum, bin: number): number {
  const at = 2 * (isCircular ? ((bin % size) + size) % size : Math.abs(bin))
  return bins[at] * bins[at] + bins[at + 1] * bins[at + 1]
}

/** Squared peak of a line at a frequency, noise included: the spectrum between its bins, by a windowed sinc (error 3e-5). */
export function squaredPeak(spectrum: LineSpectrum, freqHz: number): number {
  const { bins, size, isCircular } = spectrum
  const place = (freqHz - spectrum.originHz) / spectrum.binHz
  const below = Math.floor(place)
  const t = place - below
  let [re, im] = [0, 0]
  if (t < 1e-9) return spectrum.toPeak ** 2 * binPower(spectrum, below)
  const sine = Math.sin(Math.PI * t) / Math.PI
  for (let k = 1 - REACH_BINS; k <= REACH_BINS; k++) {
    const distance = t - k
    const weight = ((k % 2 ? -sine : sine) / distance) * interpolationWindow(distance)
    let bin = below + k
    // The spectrum of real samples mirrors below 0.
    let mirror = 1
    if (isCircular) bin = ((bin % size) + size) % size
    else if (bin < 0) {
      bin = -bin
      mirror = -1
    } else if (bin > size / 2) {
      bin = size - bin
      mirror = -1
    }
    re += weight * bins[2 * bin]
    im += mirror * weight * bins[2 * bin + 1]
  }
  return spectrum.toPeak ** 2 * (re * re + im * im)
}

/** Blackman-Harris window around 0 that ends at REACH_BINS; 1 at 0. */
function interpolationWindow(distance: number): number {
  const turn = (Math.PI * distance) / REACH_BINS
  const [a0, a1, a2, a3] = BLACKMAN_HARRIS_4
  return a0 + a1 * Math.cos(turn) + a2 * Math.cos(2 * turn) + a3 * Math.cos(3 * turn)
}

/**
 * What noise adds to a line's squared peak: from bins on both sides, by their median, so that a line among them does not
 * count.
 *
 * @param reachHz from and to which distance
 * @param isAvoided true for frequencies where something else stands
 * @param gainAt what the spectrum was filtered with; the mean square is that before the filter
 * @returns mean square, and its relative variance as an estimate; power 0 with variance 1 where there is no room to look
 */
export function noiseAround(
  spectrum: LineSpectrum,
  freqHz: number,
  reachHz: readonly [number, number],
  isAvoided: (hz: number) => boolean,
  gainAt: ((hz: number) => number) | null = null,
): { power: number; variance: number } {
  const { binHz, originHz, independentHz, size, isCircular } = spectrum
  const place = (freqHz - originHz) / binHz
  const step = Math.max(1, Math.round(independentHz / binHz))
  const values: number[] = []
  for (let away = Math.ceil(reachHz[0] / binHz); away * binHz <= reachHz[1]; away += step) {
    for (const bin of [Math.round(place) - away, Math.round(place) + away]) {
      if (!isCircular && (bin < 1 || bin > size / 2)) continue
      const hz = originHz + bin * binHz
      if (!isAvoided(hz)) values.push(binPower(spectrum, bin) / (gainAt ? gainAt(hz) ** 2 : 1))
    }
  }
  if (values.length === 0) return { power: 0, variance: 1 }
  const sorted = Float64Array.from(values).sort()
  const half = sorted.length >> 1
  const median = sorted.length % 2 ? sorted[half] : 0.5 * (sorted[half - 1] + sorted[half])
  // Powers of noise are distributed exponentially: the median is ln 2 of the mean, its variance 1 / (n ln² 2) of the
  // mean's square.
  return {
    power: (spectrum.toPeak ** 2 * median) / Math.LN2,
    variance: Math.min(1, 1 / (sorted.length * Math.LN2 ** 2)),
  }
}
