/**
 * Discrete Fourier transforms of a power-of-two size, on fft.js. Complex arrays are interleaved: re, im, re, im …
 *
 * Forward transforms are not scaled; inverses divide by the size. A real transform of N samples is a complex one of N / 2
 * whose samples are the even and odd ones: half the work and half the memory. Plans are kept, since making one costs
 * more than using it.
 */
import FFT from 'fft.js'

interface Plan {
  readonly fft: FFT
  /** exp(-2 pi i k / (2 × size)), k = 0 to size / 2: what a real transform of twice the size turns its halves by. */
  turns: Float64Array | null
}

const plans = new Map<number, Plan>()

function planOf(size: number): Plan {
  let plan = plans.get(size)
  if (!plan) {
    if (!Number.isInteger(Math.log2(size)) || size < 2) throw new RangeError(`fft: size ${size}, want a power of two`)
    plan = { fft: new FFT(size), turns: null }
    plans.set(size, plan)
  }
  return plan
}

function turnsOf(size: number): Float64Array {
  const plan = planOf(size)
  if (!plan.turns) {
    plan.turns = new Float64Array(size + 2)
    for (let k = 0; k <= size / 2; k++) {
      plan.turns[2 * k] = Math.cos((Math.PI * k) / size)
      plan.turns[2 * k + 1] = -Math.sin((Math.PI * k) / size)
    }
  }
  return plan.turns
}

/** The smallest power of two that holds count samples. */
export const sizeFor = (count: number): number => 2 ** Math.ceil(Math.log2(Math.max(2, count)))

/**
 * Spectrum of real samples, zero-padded to size (4 or more).
 * @param out room for size + 2 numbers, for those who transform often
 * @returns out: size / 2 + 1 complex bins, bin k at 2k and 2k + 1
 */
export function realSpectrum(
  samples: ArrayLike<number>,
  size: number,
  out: Float64Array = new Float64Array(size + 2),
): Float64Array {
  if (samples.length > size) throw new RangeError(`realSpectrum: ${samples.length} samples in a size of ${size}`)
  let data = samples
  if (samples.length < size) {
    const padded = new Float64Array(size)
    padded.set(samples)
    data = padded
  }
  const half = size / 2
  planOf(half).fft.transform(out, data)
  const turns = turnsOf(half)
  out[size] = out[0]
  out[size + 1] = out[1]
  for (let k = 0; k <= half / 2; k++) {
    const [i, j] = [2 * k, 2 * (half - k)]
    const [a, b, c, d] = [out[i], out[i + 1], out[j], out[j + 1]]
    const [evenRe, evenIm, oddRe, oddIm] = [0.5 * (a + c), 0.5 * (b - d), 0.5 * (b + d), 0.5 * (c - a)]
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
  const half = size / 2
  const turns = turnsOf(half)
  for (let k = 0; k <= half / 2; k++) {
    const [i, j] = [2 * k, 2 * (half - k)]
    const [a, b, c, d] = [spectrum[i], spectrum[i + 1], spectrum[j], spectrum[j + 1]]
    const [evenRe, evenIm, turnedRe, turnedIm] = [0.5 * (a + c), 0.5 * (b - d), 0.5 * (a - c), 0.5 * (b + d)]
    const oddRe = turnedRe * turns[i] + turnedIm * turns[i + 1]
    const oddIm = turnedIm * turns[i] - turnedRe * turns[i + 1]
    spectrum[i] = evenRe - oddIm
    spectrum[i + 1] = evenIm + oddRe
    spectrum[j] = evenRe + oddIm
    spectrum[j + 1] = oddRe - evenIm
  }
  planOf(half).fft.inverseTransform(out, spectrum.subarray(0, size))
  return out
}

/** Spectrum of complex samples (interleaved, 2 × size numbers); same shape back, in out where that is given. */
export function complexSpectrum(
  samples: Float64Array,
  out: Float64Array = new Float64Array(samples.length),
): Float64Array {
  planOf(samples.length / 2).fft.transform(out, samples)
  return out
}

/** Inverse of complexSpectrum. */
export function inverseComplex(spectrum: Float64Array): Float64Array {
  const out = new Float64Array(spectrum.length)
  planOf(spectrum.length / 2).fft.inverseTransform(out, spectrum)
  return out
}
