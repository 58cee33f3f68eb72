/**
 * Reads one steady tone: its level, harmonics and everything else.
 *
 * A window with side lobes below -144 dB stands in for whole periods, which two clocks don't give. Harmonics are those
 * of orders 2 to 20 below 20 kHz; "the rest" is 20 Hz to 20 kHz without the fundamental's own lobe.
 */
import { realSpectrum, sizeFor } from '../dsp/fft.js'
import { project } from '../dsp/projection.js'
import { room } from '../dsp/room.js'
import { HFT144D } from '../dsp/tables/heinzel-ruediger-schilling-2002.js'
import { cosineWindow } from '../dsp/windows.js'
import type { ToneReading } from './analysis.js'

const BAND_HZ = [20, 20_000] as const
const HARMONIC_ORDER_MAX = 20
/** What counts as nothing, so that digital silence gives 0 and no division by it. */
const SILENT_FS = 1e-15
/** Half width of the window's main lobe in bins of the unpadded length (Heinzel, Rüdiger, Schilling 2002: first null at 7). */
const LOBE_BINS = 7.5

let kept: { window: Float64Array; sum: number; power: number } | null = null

/** The window of a length with its sums; the last one is kept, for tones of one take are alike in length. */
function windowOf(count: number): { window: Float64Array; sum: number; power: number } {
  if (kept?.window.length !== count) {
    const window = cosineWindow(HFT144D, count)
    let [sum, power] = [0, 0]
    for (let n = 0; n < count; n++) {
      sum += window[n]
      power += window[n] * window[n]
    }
    kept = { window, sum, power }
  }
  return kept
}

/**
 * @param samples one channel while the tone is steady
 * @param freqHz the tone's frequency on the player's clock; samplesPerS is the capture's rate on that clock
 * @param linesHz lines that are there without the tone; a harmonic that falls on one is not counted as distortion
 *
 * Definitions: THD here is the rms sum of harmonics over the fundamental (the form of data sheets); THD+N is
 * AES17-2015 6.3.1 over the total, with bins removed in place of a notch.
 */
export function readTone(
  samples: Float32Array,
  freqHz: number,
  samplesPerS: number,
  linesHz: readonly number[] = [],
): ToneReading {
  const count = samples.length
  const { window, sum: windowSum, power: windowPower } = windowOf(count)
  const size = sizeFor(count)
  const weighted = room('tone samples', size)
  let mean = 0
  for (let n = 0; n < count; n++) mean += samples[n] / count
  for (let n = 0; n < count; n++) weighted[n] = window[n] * (samples[n] - mean)
  weighted.fill(0, count)
  const spectrum = realSpectrum(weighted, size, room('tone spectrum', size + 2))
  const binHz = samplesPerS / size
  const lobeHz = (LOBE_BINS * samplesPerS) / count
  const power = (bin: number): number => spectrum[2 * bin] ** 2 + spectrum[2 * bin + 1] ** 2

  const peakAt = (hz: number): number => (2 * Math.sqrt(power(Math.round(hz / binHz)))) / windowSum
  // The fundamental at its very frequency; the nearest bin would be off by the window's flatness, 0.002 dB.
  const { cosine, sine } = project(weighted, 0, count, (2 * Math.PI * freqHz) / samplesPerS)
  const peakFs = (2 * Math.hypot(cosine, sine)) / windowSum
  const harmonicsFs: number[] = []
  const topHz = Math.min(BAND_HZ[1], 0.49 * samplesPerS)
  for (let order = 2; order <= HARMONIC_ORDER_MAX && order * freqHz <= topHz; order++) {
    const hz = order * freqHz
    harmonicsFs.push(linesHz.some((lineHz) => Math.abs(lineHz - hz) < lobeHz) ? 0 : peakAt(hz))
  }

  // Mean square of the rest, and the noise between the harmonics for what THD could at least have read.
  let rest = 0
  const between: number[] = []
  for (let bin = Math.ceil(BAND_HZ[0] / binHz); bin <= topHz / binHz; bin++) {
    const hz = bin * binHz
    const value = power(bin)
    if (Math.abs(hz - freqHz) > lobeHz) rest += value
    const toHarmonicHz = Math.abs(hz - freqHz * Math.round(hz / freqHz))
    if (toHarmonicHz > lobeHz && toHarmonicHz < 6 * lobeHz && hz > 1.5 * freqHz && bin % 4 === 0) between.push(value)
  }
  const toMeanSquare = 2 / (size * windowPower)
  const toneMeanSquare = 0.5 * peakFs * peakFs
  const restMeanSquare = rest * toMeanSquare
  between.sort((a, b) => a - b)
  // The median of a chi-squared value with two degrees of freedom is ln 2 of its mean.
  const noisePower = between.length > 0 ? between[Math.floor(between.length / 2)] / Math.LN2 : 0
  const noisePeakFs = (2 * Math.sqrt(noisePower)) / windowSum
  return {
    freqHz,
    peakFs,
    harmonicsFs,
    thdRatio: Math.hypot(...harmonicsFs) / Math.max(peakFs, SILENT_FS),
    thdRatioFloor: (noisePeakFs * Math.sqrt(harmonicsFs.length)) / Math.max(peakFs, SILENT_FS),
    thdNRatio: Math.sqrt(restMeanSquare / Math.max(toneMeanSquare + restMeanSquare, SILENT_FS ** 2)),
  }
}
