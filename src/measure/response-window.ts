/**
 * The cut of an impulse response to its linear part: how much before and after its centre, with soft ends, and the high-pass that
 * stands in every response until it is divided out. One description for all that cut, predict, or count what noise is left.
 */

/** A slow output rises long before its largest sample; the second harmonic lies L ln 2 = 0.35 s before it. */
const BEFORE_S = 0.15
const AFTER_S = 0.48
/** Shares of both that rise and fall, as raised cosines. */
const RISE = 0.4
const FALL = 0.25

export const RESPONSE_WINDOW_S = {
  before: BEFORE_S,
  rise: RISE * BEFORE_S,
  after: AFTER_S,
  fall: FALL * AFTER_S,
} as const

/** Integral of the window's square (s): a raised cosine's has a mean of 3 / 8. Noise nearer than its inverse is shared. */
export const RESPONSE_WINDOW_SQUARE_S = BEFORE_S * (1 - RISE + RISE * 0.375) + AFTER_S * (1 - FALL + FALL * 0.375)

/** The window in samples: gainAt(n) for n from -before to below after, 0 at the centre. */
export function responseWindow(samplesPerS: number): {
  readonly before: number
  readonly after: number
  readonly gainAt: (n: number) => number
} {
  const before = Math.round(BEFORE_S * samplesPerS)
  const after = Math.round(AFTER_S * samplesPerS)
  const rise = RISE * before
  const fall = Math.round(FALL * after)
  const gainAt = (n: number): number => {
    if (n < rise - before) return 0.5 - 0.5 * Math.cos((Math.PI * (n + before)) / rise)
    return n > after - fall ? 0.5 - 0.5 * Math.cos((Math.PI * (after - n)) / fall) : 1
  }
  return { before, after, gainAt }
}

/**
 * Fourth-order Butterworth high-pass at 8 Hz, under the sweep's start. Being causal, it rings after the response, where
 * the window is long, and not before it; what it does inside the band is divided out again on the grid.
 */
export function lowEdge(freqHz: number): { readonly re: number; readonly im: number } {
  const x = freqHz / 8
  // The denominator, (1 - x² + j d1 x)(1 - x² + j d2 x); the numerator x⁴ is real.
  const a = 1 - x * x
  const re = a * a - LOW_EDGE_PRODUCT * x * x
  const im = LOW_EDGE_SUM * a * x
  const scale = x ** 4 / (re * re + im * im)
  return { re: scale * re, im: -scale * im }
}

const LOW_EDGE_DAMPING = [2 * Math.cos(Math.PI / 8), 2 * Math.cos((3 * Math.PI) / 8)] as const
const LOW_EDGE_SUM = LOW_EDGE_DAMPING[0] + LOW_EDGE_DAMPING[1]
const LOW_EDGE_PRODUCT = LOW_EDGE_DAMPING[0] * LOW_EDGE_DAMPING[1]
