/** What the opening chirp should look like behind the responses that the sweeps have shown, one side at a time. */
import { inverseReal, realSpectrum, sizeFor } from '../dsp/fft.js'
import { CLOSING_SPACING_S } from '../stimulus/layout.js'
import type { Located } from './analysis.js'
import { openingSpectrum, playedSamples } from './marker-pair.js'
import { lowEdge, RESPONSE_WINDOW_S, responseWindow } from './response-window.js'
import type { ImpulseResponses } from './transfer.js'

/** @returns spectra cut as those of a `MarkerPair`; a response longer than its window is cut */
export function predictedMarker(
  responses: ImpulseResponses,
  located: Located,
): { readonly left: Float64Array; readonly right: Float64Array } {
  const { samplesPerS } = responses
  const count = Math.floor(CLOSING_SPACING_S * samplesPerS)
  const length = count + Math.ceil((RESPONSE_WINDOW_S.before + RESPONSE_WINDOW_S.after) * samplesPerS)
  const size = sizeFor(length)
  const chirp = realSpectrum(playedSamples(located, count), size)
  const [left, right] = [responses.left, responses.right].map((response) => {
    const spectrum = realSpectrum(linearPart(response, responses.centre, samplesPerS, size), size)
    for (let k = 0; k <= size / 2; k++) {
      const edge = lowEdge((k * samplesPerS) / size)
      const [a, b, c, d] = [spectrum[2 * k], spectrum[2 * k + 1], chirp[2 * k], chirp[2 * k + 1]]
      const [re, im] = [a * c - b * d, a * d + b * c]
      const power = Math.max(edge.re * edge.re + edge.im * edge.im, 1e-6)
      spectrum[2 * k] = (re * edge.re + im * edge.im) / power
      spectrum[2 * k + 1] = (im * edge.re - re * edge.im) / power
    }
    return openingSpectrum(inverseReal(spectrum, size).subarray(0, count), samplesPerS)
  })
  return { left, right }
}

/** Circular, with its time 0 at sample 0, soft at both ends. */
function linearPart(response: Float64Array, centre: number, samplesPerS: number, size: number): Float64Array {
  const out = new Float64Array(size)
  const { before, after, gainAt } = responseWindow(samplesPerS)
  for (let n = -before; n < after; n++) {
    const from = (((centre + n) % response.length) + response.length) % response.length
    out[(((centre + n) % size) + size) % size] += gainAt(n) * response[from]
  }
  return out
}
