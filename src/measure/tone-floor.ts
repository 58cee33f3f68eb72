/**
 * What lies under a steady tone: its noise in third-octave bands as lines don't move it, all the rest, and whether the
 * noise rides on the tone.
 *
 * Powers are fractions of a full-scale sine's. The tone is taken off by its least-squares fit before anything is windowed,
 * so that what lies next to it can be seen.
 */
import { thirdOctaveBands } from '../dsp/bands.js'
import { complexSpectrum, realSpectrum } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { BLACKMAN_HARRIS_4 } from '../dsp/tables/harris-1978.js'
import { cosineWindow, figuresOfMerit } from '../dsp/windows.js'
import { medianOverMean, withoutTone } from './noise-spectrum.js'

/** Below, the bins are too few to tell lines from noise. */
export const FLOOR_BANDS = thirdOctaveBands(200, 16_000)
const BAND_HZ = [20, 20_000] as const
/** Two blocks, and in each band as many bins, evenly spaced: more would cost more than they tell. */
const BLOCKS = 2
const BINS_MAX = 72
/** Half width of the window's main lobe, and a bin for what moves. */
const LOBE = 5
const HARMONIC_ORDER_MAX = 20
/** Bandwidth (Hz) in which the harmonics of a tone of 1.7 s are read, at most. */
const READ_HZ = 3

export interface ToneFloor {
  readonly freqHz: number
  readonly tonePeakFs: number
  /** Noise in each of FLOOR_BANDS. */
  readonly bandPower: readonly number[]
  /** All from 20 Hz to 20 kHz but the tone and its harmonics. */
  readonly restPower: number
  /** What noise and other lines beside the harmonics put on them, over the tone (amplitudes). */
  readonly onHarmonicsRatio: number
}

let kept: { readonly window: Float64Array; readonly enbwBins: number } | null = null

function windowOf(size: number): { readonly window: Float64Array; readonly enbwBins: number } {
  if (kept?.window.length !== size) {
    const window = cosineWindow(BLACKMAN_HARRIS_4, size)
    kept = { window, enbwBins: figuresOfMerit(window).enbwBins }
  }
  return kept
}

const blockSize = (samplesPerS: number): number => 2 ** Math.round(Math.log2(0.34 * samplesPerS))

/** Blocks of the stretch without the tone; each is to be used before the next one is asked for. */
function* blocksOf(samples: Float32Array, freqHz: number, samplesPerS: number) {
  const size = blockSize(samplesPerS)
  if (samples.length < size) throw new RangeError(`readToneFloor: ${samples.length} samples, want ${size} or more`)
  for (let i = 0; i < BLOCKS; i++) {
    const from = Math.floor((i * (samples.length - size)) / (BLOCKS - 1))
    yield withoutTone(samples.subarray(from, from + size), freqHz, samplesPerS)
  }
}

/**
 * @param samples one channel while the tone is steady, 0.4 s or more
 * @param freqHz the tone's frequency on the player's clock; samplesPerS is the capture's rate on that clock
 * @throws RangeError when the stretch is shorter than a block of about 0.34 s
 */
export function readToneFloor(samples: Float32Array, freqHz: number, samplesPerS: number): ToneFloor {
  const size = blockSize(samplesPerS)
  const { window, enbwBins } = windowOf(size)
  const power = room('floor power', size / 2 + 1).fill(0)
  const block = room('floor samples', size)
  let tonePeakFs = 0
  for (const { rest, peakFs } of blocksOf(samples, freqHz, samplesPerS)) {
    tonePeakFs += peakFs / BLOCKS
    for (let n = 0; n < size; n++) block[n] = window[n] * rest[n]
    const spectrum = realSpectrum(block, size, room('floor spectrum', size + 2))
    for (let bin = 0; bin <= size / 2; bin++) {
      const re = spectrum[2 * bin]
      const im = spectrum[2 * bin + 1]
      power[bin] += re * re + im * im
    }
  }
  // One-sided mean square over a full-scale sine's (see noise-spectrum.ts); sum w^2 = N a_0^2 × noise bandwidth.
  const scale = 4 / (BLOCKS * size * size * BLACKMAN_HARRIS_4[0] ** 2 * enbwBins)
  const binHz = samplesPerS / size
  for (let bin = 0; bin <= size / 2; bin++) power[bin] *= scale
  return {
    freqHz,
    tonePeakFs,
    bandPower: FLOOR_BANDS.map((band) => noiseIn(power, binHz, band)),
    ...besideHarmonics(power, binHz, freqHz, tonePeakFs),
  }
}

