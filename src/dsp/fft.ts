/**
 * Discrete Fourier transforms of a power-of-two size: by fft.js where its working set fits the cache, else by passes that go
 * in the order of memory. Complex arrays are interleaved: re, im, re, im …
 *
 * Forward transforms are not scaled; inverses divide by the size. A real transform of N samples is a complex one of N / 2
 * whose samples are the even and odd ones: half the work and half the memory.
 */
import FFT from 'fft.js'
import { transform as longTransform, turnsOf } from './fft-passes.js'
import { room } from './room.js'

/** Up to here fft.js is as fast; at 131072 points its scattered order costs half as much again. */
const LIBRARY_SIZE_MAX = 16_384

/** Plans are kept, since making one costs more than using it. */
const plans = new Map<number, FFT>()

/** Not scaled, either way; out and data are different arrays, and data stays as it is. */
function transform(out: Float64Array, data: Float64Array, size: number, sign: 1 | -1): void {
  if (size > LIBRARY_SIZE_MAX) {
    longTransform(out, data, size, sign)
    return
  }
  let plan = plans.get(size)
  if (!plan) {
    if (!Number.isInteger(Math.log2(size)) || size < 2) throw new RangeError(`fft: size ${size}, want a power of two`)
    plan = new FFT(size)
    plans.set(size, plan)
  }
  if (sign === 1) {
    plan.transform(out, data)
    return
  }
  // The library scales its inverse, over the whole length of what it is given.
  const exact = out.length === 2 * size ? out : out.subarray(0, 2 * size)
  plan.inverseTransform(exact, data)
  for (let n = 0; n < exact.length; n++) exact[n] *= size
}

const kept = new Map<number, Float64Array>()

/** What a real transform turns its halves by: exp(-2 pi i k / size), k = 0 to size / 4. */
function halfTurnsOf(size: number): Float64Array {
  let turns = kept.get(size)
  if (!turns) {
    turns = turnsOf(size, size / 4 + 1)
    kept.set(size, turns)
  }
  return turns
}

/** The smallest power of two that holds count samples. */
export const sizeFor = (count: number): number => 2 ** Math.ceil(Math.log2(Math.max(2, count)))

/**
 * Spectrum of real samples, zero-padded to size (4 or more).
 * @param out room for size + 2 numbers, another array than samples, for those who transform often
 * @returns out: size / 2 + 1 complex bins, bin k at 2k and 2k + 1
 */
export function realSpectrum(
  samples: Float64Array | Float32Array,
  size: number,
  out: Float64Array = new Float64Array(size + 2),
): Float64Array {
  if (samples.length > size) throw new RangeError(`realSpectrum: ${samples.length} samples in a size of ${size}`)
  let data = samples
  if (samples.length < size || !(samples instanceof Float64Array)) {
    data = room('real samples', size).fill(0)
    data.set(samples)
  }
  const half = size / 2
  transform(out, data as Float64Array, half, 1)
  const turns = halfTurnsOf(size)
  out[size] = out[0]
  out[size + 1] = out[1]
  for (let i = 0, j = size; i <= j; i += 2, j -= 2) {
    const a = out[i]
    const b = out[i + 1]
    const c = out[j]
    const d = out[j + 1]
    const evenRe = 0.5 * (a + c)
    const evenIm = 0.5 * (b - d)
    const oddRe = 0.5 * (b + d)
    const oddIm = 0.5 * (c - a)
    const turnedRe = oddRe * turns[i] - oddIm * turns[i + 1]
    const turnedIm = oddRe * turns[i + 1] + oddIm * turns[i]
    out[i] = evenRe + turnedRe
    out[i + 1] = evenIm + turnedIm
    out[j] = evenRe - turnedRe
    out[j + 1] = turnedIm - evenIm
  }
  return out
}

/**
 * Inverse of realSpectrum. The spectrum is used as working room and does not survive.
 * @param spectrum size / 2 + 1 complex bins
 * @param out room for size numbers
 */
export function inverseReal(
  spectrum: Float64Array,
  size: number,
  out: Float64Array = new Float64Array(size),
): Float64Array {
  const turns = halfTurnsOf(size)
  // Halved for both parts of each sum, and divided by the size of the transform.
  const scale = 1 / size
  for (let i = 0, j = size; i <= j; i += 2, j -= 2) {
    const a = scale * spectrum[i]
    const b = scale * spectrum[i + 1]
    const c = scale * spectrum[j]
    const d = scale * spectrum[j + 1]
    const turnedRe = a - c
    const turnedIm = b + d
    const oddRe = turnedRe * turns[i] + turnedIm * turns[i + 1]
    const oddIm = turnedIm * turns[i] - turnedRe * turns[i + 1]
    spectrum[i] = a + c - oddIm
    spectrum[i + 1] = b - d + oddRe
    spectrum[j] = a + c + oddIm
    spectrum[j + 1] = oddRe - b + d
  }
  transform(out, spectrum, size / 2, -1)
  return out
}

/** Spectrum of complex samples (interleaved, 2 × size numbers); same shape back, in out where that is given. */
export function complexSpectrum(
  samples: Float64Array,
  out: Float64Array = new Float64Array(samples.length),
): Float64Array {
  transform(out, samples, samples.length / 2, 1)
  return out
}

/** Inverse of complexSpectrum. */
export function inverseComplex(spectrum: Float64Array): Float64Array {
  const size = spectrum.length / 2
  const out = new Float64Array(2 * size)
  transform(out, spectrum, size, -1)
  for (let n = 0; n < out.length; n++) out[n] /= size
  return out
}
