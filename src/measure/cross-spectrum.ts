/** Spectra against each other, interleaved re and im: products, correlations, delays. */
import { complexSpectrum } from '../dsp/fft.js'

/** one × conj(other), bin by bin. */
export function crossOf(one: Float64Array, other: Float64Array): Float64Array {
  const cross = new Float64Array(one.length)
  for (let k = 0; k < cross.length; k += 2) {
    cross[k] = one[k] * other[k] + one[k + 1] * other[k + 1]
    cross[k + 1] = one[k + 1] * other[k] - one[k] * other[k + 1]
  }
  return cross
}

/** Circular correlation (conjugated, not scaled) for each lag of the first spectrum's signal against the second's. */
export function correlation(one: Float64Array, other: Float64Array): Float64Array {
  // The inverse transform by the forward one of the conjugate: the order is kept.
  const conjugate = crossOf(one, other)
  for (let k = 1; k < conjugate.length; k += 2) conjugate[k] = -conjugate[k]
  return complexSpectrum(conjugate)
}

/** Takes a delay off a spectrum, in place. */
export function turnBack(spectrum: Float64Array, samples: number): void {
  const size = spectrum.length / 2
  const [stepRe, stepIm] = [Math.cos((2 * Math.PI * samples) / size), Math.sin((2 * Math.PI * samples) / size)]
  const turn = (k: number, re: number, im: number): void => {
    const [a, b] = [spectrum[2 * k], spectrum[2 * k + 1]]
    spectrum[2 * k] = a * re - b * im
    spectrum[2 * k + 1] = b * re + a * im
  }
  let [re, im] = [1, 0]
  for (let k = 0; k <= size / 2; k++) {
    turn(k, re, im)
    if (k > 0 && k < size / 2) turn(size - k, re, -im)
    const next = re * stepRe - im * stepIm
    im = im * stepRe + re * stepIm
    re = next
  }
}
