/**
 * Peaking and shelving sections as the Audio EQ Cookbook defines them: response, slopes and coefficients in closed form.
 *
 * Every cookbook section is an analog prototype under the bilinear transform, prewarped at its frequency. So its magnitude
 * needs no complex numbers: it is a ratio of two quadratics in u = (tan(pi f / fs) / tan(pi f0 / fs))².
 *
 * Source: R. Bristow-Johnson, Audio EQ Cookbook (W3C Group Note, 8 June 2021). A = 10^(gainDb / 40).
 */

export type SectionKind = 'peaking' | 'low_shelf' | 'high_shelf'

export interface EqSection {
  readonly kind: SectionKind
  readonly gainDb: number
  readonly freqHz: number
  readonly q: number
}

/** H(z) = (b0 + b1 z^-1 + b2 z^-2) / (1 + a1 z^-1 + a2 z^-2). */
export interface BiquadCoefficients {
  readonly b: readonly [number, number, number]
  readonly a: readonly [1, number, number]
}

const DB_FROM_LN_POWER = 10 / Math.LN10
const LN_A_FROM_DB = Math.LN10 / 40

/** Squared tangents of half the angle at each frequency: all that a section must know of the frequency axis. */
export const warpedSquares = (freqHz: Float64Array, sampleRateHz: number): Float64Array =>
  freqHz.map((hz) => Math.tan((Math.PI * hz) / sampleRateHz) ** 2)

/**
 * Magnitude of a section in dB.
 * @throws RangeError where a frequency is not between 0 and half the sample rate, or Q not above 0
 */
export function sectionDb(section: EqSection, freqHz: number, sampleRateHz: number): number {
  if (!(freqHz >= 0 && freqHz < sampleRateHz / 2)) {
    throw new RangeError(`sectionDb: ${freqHz} Hz, want 0 to below ${sampleRateHz / 2} Hz`)
  }
  const power = Float64Array.of(1)
  multiplySection(section, warpedSquares(Float64Array.of(freqHz), sampleRateHz), sampleRateHz, power)
  return 10 * Math.log10(power[0])
}

/** Where a section's slopes go: dB for a dB of gain, dB for a unit of ln f0, dB for a unit of ln Q. */
export interface SectionSlopes {
  readonly perGainDb: Float64Array
  readonly perLnFreq: Float64Array
  readonly perLnQ: Float64Array
}

/**
 * Multiplies powers on an axis by the square of a section's magnitude, and writes its slopes where they are asked for.
 *
 * @param warped `warpedSquares` of the axis at the same sample rate
 * @throws RangeError when the section's frequency is not between 0 and half the sample rate, or its Q not above 0
 */
export function multiplySection(
  section: EqSection,
  warped: Float64Array,
  sampleRateHz: number,
  power: Float64Array,
  slopes: SectionSlopes | null = null,
): void {
  checkSection(section.freqHz, section.q, sampleRateHz)
  if (section.kind === 'peaking') multiplyPeaking(section, warped, sampleRateHz, power, slopes)
  else multiplyShelf(section, warped, sampleRateHz, power, slopes)
}

/** u over the warped square, and d ln u / d ln f0. */
function scaleOf(freqHz: number, sampleRateHz: number): { perSquare: number; bend: number } {
  const w = (2 * Math.PI * freqHz) / sampleRateHz
  return { perSquare: 1 / Math.tan(w / 2) ** 2, bend: (-2 * w) / Math.sin(w) }
}

/** |H|² = ((1 - u)² + u A² / Q²) / ((1 - u)² + u / (A² Q²)). */
function multiplyPeaking(
  { gainDb, freqHz, q }: EqSection,
  warped: Float64Array,
  sampleRateHz: number,
  power: Float64Array,
  slopes: SectionSlopes | null,
): void {
  const { perSquare, bend } = scaleOf(freqHz, sampleRateHz)
  const A = 10 ** (gainDb / 40)
  const [up, down] = [(A / q) ** 2, 1 / (A * q) ** 2]
  for (let i = 0; i < warped.length; i++) {
    const u = warped[i] * perSquare
    const open = 1 - u
    const over = open * open + up * u
    const under = open * open + down * u
    power[i] *= over / under
    if (!slopes) continue
    const a = (DB_FROM_LN_POWER * u) / over
    const b = (DB_FROM_LN_POWER * u) / under
    slopes.perGainDb[i] = LN_A_FROM_DB * 2 * (up * a + down * b)
    slopes.perLnFreq[i] = bend * (a * (up - 2 * open) - b * (down - 2 * open))
    slopes.perLnQ[i] = 2 * (down * b - up * a)
  }
}

