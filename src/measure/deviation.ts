/**
 * Where between two descriptions of a signal the change lies, to the sample and with what noise leaves open.
 *
 * Both are log-likelihoods of white noise of one rms: the place is where the sum of squares that is left is smallest, and the
 * places whose sum is within 9 variances of it (three standard deviations of one parameter) may be meant as well.
 */
import type { Span } from './local-fit.js'

/** Rounding to whole samples alone: uniform over one sample. */
const WHOLE_SAMPLE_U = 1 / Math.sqrt(12)
const AS_GOOD = 9

export interface Change {
  readonly at: number
  /** Standard uncertainty, samples. */
  readonly atU: number
}

/**
 * @param before, after squared deviation of a sample from the one and the other description
 * @param span places that may be meant: the first sample of what comes after
 */
export function changeBetween(
  span: Span,
  before: (sample: number) => number,
  after: (sample: number) => number,
  rms: number,
): Change {
  const gains = new Float64Array(span.to - span.from + 1)
  for (let i = 0; i < gains.length - 1; i++) gains[i + 1] = gains[i] + after(span.from + i) - before(span.from + i)
  // Taking sample n into the part before is a gain where that describes it better.
  let best = 0
  for (let i = 1; i < gains.length; i++) if (gains[i] > gains[best]) best = i
  return { at: span.from + best, atU: widthOf(gains, best, rms) }
}

/** Six standard deviations of a smooth likelihood; a zero of the signal makes it lumpy, so a little less. */
const AS_GOOD_SPREAD = 5

/** Half of the span in which values are within reach of the best one, as a standard uncertainty. */
function widthOf(gains: Float64Array, best: number, rms: number): number {
  const least = gains[best] - AS_GOOD * rms * rms
  let [low, high] = [best, best]
  for (let i = 0; i < gains.length; i++) {
    if (gains[i] < least) continue
    low = Math.min(low, i)
    high = Math.max(high, i)
  }
  return Math.hypot(WHOLE_SAMPLE_U, (high - low) / AS_GOOD_SPREAD)
}

/**
 * The stretch inside a span that another description fits better, by the largest sum over any run of samples (J. Bentley,
 * Communications of the ACM 27(9), 1984), with the uncertainty of its start; null where none is better.
 */
export function betterRun(
  span: Span,
  usual: (sample: number) => number,
  other: (sample: number) => number,
  rms: number,
): (Span & { readonly fromU: number; readonly gain: number }) | null {
  let [sum, start, gain, from, to] = [0, span.from, 0, span.from, span.from]
  for (let n = span.from; n < span.to; n++) {
    if (sum <= 0) [sum, start] = [0, n]
    sum += usual(n) - other(n)
    if (sum > gain) [gain, from, to] = [sum, start, n + 1]
  }
  if (!(gain > 0)) return null
  const { atU } = changeBetween({ from: span.from, to }, usual, other, rms)
  return { from, to, fromU: atU, gain }
}
