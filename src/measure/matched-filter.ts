/**
 * How well the marker chirp fits at each place of a signal: normalised correlation, 0 to 1.
 *
 * The template is the chirp with its quadrature part, so the answer is an envelope: polarity and phase of the path
 * in between don't matter, and a band-limited path only lowers it.
 */
import { complexSpectrum, inverseComplex, sizeFor } from '../dsp/fft.js'
import { CHIRP, chirpAt } from '../stimulus/layout.js'
import type { Complex } from './mix.js'

/** The chirp on a clock of samplesPerS, cut where it passes the clock's own band. Interleaved re, im. */
export function chirpTemplate(samplesPerS: number): Float64Array {
  const rateS = CHIRP.durationS / Math.log(CHIRP.freqHzEnd / CHIRP.freqHzStart)
  const endS = Math.min(CHIRP.durationS, rateS * Math.log((0.43 * samplesPerS) / CHIRP.freqHzStart))
  const template = new Float64Array(2 * Math.floor(endS * samplesPerS))
  for (let n = 0; n < template.length / 2; n++) {
    const { inPhase, quadrature } = chirpAt(n / samplesPerS)
    template[2 * n] = inPhase
    template[2 * n + 1] = quadrature
  }
  return template
}

/** @returns fit of the template that starts at each sample of the signal */
export function matchedFilter(signal: Complex, template: Float64Array): Float64Array {
  const count = signal.re.length
  const length = template.length / 2
  const size = sizeFor(Math.max(4 * length, 16_384))
  const step = size - length + 1
  const padded = new Float64Array(2 * size)
  padded.set(template)
  const wanted = complexSpectrum(padded)
  let energy = 0
  for (const part of template) energy += part * part

  const fit = new Float64Array(count)
  const block = new Float64Array(2 * size)
  for (let first = 0; first < count; first += step) {
    block.fill(0)
    const stop = Math.min(count, first + size)
    for (let n = first; n < stop; n++) {
      block[2 * (n - first)] = signal.re[n]
      block[2 * (n - first) + 1] = signal.im[n]
    }
    const product = complexSpectrum(block)
    for (let k = 0; k < 2 * size; k += 2) {
      const [a, b, c, d] = [product[k], product[k + 1], wanted[k], wanted[k + 1]]
      product[k] = a * c + b * d
      product[k + 1] = b * c - a * d
    }
    const correlation = inverseComplex(product)
    for (let n = first; n < Math.min(count, first + step); n++) {
      fit[n] = Math.hypot(correlation[2 * (n - first)], correlation[2 * (n - first) + 1])
    }
  }

  // What stands under the template, by a running sum. A floor of a thousandth of the mean keeps rounding
  // in digital silence from looking like a fit.
  let total = 0
  for (let n = 0; n < count; n++) total += signal.re[n] ** 2 + signal.im[n] ** 2
  const floor = (1e-3 * total * length) / count + Number.MIN_VALUE
  let local = 0
  for (let n = 0; n < Math.min(count, length); n++) local += signal.re[n] ** 2 + signal.im[n] ** 2
  for (let n = 0; n < count; n++) {
    // The factor 2: a real chirp holds half the energy of its template.
    fit[n] = Math.min(1, (fit[n] * Math.SQRT2) / Math.sqrt(energy * Math.max(local, floor)))
    local -= signal.re[n] ** 2 + signal.im[n] ** 2
    if (n + length < count) local += signal.re[n + length] ** 2 + signal.im[n + length] ** 2
  }
  return fit
}