/** The middle one of the bins of a band, made the power of the band. */
function noiseIn(power: Float64Array, binHz: number, { lowHz, highHz }: (typeof FLOOR_BANDS)[number]): number {
  const [first, last] = [Math.ceil(lowHz / binHz), Math.min(power.length - 1, Math.floor(highHz / binHz))]
  const step = Math.max(1, Math.floor((last - first + 1) / BINS_MAX))
  const values = new Float64Array(Math.max(0, Math.floor((last - first) / step) + 1))
  for (let i = 0; i < values.length; i++) values[i] = power[first + i * step]
  values.sort()
  return ((values[values.length >> 1] ?? 0) * (highHz - lowHz)) / binHz / medianOverMean(BLOCKS)
}

function besideHarmonics(
  power: Float64Array,
  binHz: number,
  freqHz: number,
  tonePeakFs: number,
): Pick<ToneFloor, 'restPower' | 'onHarmonicsRatio'> {
  const last = Math.min(power.length - 1, Math.floor(BAND_HZ[1] / binHz))
  const place = freqHz / binHz
  const [sums, counts] = [new Float64Array(HARMONIC_ORDER_MAX + 1), new Float64Array(HARMONIC_ORDER_MAX + 1)]
  let restPower = 0
  for (let bin = Math.ceil(BAND_HZ[0] / binHz); bin <= last; bin++) {
    const order = Math.round(bin / place)
    if (order > 0 && Math.abs(bin - order * place) <= LOBE) continue
    restPower += power[bin]
    if (order < 1 || order > HARMONIC_ORDER_MAX) continue
    sums[order] += power[bin]
    counts[order]++
  }
  let onHarmonics = 0
  for (let order = 2; order <= HARMONIC_ORDER_MAX && order * freqHz < BAND_HZ[1]; order++) {
    if (counts[order] > 0) onHarmonics += (sums[order] / counts[order]) * (READ_HZ / binHz)
  }
  return { restPower, onHarmonicsRatio: Math.sqrt(onHarmonics) / Math.max(tonePeakFs, Number.MIN_VALUE) }
}

/**
 * Whether the noise about a tone rides on it, as gain that flutters and a clock that jitters make it: the two sidebands then
 * mirror each other, while noise that is added knows nothing of the tone.
 *
 * @returns 1 where all of it mirrors, about 0.15 where none does
 *
 * Closed form: cos(w t) (1 + m(t)) has sidebands M(d) and conj M(d) about the carrier, a phase that moves j M(d) and
 * j conj M(d); the sum of their phases is the same at every distance d.
 */
export function mirrorOf(samples: Float32Array, freqHz: number, samplesPerS: number): number {
  const size = blockSize(samplesPerS)
  const { window } = windowOf(size)
  const binHz = samplesPerS / size
  // As far as a third of an octave reaches downwards, past the lobe that the tone's own removal leaves a hole in.
  const [first, last] = [LOBE, Math.floor((0.2 * freqHz) / binHz)]
  const stepRad = (2 * Math.PI * freqHz) / samplesPerS
  const baseband = new Float64Array(2 * size)
  let [aligned, count] = [0, 0]
  for (const { rest } of blocksOf(samples, freqHz, samplesPerS)) {
    for (let n = 0; n < size; n++) {
      baseband[2 * n] = window[n] * rest[n] * Math.cos(stepRad * n)
      baseband[2 * n + 1] = -window[n] * rest[n] * Math.sin(stepRad * n)
    }
    const spectrum = complexSpectrum(baseband, room('mirror spectrum', 2 * size))
    let [sumRe, sumIm] = [0, 0]
    for (let k = first; k <= last; k++) {
      const [a, b] = [spectrum[2 * k], spectrum[2 * k + 1]]
      const [c, d] = [spectrum[2 * (size - k)], spectrum[2 * (size - k) + 1]]
      const length = Math.hypot(a, b) * Math.hypot(c, d)
      if (!(length > 0)) continue
      sumRe += (a * c - b * d) / length
      sumIm += (a * d + b * c) / length
      count++
    }
    // The phase of the tone differs from block to block, and with it that of the sum: lengths add, not phases.
    aligned += Math.hypot(sumRe, sumIm)
  }
  return count > 0 ? aligned / count : 0
}
