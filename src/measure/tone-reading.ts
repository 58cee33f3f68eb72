/**
 * Reads one steady tone: its level, harmonics and everything else.
 *
 * Harmonics are those of orders 2 to 20 below 20 kHz, with the noise around each taken off its power; "the rest" is 20 Hz to
 * 20 kHz without the fundamental's own lobe.
 */
import type { ToneReading } from './analysis.js'
import { amplitudeOf, type LinePower, linePower, over, type Reading, SILENT_FS, sumOfLines } from './line-power.js'
import { type LineSpectrum, lineSpectrum, noiseAround, squaredPeak } from './line-spectrum.js'

export const THD_METHOD = 'thd over the fundamental, noise taken off/2'
export const THD_N_METHOD = 'thd+n over total, bins removed/2'
export const THD_N_NOTCH_METHOD = 'thd+n over total, standard notch of Q 2/1'

const BAND_HZ = [20, 20_000] as const
const HARMONIC_ORDER_MAX = 20
/** AES17-2015 5.2.8 allows a notch of Q 1.2 to 3. */
const NOTCH_Q = 2
/** Noise is looked for from the end of a line's lobe to this much further, in lobes. */
const NOISE_REACH = 5.5

/**
 * @param samples one channel while the tone is steady
 * @param freqHz the tone's frequency on the player's clock; samplesPerS is the capture's rate on that clock
 * @param linesHz lines that are there without the tone; a harmonic that falls on one is not counted as distortion
 *
 * Definitions: THD is the rms sum of harmonics over the fundamental (the form of data sheets), or over the total (IEC
 * 60268-3:2013 14.12.3.2): R = F / √(1 + F²). THD+N is AES17-2015 6.3.1 over the total: with bins removed, and as the
 * standard notch reads it, |H|² = x² / (x² + Q⁻²), x = (f0² - f²) / (f0 f), which takes off some of a low harmonic.
 */
export function readTone(
  samples: Float32Array,
  freqHz: number,
  samplesPerS: number,
  linesHz: readonly number[] = [],
): ToneReading {
  const spectrum = lineSpectrum(samples, samplesPerS)
  const { lobeHz } = spectrum
  const noiseReachHz = [lobeHz, NOISE_REACH * lobeHz] as const
  const isLine = (hz: number): boolean => linesHz.some((lineHz) => Math.abs(lineHz - hz) < lobeHz)
  const isAvoided = (hz: number): boolean =>
    Math.abs(hz - freqHz * Math.max(1, Math.round(hz / freqHz))) < lobeHz || isLine(hz)
  const read = (hz: number): LinePower => {
    const noise = noiseAround(spectrum, hz, noiseReachHz, isAvoided)
    return linePower(squaredPeak(spectrum, hz), noise.power, noise.variance)
  }

  const fundamental = read(freqHz)
  const peakFs = Math.sqrt(fundamental.power + fundamental.noise)
  const peakFsU = Math.sqrt(0.5 * fundamental.noise)
  const topHz = Math.min(BAND_HZ[1], 0.49 * samplesPerS)
  const harmonics: LinePower[] = []
  /** By order from 2 on: what stands where a line is there without the tone; 0 elsewhere. */
  const hidden: number[] = []
  for (let order = 2; order <= HARMONIC_ORDER_MAX && order * freqHz <= topHz; order++) {
    const isHidden = isLine(order * freqHz)
    harmonics.push(isHidden ? NO_LINE : read(order * freqHz))
    hidden.push(isHidden ? Math.sqrt(Math.max(0, read(order * freqHz).power)) : 0)
  }
  const seen = over(amplitudeOf(sumOfLines(harmonics)), peakFs, peakFsU)
  const thd = withHidden(seen, Math.hypot(...hidden) / Math.max(peakFs, SILENT_FS))
  const readings = harmonics.map((line, k) =>
    hidden[k] > 0 ? { value: hidden[k], u: 0, isAtMost: true } : amplitudeOf(line),
  )

  const rest = restOf(spectrum, freqHz, topHz, fundamental.noise, linesHz)
  const toneMeanSquare = 0.5 * peakFs * peakFs
  const overTotal = (meanSquare: number): number =>
    Math.sqrt(meanSquare / Math.max(toneMeanSquare + meanSquare, SILENT_FS ** 2))
  const thdNRatio = overTotal(rest.meanSquare)
  // Lines in noise scatter by 2 a² q of their squared peak; their mean square is half of that.
  // A line that the tone itself stands on is the tone.
  const besideHz = linesHz.filter((hz) => hz > BAND_HZ[0] && hz < topHz && Math.abs(hz - freqHz) > spectrum.lobeHz)
  const steady = [...harmonics, ...besideHz.map(read)]
  const lineVariance = steady.reduce((sum, { power, noise }) => sum + 0.5 * Math.max(0, power) * noise, 0)
  const restU = Math.sqrt(Math.max(0, rest.variance + lineVariance)) / Math.max(rest.meanSquare, SILENT_FS ** 2)
  return {
    freqHz,
    peakFs,
    peakFsU,
    harmonicsFs: readings.map(({ value }) => value),
    harmonicsU: readings.map(({ u }) => u),
    harmonicsAtMost: readings.map(({ isAtMost }) => isAtMost),
    thdRatio: thd.value,
    thdRatioU: thd.u,
    thdIsAtMost: thd.isAtMost,
    thdRRatio: thd.value / Math.hypot(1, thd.value),
    thdRatioFloor: Math.sqrt(harmonics.reduce((sum, { noise }) => sum + noise, 0)) / Math.max(peakFs, SILENT_FS),
    thdNRatio,
    thdNRatioU: 0.5 * restU * thdNRatio * (1 - thdNRatio * thdNRatio),
    thdNNotchRatio: overTotal(rest.notchedMeanSquare),
    sinadDb: -20 * Math.log10(Math.max(thdNRatio, SILENT_FS)),
  }
}