/**
 * Low shelf: |H|² = A² ((A - u)² + u A / Q²) / ((1 - A u)² + u A / Q²). A high shelf has the zeros and poles of a low one of
 * the opposite gain, and its whole level is moved by its gain.
 */
function multiplyShelf(
  { kind, gainDb, freqHz, q }: EqSection,
  warped: Float64Array,
  sampleRateHz: number,
  power: Float64Array,
  slopes: SectionSlopes | null,
): void {
  const { perSquare, bend } = scaleOf(freqHz, sampleRateHz)
  const isLow = kind === 'low_shelf'
  const A = 10 ** ((isLow ? gainDb : -gainDb) / 40)
  const lift = isLow ? A * A : 1 / (A * A)
  const damping = A / (q * q)
  const perLnA = isLow ? LN_A_FROM_DB : -LN_A_FROM_DB
  for (let i = 0; i < warped.length; i++) {
    const u = warped[i] * perSquare
    const wide = A - u
    const narrow = 1 - A * u
    const over = wide * wide + damping * u
    const under = narrow * narrow + damping * u
    power[i] *= (lift * over) / under
    if (!slopes) continue
    const a = DB_FROM_LN_POWER / over
    const b = DB_FROM_LN_POWER / under
    const byLnA = a * (2 * A * wide + damping * u) - b * (damping * u - 2 * A * u * narrow)
    slopes.perGainDb[i] = perLnA * byLnA + 0.5
    slopes.perLnFreq[i] = bend * u * (a * (damping - 2 * wide) - b * (damping - 2 * A * narrow))
    slopes.perLnQ[i] = 2 * damping * u * (b - a)
  }
}

/** The section that undoes another exactly: its zeros on the other's poles. */
export const undoing = ({ kind, gainDb, freqHz, q }: EqSection): EqSection => ({ kind, gainDb: -gainDb, freqHz, q })

/**
 * Coefficients of a section at a sample rate, as the cookbook writes them, a0 divided out.
 * @throws RangeError when its frequency is not between 0 and half the sample rate, or its Q not above 0
 */
export function sectionCoefficients({ kind, gainDb, freqHz, q }: EqSection, sampleRateHz: number): BiquadCoefficients {
  checkSection(freqHz, q, sampleRateHz)
  const w = (2 * Math.PI * freqHz) / sampleRateHz
  const [cos, alpha] = [Math.cos(w), Math.sin(w) / (2 * q)]
  const A = 10 ** (gainDb / 40)
  if (kind === 'peaking') {
    return normalised([1 + alpha * A, -2 * cos, 1 - alpha * A], [1 + alpha / A, -2 * cos, 1 - alpha / A])
  }
  const root = 2 * Math.sqrt(A) * alpha
  // The high shelf is the low one with the sign of every cosine, and of the middle terms, turned.
  const s = kind === 'low_shelf' ? 1 : -1
  const [sum, difference] = [A + 1, (A - 1) * s * cos]
  return normalised(
    [A * (sum - difference + root), 2 * A * (s * (A - 1) - sum * cos), A * (sum - difference - root)],
    [sum + difference + root, -2 * (s * (A - 1) + sum * cos), sum + difference - root],
  )
}

function normalised(
  [b0, b1, b2]: readonly [number, number, number],
  [a0, a1, a2]: readonly [number, number, number],
): BiquadCoefficients {
  return { b: [b0 / a0, b1 / a0, b2 / a0], a: [1, a1 / a0, a2 / a0] }
}

function checkSection(freqHz: number, q: number, sampleRateHz: number): void {
  if (!(freqHz > 0 && freqHz < sampleRateHz / 2)) {
    throw new RangeError(`section at ${freqHz} Hz, want above 0 and below ${sampleRateHz / 2} Hz`)
  }
  if (!(q > 0)) throw new RangeError(`section with Q ${q}, want above 0`)
}
