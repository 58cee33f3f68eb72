/**
 * Discrete Fourier transforms of a power-of-two size, on fft.js. Complex arrays are interleaved: re, im, re, im …
 *
 * Forward transforms are not scaled; the inverse divides by the size. Plans are kept, since making one costs more
 * than using it.
 */
import FFT from 'fft.js'

const plans = new Map<number, FFT>()

/** The plan of a size; asking for it ahead of time takes its making out of the way. */
export function planOf(size: number): FFT {
  let plan = plans.get(size)
  if (!plan) {
    if (!Number.isInteger(Math.log2(size)) || size < 2) throw new RangeError(`fft: size ${size}, want a power of two`)
    plan = new FFT(size)
    plans.set(size, plan)
  }
  return plan
}

/** The smallest power of two that holds count samples. */
export const sizeFor = (count: number): number => 2 ** Math.ceil(Math.log2(Math.max(2, count)))

/**
 * Spectrum of real samples, zero-padded to size.
 * @param out room for 2 × size numbers, for those who transform often
 * @returns size / 2 + 1 complex bins, interleaved: bin k at 2k and 2k + 1 (a view of out)
 */
export function realSpectrum(
  samples: ArrayLike<number>,
  size: number,
  out: Float64Array = new Float64Array(2 * size),
): Float64Array {
  if (samples.length > size) throw new RangeError(`realSpectrum: ${samples.length} samples in a size of ${size}`)
  let data = samples
  if (samples.length < size) {
    const padded = new Float64Array(size)
    padded.set(samples)
    data = padded
  }
  planOf(size).realTransform(out, data)
  return out.subarray(0, size + 2)
}

/** Spectrum of complex samples (interleaved, 2 × size numbers); same shape back. */
export function complexSpectrum(samples: Float64Array): Float64Array {
  const out = new Float64Array(samples.length)
  planOf(samples.length / 2).transform(out, samples)
  return out
}

/** Inverse of complexSpectrum; out is room for as many numbers. */
export function inverseComplex(
  spectrum: Float64Array,
  out: Float64Array = new Float64Array(spectrum.length),
): Float64Array {
  planOf(spectrum.length / 2).inverseTransform(out, spectrum)
  return out
}
