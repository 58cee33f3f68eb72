/** Short spectra of a stretch, half overlapped, and the noise in them that lines leave alone. */
import { realSpectrum } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { HANN } from '../dsp/tables/harris-1978.js'
import { cosineWindow } from '../dsp/windows.js'

/** Bins about a place by which its noise is judged: about 300 Hz, more than a line runs through. */
const FLOOR_BINS = 49

export interface ShortSpectra {
  /** Power (full-scale sine: 1 over its bins) of bin b in block t at t × binCount + b. */
  readonly power: Float64Array
  readonly blockCount: number
  readonly binCount: number
  readonly binHz: number
  readonly hopS: number
  readonly sizeS: number
}

/** Spectra from 0 Hz to topHz and `beyond` bins; none where the stretch is shorter than a block. */
export function shortSpectra(samples: Float32Array, samplesPerS: number, topHz: number, beyond: number): ShortSpectra {
  const size = 2 ** Math.round(Math.log2(0.17 * samplesPerS))
  const hop = size / 2
  const blockCount = Math.max(0, Math.floor((samples.length - size) / hop) + 1)
  const binHz = samplesPerS / size
  const binCount = Math.min(size / 2, Math.ceil(topHz / binHz) + beyond)
  const window = cosineWindow(HANN, size)
  const power = new Float64Array(blockCount * binCount)
  const block = room('whine samples', size)
  for (let t = 0; t < blockCount; t++) {
    for (let n = 0; n < size; n++) block[n] = window[n] * samples[t * hop + n]
    const spectrum = realSpectrum(block, size, room('whine spectrum', size + 2))
    const scale = 4 / (size * 0.375 * size)
    for (let bin = 0; bin < binCount; bin++) {
      power[t * binCount + bin] = scale * (spectrum[2 * bin] ** 2 + spectrum[2 * bin + 1] ** 2)
    }
  }
  return { power, blockCount, binCount, binHz, hopS: hop / samplesPerS, sizeS: size / samplesPerS }
}

/** Mean noise of each bin: median over time, which a moving line leaves alone, then over bins, which a steady one does. */
export function floorOf({ power, blockCount, binCount }: ShortSpectra): Float64Array {
  const overTime = new Float64Array(binCount)
  const column = new Float64Array(blockCount)
  for (let bin = 0; bin < binCount; bin++) {
    for (let t = 0; t < blockCount; t++) column[t] = power[t * binCount + bin]
    // The median of an exponential value is ln 2 of its mean.
    overTime[bin] = medianOf(column, blockCount) / Math.LN2
  }
  const floor = new Float64Array(binCount)
  const around = new Float64Array(FLOOR_BINS)
  for (let middle = 2; middle < binCount + 2; middle += 5) {
    const from = Math.max(1, Math.min(middle - (FLOOR_BINS >> 1), binCount - FLOOR_BINS))
    around.set(overTime.subarray(from, from + FLOOR_BINS))
    floor.fill(Math.max(medianOf(around, FLOOR_BINS), Number.MIN_VALUE), middle - 2, middle + 3)
  }
  return floor
}

/** The middle one of the first count values, which are put in another order (C. A. R. Hoare, 1961). */
function medianOf(values: Float64Array, count: number): number {
  const wanted = count >> 1
  let [low, high] = [0, count - 1]
  while (low < high) {
    const pivot = values[wanted]
    let [i, j] = [low, high]
    while (i <= j) {
      while (values[i] < pivot) i++
      while (pivot < values[j]) j--
      if (i <= j) {
        const swap = values[i]
        values[i++] = values[j]
        values[j--] = swap
      }
    }
    if (j < wanted) low = i
    if (wanted < i) high = j
  }
  return values[wanted]
}
