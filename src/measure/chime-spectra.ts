/**
 * Short spectra of inputs that are listened to, the noise in them before anything sounds, and what stands out of it.
 *
 * A bin of a short spectrum over its own learned mean follows an F distribution, so the threshold is a closed form of the rate
 * of false alarms. Hum and whistles are in the learned mean: they stand out of nothing.
 */
import { realSpectrum } from '../dsp/fft.js'
import { room } from '../dsp/room.js'
import { HANN } from '../dsp/tables/harris-1978.js'
import { cosineWindow } from '../dsp/windows.js'

/** Chimes of vehicles lie in it with their fundamental and what makes them bright. */
const BAND_HZ = [150, 12_000] as const
const SIZE_S = 0.043
/** Nothing that a converter of 24 bits gives is below this part of a full-scale sine's power, in one bin. */
const QUIETEST = 1e-18
/** Half-overlapped Hann windows of white noise: neighbours' powers correlate by (1/6)^2 (P. D. Welch, 1967). */
const NEIGHBOURS = 1 + 2 / 36

export interface ChimeSpectra {
  /** Power (full-scale sine: 1 over its bins) of bin b in window t at t × binCount + b; bin 0 is the band's first. */
  readonly power: Float32Array
  readonly windowCount: number
  readonly binCount: number
  readonly firstBin: number
  readonly binHz: number
  readonly hopS: number
  readonly sizeS: number
}

export function chimeSpectra(samples: Float32Array, sampleRateHz: number): ChimeSpectra {
  const size = 2 ** Math.round(Math.log2(SIZE_S * sampleRateHz))
  const hop = size / 2
  const windowCount = Math.max(0, Math.floor((samples.length - size) / hop) + 1)
  const binHz = sampleRateHz / size
  const firstBin = Math.ceil(BAND_HZ[0] / binHz)
  const binCount = Math.floor(Math.min(BAND_HZ[1], 0.45 * sampleRateHz) / binHz) - firstBin + 1
  const window = cosineWindow(HANN, size)
  const power = new Float32Array(windowCount * binCount)
  const block = room('chime samples', size)
  // The mean square of a Hann window is 3/8.
  const scale = 4 / (size * 0.375 * size)
  for (let t = 0; t < windowCount; t++) {
    for (let n = 0; n < size; n++) block[n] = window[n] * samples[t * hop + n]
    const spectrum = realSpectrum(block, size, room('chime spectrum', size + 2))
    for (let b = 0; b < binCount; b++) {
      const at = 2 * (firstBin + b)
      power[t * binCount + b] = scale * (spectrum[at] ** 2 + spectrum[at + 1] ** 2)
    }
  }
  return { power, windowCount, binCount, firstBin, binHz, hopS: hop / sampleRateHz, sizeS: size / sampleRateHz }
}

export interface ChimeNoise {
  /** Mean power of each bin of the band. */
  readonly mean: Float64Array
  /** Independent windows that each mean is made of. */
  readonly worth: number
}

/**
 * @param noiseS length of the beginning in which nothing sounds yet
 * @throws RangeError when it is shorter than eight windows
 */
export function learnNoise(spectra: ChimeSpectra, noiseS: number): ChimeNoise {
  const { power, binCount, hopS, sizeS } = spectra
  const count = Math.min(spectra.windowCount, Math.floor((noiseS - sizeS) / hopS) + 1)
  if (count < 8) throw new RangeError(`learnNoise: ${noiseS} s hold ${count} windows, want 8 or more`)
  const mean = new Float64Array(binCount)
  for (let t = 0; t < count; t++) for (let b = 0; b < binCount; b++) mean[b] += power[t * binCount + b] / count
  for (let b = 0; b < binCount; b++) mean[b] = Math.max(mean[b], QUIETEST)
  return { mean, worth: count / NEIGHBOURS }
}

/**
 * How many times its learned mean a bin has to be so that noise alone does it in one of cellCount bins with a probability of
 * falseAlarm at most.
 *
 * Source: white noise has exponential powers; one over a mean of K such is F(2, 2K), P(ratio > x) = (1 + x / K)^-K; all cells
 * together by Boole's inequality.
 */
export const thresholdOf = (worth: number, cellCount: number, falseAlarm: number): number =>
  worth * ((cellCount / falseAlarm) ** (1 / worth) - 1)

/** Windows in which some bin stands out. */
export function standingOut(spectra: ChimeSpectra, { mean }: ChimeNoise, threshold: number): boolean[] {
  const { power, windowCount, binCount } = spectra
  return Array.from({ length: windowCount }, (_, t) => {
    for (let b = 0; b < binCount; b++) if (power[t * binCount + b] > threshold * mean[b]) return true
    return false
  })
}
