/**
 * Second-order filter sections, as the vehicle's filters are made of.
 *
 * Frequencies, gain and Q are those of the Audio EQ Cookbook (R. Bristow-Johnson; W3C Group Note, 8 June 2021), which the
 * Web Audio filters follow too. The library's shelves have no Q of their own, so coefficients are also made here.
 */

export interface Section {
  readonly kind: 'low_pass' | 'high_pass' | 'peaking' | 'low_shelf' | 'high_shelf' | 'all_pass'
  readonly freqHz: number
  readonly q: number
  /** For peaking and shelves; 0 for the others. */
  readonly gainDb: number
}

/** First-order high- or low-pass: an odd order has one, and a coupling capacitor is one. */
export interface FirstOrder {
  readonly kind: 'low_pass_1' | 'high_pass_1'
  readonly freqHz: number
}

export type Filter = Section | FirstOrder

/** H(z) = (b0 + b1 z^-1 + b2 z^-2) / (1 + a1 z^-1 + a2 z^-2). */
export interface Coefficients {
  readonly b: readonly [number, number, number]
  readonly a: readonly [1, number, number]
}

/**
 * Butterworth filter of an order: -3.01 dB at its corner, whatever the order.
 *
 * Q of the pairs: 1 / (2 cos(angle)), angles of the poles on their circle from the negative real axis.
 */
export function butterworth(edge: 'low_pass' | 'high_pass', freqHz: number, order: number): Filter[] {
  const pairs = Array.from({ length: Math.floor(order / 2) }, (_, k): Section => {
    const angleRad = (Math.PI * (order % 2 === 0 ? k + 0.5 : k + 1)) / order
    return { kind: edge, freqHz, q: 1 / (2 * Math.cos(angleRad)), gainDb: 0 }
  })
  return order % 2 === 0 ? pairs : [{ kind: edge === 'low_pass' ? 'low_pass_1' : 'high_pass_1', freqHz }, ...pairs]
}

/**
 * Fourth-order Linkwitz-Riley filter: -6.02 dB at its corner, two second-order Butterworth filters in a row. High- and
 * low-pass of one frequency add up to an all-pass. Source: S. H. Linkwitz, JAES 24(1), 1976.
 */
export const linkwitzRiley = (edge: 'low_pass' | 'high_pass', freqHz: number): Filter[] => [
  ...butterworth(edge, freqHz, 2),
  ...butterworth(edge, freqHz, 2),
]

/** Coefficients at a sample rate; the corner or centre stands exactly where it is asked for (bilinear, prewarped). */
export function coefficientsOf(filter: Filter, sampleRateHz: number): Coefficients {
  const w = (2 * Math.PI * filter.freqHz) / sampleRateHz
  if (!('q' in filter)) {
    const k = Math.tan(w / 2)
    const b0 = filter.kind === 'low_pass_1' ? k : 1
    return over(1 + k, [b0, filter.kind === 'low_pass_1' ? k : -1, 0], [k - 1, 0])
  }
  const cos = Math.cos(w)
  const alpha = Math.sin(w) / (2 * filter.q)
  const A = 10 ** (filter.gainDb / 40)
  const root = 2 * Math.sqrt(A) * alpha
  switch (filter.kind) {
    case 'low_pass':
      return over(1 + alpha, [(1 - cos) / 2, 1 - cos, (1 - cos) / 2], [-2 * cos, 1 - alpha])
    case 'high_pass':
      return over(1 + alpha, [(1 + cos) / 2, -(1 + cos), (1 + cos) / 2], [-2 * cos, 1 - alpha])
    case 'all_pass':
      return over(1 + alpha, [1 - alpha, -2 * cos, 1 + alpha], [-2 * cos, 1 - alpha])
    case 'peaking':
      return over(1 + alpha / A, [1 + alpha * A, -2 * cos, 1 - alpha * A], [-2 * cos, 1 - alpha / A])
    case 'low_shelf':
      return over(
        A + 1 + (A - 1) * cos + root,
        [A * (A + 1 - (A - 1) * cos + root), 2 * A * (A - 1 - (A + 1) * cos), A * (A + 1 - (A - 1) * cos - root)],
        [-2 * (A - 1 + (A + 1) * cos), A + 1 + (A - 1) * cos - root],
      )
    case 'high_shelf':
      return over(
        A + 1 - (A - 1) * cos + root,
        [A * (A + 1 + (A - 1) * cos + root), -2 * A * (A - 1 + (A + 1) * cos), A * (A + 1 + (A - 1) * cos - root)],
        [2 * (A - 1 - (A + 1) * cos), A + 1 - (A - 1) * cos - root],
      )
  }
}

/** Magnitude of a chain of filters at one frequency. */
export function magnitudeOf(filters: readonly Filter[], freqHz: number, sampleRateHz: number): number {
  const w = (2 * Math.PI * freqHz) / sampleRateHz
  const size = ([c0, c1, c2]: readonly [number, number, number]): number =>
    Math.hypot(c0 + c1 * Math.cos(w) + c2 * Math.cos(2 * w), c1 * Math.sin(w) + c2 * Math.sin(2 * w))
  return filters.reduce((product, filter) => {
    const { b, a } = coefficientsOf(filter, sampleRateHz)
    return (product * size(b)) / size(a)
  }, 1)
}

function over(a0: number, b: readonly [number, number, number], a: readonly [number, number]): Coefficients {
  return { b: [b[0] / a0, b[1] / a0, b[2] / a0], a: [1, a[0] / a0, a[1] / a0] }
}
