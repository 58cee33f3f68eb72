/**
 * Intermodulation of two tones: modulation (60 Hz and 7 kHz) and difference tones (19 and 20 kHz).
 *
 * Products are read each in a narrow band of its own, with the noise around it taken off. What folds back from above half the
 * sample rate falls elsewhere (8 to 12 kHz for 19 and 20 kHz at 48 kHz) and is not counted.
 */
import { project } from '../dsp/projection.js'
import { room } from '../dsp/room.js'
import { amplitudeOf, arithmeticSum, type LinePower, linePower, over, type Reading, sumOfLines } from './line-power.js'
import { flatWindow, noiseAround, squaredPeak } from './line-spectrum.js'
import { type NarrowBand, narrowBand } from './narrow-band.js'

export const MODULATION_METHOD = 'modulation distortion, 60 Hz and 7 kHz/1'
export const DIFFERENCE_METHOD = 'difference-frequency distortion, 19 and 20 kHz/1'

/** Two tones are carried when their balance is no further than this from that of the source, and both stand clear. */
const BALANCE_DB_MAX = 20
const CLEAR_FS = 1e-5
/** Complex samples a second of a narrow band: a quarter of it on each side is clean. */
const BAND_RATE_PER_S = 1600
/** From and to where noise is looked for beside a product. */
const NOISE_REACH_HZ = [36, 360] as const
/** Of the distance between products: nearer than this to one, its skirt may be above the noise (at 24 Hz it has -86 dB). */
const PRODUCT_SHARE = 0.4

export interface Tone {
  readonly freqHz: number
  readonly peakFs: number
}

export interface Intermodulation {
  /** Peaks of the two tones as they came out, lower frequency first (fraction of full scale). */
  readonly tonePeakFs: readonly [number, number]
  /** Products of second and third order as ratios, added arithmetically (IEC 60268-3). */
  readonly second: Reading
  readonly third: Reading
  /** Root-sum of all products, over the same reference. */
  readonly rms: Reading
}

/**
 * Modulation distortion: sidebands of the high tone at one and two times the low one, over the high tone.
 *
 * @param samples one channel while both tones are steady, 0.5 s or more
 * @param tones as played: the low and the high one
 * @returns second: d_m,2, third: d_m,3; rms: the form of SMPTE RP 120; null where the output does not carry both tones
 *
 * Source: SMPTE RP 120; IEC 60268-3 (arithmetic sums for each order). y = x + a2 x² + a3 x³ has sidebands a2 A1 A2 at
 * one and 3/4 a3 A1² A2 at two times the low tone.
 */
export function readModulation(
  samples: Float32Array,
  samplesPerS: number,
  tones: readonly [Tone, Tone],
): Intermodulation | null {
  const [low, high] = [tones[0].freqHz, tones[1].freqHz]
  const peaks = carried(samples, samplesPerS, tones)
  if (!peaks) return null
  const band = narrowBand(samples, high, samplesPerS, BAND_RATE_PER_S)
  // Beside every multiple of the low tone there may be a product, of whatever order.
  const isProduct = (hz: number): boolean =>
    Math.abs(hz - high - low * Math.round((hz - high) / low)) < PRODUCT_SHARE * low
  // One noise for all four: it lies on both sides of them, and between.
  const noise = noiseAround(band.spectrum, high, [low, NOISE_REACH_HZ[1]], isProduct, band.gainAt)
  const at = (times: number): LinePower => lineOf(band, high + times * low, noise)
  const [second, third] = [
    [at(-1), at(1)],
    [at(-2), at(2)],
  ]
  return ratios(peaks, second, third, peaks[1], noise)
}

/**
 * Difference-frequency distortion: f2 - f1, and 2 f1 - f2 with 2 f2 - f1, over the sum of both tones.
 *
 * @returns second: d_2, third: d_3; null where the output does not carry both tones
 *
 * Source: IEC 60268-3:2013, 14.12.8. y = x + a2 x² + a3 x³ with equal peaks A has a2 A² and twice 3/4 a3 A³.
 */
export function readDifferenceTones(
  samples: Float32Array,
  samplesPerS: number,
  tones: readonly [Tone, Tone],
): Intermodulation | null {
  const [first, other] = [tones[0].freqHz, tones[1].freqHz]
  const peaks = carried(samples, samplesPerS, tones)
  if (!peaks) return null
  const at = (freqHz: number): { line: LinePower; noise: { power: number } } => {
    const band = narrowBand(samples, freqHz, samplesPerS, BAND_RATE_PER_S)
    const noise = noiseAround(band.spectrum, freqHz, NOISE_REACH_HZ, () => false, band.gainAt)
    return { line: lineOf(band, freqHz, noise), noise }
  }
  const [difference, below, above] = [at(other - first), at(2 * first - other), at(2 * other - first)]
  return ratios(peaks, [difference.line], [below.line, above.line], peaks[0] + peaks[1], above.noise)
}

function ratios(
  tonePeakFs: readonly [number, number],
  second: readonly LinePower[],
  third: readonly LinePower[],
  reference: number,
  noise: { readonly power: number },
): Intermodulation {
  const referenceU = Math.sqrt(noise.power)
  return {
    tonePeakFs,
    second: over(arithmeticSum(second), reference, referenceU),
    third: over(arithmeticSum(third), reference, referenceU),
    rms: over(amplitudeOf(sumOfLines([...second, ...third])), reference, referenceU),
  }
}

const lineOf = (
  { spectrum, gainAt }: NarrowBand,
  freqHz: number,
  noise: { readonly power: number; readonly variance: number },
): LinePower => linePower(squaredPeak(spectrum, freqHz) / gainAt(freqHz) ** 2, noise.power, noise.variance)

/** Peaks of both tones, or null where one of them is missing or far weaker than the source has it. */
function carried(
  samples: Float32Array,
  samplesPerS: number,
  tones: readonly [Tone, Tone],
): readonly [number, number] | null {
  const { window, sum } = flatWindow(samples.length)
  const weighted = room('two tones', samples.length)
  for (let n = 0; n < samples.length; n++) weighted[n] = window[n] * samples[n]
  const [low, high] = tones.map(({ freqHz }) => {
    const { cosine, sine } = project(weighted, 0, samples.length, (2 * Math.PI * freqHz) / samplesPerS)
    return (2 * Math.hypot(cosine, sine)) / sum
  })
  if (Math.min(low, high) < CLEAR_FS) return null
  const balanceDb = 20 * Math.log10(low / tones[0].peakFs / (high / tones[1].peakFs))
  return Math.abs(balanceDb) <= BALANCE_DB_MAX ? [low, high] : null
}
