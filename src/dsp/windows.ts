/**
 * Cosine-sum windows and their figures of merit. Coefficients stand in `tables/`.
 *
 * Windows are periodic: sample count would be sample 0 again, so a tone on a bin leaks into a known few bins only.
 */

export interface FiguresOfMerit {
  /** Mean of the window: a tone on bin k has the peak 2 |X[k]| / (count * coherentGain). */
  readonly coherentGain: number
  /** Equivalent noise bandwidth: mean square in a band = 2 sum |X|^2 / (count^2 * coherentGain^2 * enbwBins). */
  readonly enbwBins: number
}

/**
 * w[j] = sum over k of (-1)^k a_k cos(2 pi k j / count).
 *
 * @param coefficients a_0, a_1 … as tables print them, signs left out
 * @param count window length in samples, more than twice the highest k
 * @returns count samples; the peak, in the middle, is the sum of the coefficients
 * @throws RangeError when there is no coefficient, or the window is too short for its highest cosine
 *
 * Source: G. Heinzel, A. Rüdiger, R. Schilling, 2002.
 */
export function cosineWindow(coefficients: readonly number[], count: number): Float64Array {
  if (!Number.isInteger(count) || coefficients.length === 0 || count <= 2 * (coefficients.length - 1)) {
    throw new RangeError(
      `cosineWindow: ${count} samples for ${coefficients.length} coefficients, want a whole number above twice the highest order`,
    )
  }
  // One period of the cosine serves all orders; taking k * j modulo count keeps the argument small and exact.
  const cosine = new Float64Array(count)
  for (let j = 0; j < count; j++) cosine[j] = Math.cos((2 * Math.PI * j) / count)
  const window = new Float64Array(count)
  for (let k = 0; k < coefficients.length; k++) {
    const a = k % 2 ? -coefficients[k] : coefficients[k]
    for (let j = 0; j < count; j++) window[j] += a * cosine[(k * j) % count]
  }
  return window
}

/**
 * Coherent gain and noise bandwidth of any window, from its samples.
 * @throws RangeError when the window is empty or its mean is 0
 */
export function figuresOfMerit(window: Float64Array): FiguresOfMerit {
  let [sum, squares] = [0, 0]
  for (const weight of window) {
    sum += weight
    squares += weight * weight
  }
  if (sum === 0) throw new RangeError(`figuresOfMerit: ${window.length} samples add up to 0, want a window with a mean`)
  return { coherentGain: sum / window.length, enbwBins: (window.length * squares) / (sum * sum) }
}
