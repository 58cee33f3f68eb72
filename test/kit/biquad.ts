/**
 * Filters whose response is known in closed form: second-order sections of the W3C Audio EQ Cookbook (R. Bristow-Johnson).
 *
 * A filter is a list of sections, applied one after the other. Its truth is |H| and arg H on the unit circle.
 */

/** y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]. */
export interface Section {
  readonly b: readonly [number, number, number]
  readonly a: readonly [number, number]
}
export type Filter = readonly Section[]

const section = (b: readonly [number, number, number], a: readonly [number, number, number]): Section => ({
  b: [b[0] / a[0], b[1] / a[0], b[2] / a[0]],
  a: [a[1] / a[0], a[2] / a[0]],
})

const anglesOf = (freqHz: number, q: number, sampleRateHz: number): { c: number; alpha: number } => {
  const w = (2 * Math.PI * freqHz) / sampleRateHz
  return { c: Math.cos(w), alpha: Math.sin(w) / (2 * q) }
}

export function lowPass(freqHz: number, q: number, sampleRateHz: number): Section {
  const { c, alpha } = anglesOf(freqHz, q, sampleRateHz)
  return section([(1 - c) / 2, 1 - c, (1 - c) / 2], [1 + alpha, -2 * c, 1 - alpha])
}

export function highPass(freqHz: number, q: number, sampleRateHz: number): Section {
  const { c, alpha } = anglesOf(freqHz, q, sampleRateHz)
  return section([(1 + c) / 2, -(1 + c), (1 + c) / 2], [1 + alpha, -2 * c, 1 - alpha])
}

export function allPass(freqHz: number, q: number, sampleRateHz: number): Section {
  const { c, alpha } = anglesOf(freqHz, q, sampleRateHz)
  return section([1 - alpha, -2 * c, 1 + alpha], [1 + alpha, -2 * c, 1 - alpha])
}

export function peaking(freqHz: number, gainDb: number, q: number, sampleRateHz: number): Section {
  const { c, alpha } = anglesOf(freqHz, q, sampleRateHz)
  const root = 10 ** (gainDb / 40)
  return section([1 + alpha * root, -2 * c, 1 - alpha * root], [1 + alpha / root, -2 * c, 1 - alpha / root])
}

/** Shelf of slope 1; the low one lifts what lies under freqHz, the high one what lies over it. */
export function shelf(kind: 'low' | 'high', freqHz: number, gainDb: number, sampleRateHz: number): Section {
  const { c, alpha } = anglesOf(freqHz, Math.SQRT1_2, sampleRateHz)
  const root = 10 ** (gainDb / 40)
  const bend = 2 * Math.sqrt(root) * alpha
  // The high shelf is the low one with the sign of every cosine turned.
  const s = kind === 'low' ? 1 : -1
  return section(
    [
      root * (root + 1 - s * (root - 1) * c + bend),
      s * 2 * root * (root - 1 - s * (root + 1) * c),
      root * (root + 1 - s * (root - 1) * c - bend),
    ],
    [
      root + 1 + s * (root - 1) * c + bend,
      -s * 2 * (root - 1 + s * (root + 1) * c),
      root + 1 + s * (root - 1) * c - bend,
    ],
  )
}

const PASSES = { low: lowPass, high: highPass } as const

/** Butterworth of even order, -3 dB at freqHz: Q of section k is 1 / (2 cos((2k + 1) pi / (2 order))). */
export const butterworth = (kind: 'low' | 'high', order: 2 | 4, freqHz: number, sampleRateHz: number): Filter =>
  Array.from({ length: order / 2 }, (_, k) =>
    PASSES[kind](freqHz, 1 / (2 * Math.cos(((2 * k + 1) * Math.PI) / (2 * order))), sampleRateHz),
  )

/** Linkwitz-Riley, -6 dB at freqHz: a Butterworth of half the order, twice. */
export const linkwitzRiley = (kind: 'low' | 'high', order: 2 | 4, freqHz: number, sampleRateHz: number): Filter =>
  order === 2
    ? [PASSES[kind](freqHz, 0.5, sampleRateHz)]
    : [PASSES[kind](freqHz, Math.SQRT1_2, sampleRateHz), PASSES[kind](freqHz, Math.SQRT1_2, sampleRateHz)]

/** The samples through a filter that starts at rest. */
export function filtered(samples: Float64Array, filter: Filter): Float64Array {
  let out = samples
  for (const { b, a } of filter) {
    const from = out
    out = new Float64Array(from.length)
    let [x1, x2, y1, y2] = [0, 0, 0, 0]
    for (let n = 0; n < from.length; n++) {
      const x = from[n]
      const y = b[0] * x + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2
      x2 = x1
      x1 = x
      y2 = y1
      // Decaying states would end as numbers too small to be fast.
      y1 = Math.abs(y) < 1e-30 ? 0 : y
      out[n] = y1
    }
  }
  return out
}

/** H(e^jw) of a filter at a frequency on its own clock. */
export function responseAt(filter: Filter, freqHz: number, sampleRateHz: number): { re: number; im: number } {
  const w = (2 * Math.PI * freqHz) / sampleRateHz
  const [c1, s1, c2, s2] = [Math.cos(w), -Math.sin(w), Math.cos(2 * w), -Math.sin(2 * w)]
  let [re, im] = [1, 0]
  for (const { b, a } of filter) {
    const [nr, ni] = [b[0] + b[1] * c1 + b[2] * c2, b[1] * s1 + b[2] * s2]
    const [dr, di] = [1 + a[0] * c1 + a[1] * c2, a[0] * s1 + a[1] * s2]
    const power = dr * dr + di * di
    const [qr, qi] = [(nr * dr + ni * di) / power, (ni * dr - nr * di) / power]
    ;[re, im] = [re * qr - im * qi, re * qi + im * qr]
  }
  return { re, im }
}

export function magnitudeDb(filter: Filter, freqHz: number, sampleRateHz: number): number {
  const { re, im } = responseAt(filter, freqHz, sampleRateHz)
  return 20 * Math.log10(Math.hypot(re, im))
}
