/**
 * How well the marker chirp fits at each place of a signal: normalised correlation, 0 to 1.
 *
 * The template is the chirp with its quadrature part, so the answer is an envelope: polarity and phase of the path
 * in between don't matter, and a band-limited path only lowers it.
 */
import { complexSpectrum, sizeFor } from '../dsp/fft.js'
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
export function matchedFilter(signal: Complex, template: Float64Array): Float32Array {
  const fit = correlated(signal, template)
  const { re, im } = signal
  const count = fit.length
  const length = template.length / 2
  let energy = 0
  for (const part of template) energy += part * part
  // What stands under the template, by a running sum. A floor of a thousandth of the mean keeps rounding
  // in digital silence from looking like a fit.
  let [total, local] = [0, 0]
  for (let n = 0; n < count; n++) {
    const power = re[n] * re[n] + im[n] * im[n]
    total += power
    if (n < length) local += power
  }
  const floor = (1e-3 * total * length) / count + Number.MIN_VALUE
  for (let n = 0; n < count; n++) {
    // The factor 2: a real chirp holds half the energy of its template.
    fit[n] = Math.min(1, fit[n] * Math.sqrt(2 / (energy * Math.max(local, floor))))
    const ahead = n + length
    local -= re[n] * re[n] + im[n] * im[n]
    if (ahead < count) local += re[ahead] * re[ahead] + im[ahead] * im[ahead]
  }
  return fit
}

/** Magnitude of the correlation with the template at each sample, block by block. */
function correlated({ re, im }: Complex, template: Float64Array): Float32Array {
  const count = re.length
  const length = template.length / 2
  const size = sizeFor(Math.max(4 * length, 4096))
  const step = size - length + 1
  const block = new Float64Array(2 * size)
  block.set(template)
  const wanted = complexSpectrum(block)
  const product = new Float64Array(2 * size)
  const magnitudes = new Float32Array(count)
  for (let first = 0; first < count; first += step) {
    const stop = Math.min(count, first + size)
    for (let n = first, i = 0; n < stop; n++, i += 2) {
      block[i] = re[n]
      block[i + 1] = im[n]
    }
    block.fill(0, 2 * (stop - first))
    complexSpectrum(block, product)
    // The inverse by the forward transform of the conjugate: magnitudes are the same.
    for (let k = 0; k < 2 * size; k += 2) {
      const a = product[k]
      const b = product[k + 1]
      const c = wanted[k]
      const d = wanted[k + 1]
      product[k] = (a * c + b * d) / size
      product[k + 1] = (a * d - b * c) / size
    }
    complexSpectrum(product, block)
    const kept = Math.min(count, first + step)
    for (let n = first, i = 0; n < kept; n++, i += 2) {
      magnitudes[n] = Math.sqrt(block[i] * block[i] + block[i + 1] * block[i + 1])
    }
  }
  return magnitudes
}
