/**
 * How much of an output's energy no time-invariant response explains, from the same chirp heard twice, half a minute apart.
 *
 * Whatever a response does to a chirp, echoes, all-passes, clipping, it does the same way the second time. What differs is noise,
 * whose share is known, and processing that changes with time. A level that has changed, as an automatic gain leaves it,
 * is allowed for: in each third of an octave the second chirp may be stronger or weaker than the first.
 */
import { inverseReal, realSpectrum } from '../dsp/fft.js'
import type { Lateness, MarkerPair } from './marker-pair.js'

/** The chirp's first 20 ms lie below; an output may open its mute in them. */
export const FROM_HZ = 45
const BANDS_PER_OCTAVE = 3
/** A delay between both chirps that is no more than this is the clocks' and not the output's. */
const CLOCK_SAMPLES = 0.5

export interface Incoherence {
  /** Energy that differs, of one chirp, over all energy of one chirp; 0 to about 1, below 0 by noise alone. */
  readonly ratio: number
  /** Standard uncertainty of it: noise, and the number of independent parts of the spectrum. */
  readonly ratioU: number
}

/**
 * @param late the delay between both, as far as it is known
 * @param movedSamples by how many samples of the take everything moved between them, by a jump
 */
export const markerIncoherence = (pair: MarkerPair, late: Lateness | null, movedSamples: number): Incoherence => {
  const rest = late ? late.samples - movedSamples : 0
  // More than the clocks can do would be the output's own changing delay: it stays in.
  const samples = movedSamples + (Math.abs(rest) < CLOCK_SAMPLES ? rest : 0)
  return incoherenceOf(pair.opening, pair.closing, pair, samples, 1)
}

/** The response's part of a chirp: from a little before it, and where its harmonics no longer lie. */
const PART_S: Part = { fromS: -0.012, toS: 0.05 }
/** Where the harmonics of the chirp lie: orders 2 to 30, at 0.0434 s times ln n before it. */
export const HARMONICS_S: Part = { fromS: -0.15, toS: -0.012 }
const FADE_S = 0.004

/** Lags against the response's own delay. */
interface Part {
  readonly fromS: number
  readonly toS: number
}

/**
 * A chirp's spectrum without what lies elsewhere than near its own response: harmonics, which come before it, and what folding
 * and noise spread everywhere. Sidebands of a modulation lie close to it.
 * @param played the chirp as a wire of gain 1 would give it
 * @param delaySamples of the response
 */
export function responsePart(
  spectrum: Float64Array,
  played: Float64Array,
  delaySamples: number,
  samplesPerS: number,
  part: Part = PART_S,
): Float64Array {
  const size = spectrum.length - 2
  const out = new Float64Array(size + 2)
  const first = Math.ceil((FROM_HZ / 2) * (size / samplesPerS))
  for (let k = first; k < size / 2; k++) {
    const [a, b, c, d] = [spectrum[2 * k], spectrum[2 * k + 1], played[2 * k], played[2 * k + 1]]
    // Where nothing was played nothing is divided; the edges soften the ends of the band.
    const power = Math.max(c * c + d * d, 1e-12)
    const gain = Math.min(1, (k - first) / first)
    out[2 * k] = (gain * (a * c + b * d)) / power
    out[2 * k + 1] = (gain * (b * c - a * d)) / power
  }
  const response = inverseReal(out, size)
  const [from, to, fade] = [part.fromS, part.toS, FADE_S].map((s) => s * samplesPerS)
  for (let n = 0; n < size; n++) {
    const lag = ((n - delaySamples + size / 2 + size) % size) - size / 2
    const edge = Math.min((lag - from) / fade, (to - lag) / fade, 1)
    response[n] *= edge <= 0 ? 0 : 0.5 - 0.5 * Math.cos(Math.PI * edge)
  }
  const cut = realSpectrum(response, size)
  for (let k = 0; k <= size / 2; k++) {
    const [a, b, c, d] = [cut[2 * k], cut[2 * k + 1], played[2 * k], played[2 * k + 1]]
    cut[2 * k] = a * c - b * d
    cut[2 * k + 1] = a * d + b * c
  }
  return cut
}

/** Share of noise that `responsePart` leaves. */
export const partOfNoise = ({ size, samplesPerS }: Pick<MarkerPair, 'size' | 'samplesPerS'>): number =>
  ((PART_S.toS - PART_S.fromS - FADE_S) * samplesPerS) / size

/**
 * @param one, two spectra of the same signal
 * @param samples by which the second is later
 * @param noisyCount how many of them carry noise beside the first: 1, or 0 where the second is computed
 */
export function incoherenceOf(
  one: Float64Array,
  two: Float64Array,
  { size, samplesPerS, noisePower }: Pick<MarkerPair, 'size' | 'samplesPerS' | 'noisePower'>,
  samples: number,
  noisyCount: 0 | 1,
): Incoherence {
  const binHz = samplesPerS / size
  const topHz = Math.min(20_000, 0.45 * samplesPerS)
  const [stepRe, stepIm] = [Math.cos((2 * Math.PI * samples) / size), Math.sin((2 * Math.PI * samples) / size)]
  let [differing, noise, total, squares, count] = [0, 0, 0, 0, 0]
  for (let lowHz = FROM_HZ; lowHz < topHz; lowHz *= 2 ** (1 / BANDS_PER_OCTAVE)) {
    const first = Math.ceil(lowHz / binHz)
    const last = Math.min(size / 2 - 1, Math.ceil(Math.min(topHz, lowHz * 2 ** (1 / BANDS_PER_OCTAVE)) / binHz) - 1)
    let [cross, ones, twos] = [0, 0, 0]
    let [c, s] = [Math.cos((2 * Math.PI * samples * first) / size), Math.sin((2 * Math.PI * samples * first) / size)]
    for (let k = first; k <= last; k++) {
      const a = one[2 * k]
      const b = one[2 * k + 1]
      const p = two[2 * k]
      const q = two[2 * k + 1]
      cross += a * (p * c - q * s) + b * (q * c + p * s)
      ones += a * a + b * b
      twos += p * p + q * q
      const next = c * stepRe - s * stepIm
      s = s * stepRe + c * stepIm
      c = next
    }
    if (last < first || ones === 0) continue
    // Both are brought to the level of the first: what is left of |two - gain one|² / gain, by symmetry of both.
    const gain = Math.max(0, cross / ones)
    const band = Math.max(0, twos - gain * cross) / Math.max(1, gain * gain)
    const bins = last - first + 1
    const bandNoise = (bins * noisePower * (noisyCount + gain * gain)) / Math.max(1, gain * gain)
    differing += band
    noise += bandNoise
    total += ones
    squares += (band * band) / bins
    count += bins
  }
  const signal = Math.max(total - count * noisePower, 1e-30)
  const left = (differing - noise) / signal
  // With a share r that differs, and the best gain taken off, r (2 - r) is left over.
  const ratio = left < 0 ? left / 2 : 1 - Math.sqrt(1 - Math.min(1, left))
  return { ratio, ratioU: (0.5 * Math.sqrt(squares)) / signal + 1e-9 }
}