/** As much as the lines have may lie under them: a bound where they have more than is seen, else a wider interval (GUM 4.3.7). */
function withHidden(seen: Reading, hidden: number): Reading {
  const most = Math.hypot(seen.value, hidden)
  if (seen.isAtMost || hidden > seen.value) return { ...seen, value: most, isAtMost: true }
  return { ...seen, value: (seen.value + most) / 2, u: Math.hypot(seen.u, (most - seen.value) / Math.sqrt(12)) }
}

const NO_LINE: LinePower = { power: 0, noise: 0, fixedVariance: 0 }

/**
 * Mean square of everything but the fundamental's lobe, and the same through the notch; its variance as noise.
 * @param noise mean square that noise adds to the fundamental: under its lobe there is as much as around it
 * @param linesHz steady lines that are no harmonics: they belong to the rest, and do not scatter as noise does
 */
function restOf(
  spectrum: LineSpectrum,
  freqHz: number,
  topHz: number,
  noise: number,
  linesHz: readonly number[],
): { meanSquare: number; notchedMeanSquare: number; variance: number } {
  const { binHz, lobeHz, size, flat, toPeak } = spectrum
  const { bins } = spectrum
  const tone2 = freqHz * freqHz
  const width2 = tone2 / NOTCH_Q ** 2
  let power = 0
  let notched = 0
  let squares = 0
  let noiseBins = 0
  const add = (fromHz: number, toHz: number, noiseShare: number): void => {
    const last = Math.min(Math.ceil(toHz / binHz) - 1, Math.floor(topHz / binHz))
    const first = Math.ceil(Math.max(BAND_HZ[0], fromHz) / binHz)
    let here = 0
    let hereNotched = 0
    let hereSquares = 0
    for (let bin = first; bin <= last; bin++) {
      const re = bins[2 * bin]
      const im = bins[2 * bin + 1]
      const value = re * re + im * im
      const hz = bin * binHz
      const hz2 = hz * hz
      const away = (tone2 - hz2) * (tone2 - hz2)
      here += value
      hereNotched += (value * away) / (away + width2 * hz2)
      hereSquares += value * value
    }
    power += here
    notched += hereNotched
    squares += noiseShare * hereSquares
    noiseBins += noiseShare * Math.max(0, last - first + 1)
  }
  // Harmonics and lines are steady and add nothing to the scatter of noise.
  const orders = Array.from({ length: HARMONIC_ORDER_MAX }, (_, k) => (k + 1) * freqHz)
  const steadyHz = [...orders, ...linesHz.filter((hz) => Math.abs(hz - freqHz) > lobeHz)].sort((a, b) => a - b)
  let fromHz = 0
  for (const hz of steadyHz) {
    if (hz - lobeHz > topHz) break
    add(fromHz, hz - lobeHz, 1)
    // Lobes may overlap, and beside the fundamental nothing of its own lobe counts.
    const lobeFromHz = Math.max(fromHz, hz - lobeHz)
    fromHz = Math.max(fromHz, hz + lobeHz)
    if (hz === freqHz) continue
    const isBefore = hz < freqHz
    add(lobeFromHz, isBefore ? Math.min(fromHz, freqHz - lobeHz) : fromHz, 0)
  }
  add(fromHz, Number.POSITIVE_INFINITY, 1)
  power += (noise / toPeak ** 2) * ((2 * lobeHz) / binHz)
  const toMeanSquare = 2 / (size * flat.sumOfSquares)
  // Under the harmonics there is noise too.
  squares *= (topHz - BAND_HZ[0]) / Math.max(noiseBins * binHz, binHz)
  return {
    meanSquare: power * toMeanSquare,
    notchedMeanSquare: notched * toMeanSquare,
    // Parseval with a window: neighbouring bins are alike as far as the window's square reaches.
    variance: (0.5 * squares * toMeanSquare ** 2 * size * flat.sumOfFourths) / flat.sumOfSquares ** 2,
  }
}
