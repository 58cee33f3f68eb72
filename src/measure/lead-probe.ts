/**
 * What each input hears of the lead probe: the amplitude of every tone, and what noise beside it would look like.
 *
 * Where the probe stands in the capture is found from its tones on all inputs together, to a few hundredths of a second; tones
 * are read well inside. Clocks may differ by 600 ppm.
 */
import { realSpectrum, sizeFor } from '../dsp/fft.js'
import { windowPowers } from '../dsp/projection.js'
import { room } from '../dsp/room.js'
import { LEAD_PROBE, PROBE_TONES, type ProbeSide, sideStartS } from '../stimulus/lead-probe.js'
import type { Audio } from '../units/audio.js'
import { frameCountOf } from '../units/audio.js'

export const LEAD_PROBE_METHOD = 'lead probe, Hann spectra of both sides/1'

/** One input, in the order of PROBE_TONES; peak amplitudes as fractions of full scale. */
export interface LeadReading {
  /** With the noise taken off in power; 0 where there is no more than noise. */
  readonly peakFs: readonly number[]
  /** Rms of what noise beside a tone reads as in its place. */
  readonly noiseFs: readonly number[]
}

const CLOCK_OFFSET_MAX = 600e-6
/** Searching goes in such steps; tones are left alone so near the ends of a side. */
const STEP_S = 0.02
const STEPS_TOGETHER = 4
/** So many samples are summed to one for the lows and mids: what folds back lies beside all tones. */
const SLOW_FACTOR = 8
const SETTLE_S = 0.09
const READ_S = LEAD_PROBE.sideS - 2 * SETTLE_S
/** Bins of a Hann window's main lobe beside a tone, zero-padded by a tenth. */
const LOBE_BINS = 3
const BESIDE_BINS = 24

/**
 * @param audio a capture in which the probe was played once
 * @param inputNumbers those that count, 1 is the first
 * @returns by input number; null where the capture is too short to hold a probe
 */
export function readLeadProbe(audio: Audio, inputNumbers: readonly number[]): ReadonlyMap<number, LeadReading> | null {
  const { sampleRateHz } = audio
  if (frameCountOf(audio) < LEAD_PROBE.lengthS * sampleRateHz) return null
  const channels = inputNumbers.map((number) => audio.channels[number - 1])
  const startS = probeStartS(channels, sampleRateHz)
  return new Map(channels.map((channel, k) => [inputNumbers[k], readingOf(channel, sampleRateHz, startS)]))
}

function readingOf(channel: Float32Array, sampleRateHz: number, startS: number): LeadReading {
  const peakFs: number[] = []
  const noiseFs: number[] = []
  for (const side of ['left', 'right'] as const) {
    const first = Math.round((startS + sideStartS(side) + SETTLE_S) * sampleRateHz)
    const powers = powersOf(channel, first, Math.floor(READ_S * sampleRateHz))
    for (const tone of PROBE_TONES) {
      if (tone.side !== side) continue
      const { signal, noise } = toneIn(powers, tone.freqHz / sampleRateHz)
      peakFs.push(Math.sqrt(Math.max(0, signal - noise)))
      noiseFs.push(Math.sqrt(noise))
    }
  }
  return { peakFs, noiseFs }
}

/** Squares of peak amplitudes by bin: summed over a tone's main lobe they are the tone's own. */
function powersOf(channel: Float32Array, first: number, count: number): Float64Array {
  const size = sizeFor(count)
  const cut = room('lead probe cut', size)
  const window = hann(count)
  let squares = 0
  for (let n = 0; n < count; n++) {
    cut[n] = window[n] * (channel[first + n] ?? 0)
    squares += window[n] * window[n]
  }
  cut.fill(0, count)
  const spectrum = realSpectrum(cut, size, room('lead probe spectrum', size + 2))
  const powers = room('lead probe powers', size / 2 + 1)
  // Parseval: a sine of peak A gives the positive frequencies size × A² / 4 × the window's energy.
  const scale = 4 / (size * squares)
  for (let k = 0; k <= size / 2; k++) powers[k] = scale * (spectrum[2 * k] ** 2 + spectrum[2 * k + 1] ** 2)
  return powers
}

/** @param frequency in cycles a sample */
function toneIn(powers: Float64Array, frequency: number): { signal: number; noise: number } {
  const size = 2 * (powers.length - 1)
  const middle = Math.round(frequency * size)
  const reach = LOBE_BINS + Math.ceil(CLOCK_OFFSET_MAX * middle)
  let signal = 0
  for (let k = middle - reach; k <= middle + reach; k++) signal += powers[k]
  const beside: number[] = []
  for (let away = reach + 2; away < reach + 2 + BESIDE_BINS; away++) {
    for (const k of [middle - away, middle + away]) if (k > 2 && k < size / 2) beside.push(powers[k])
  }
  beside.sort((a, b) => a - b)
  // The median of an exponential distribution is ln 2 of its mean; lines of a hum do not count in it.
  return { signal, noise: ((2 * reach + 1) * beside[beside.length >> 1]) / Math.LN2 }
}

/** When the probe's first sample arrives, by which stretches its tones fill. */
function probeStartS(channels: readonly Float32Array[], sampleRateHz: number): number {
  const step = SLOW_FACTOR * Math.round((STEP_S * sampleRateHz) / SLOW_FACTOR)
  const stepCount = Math.floor(channels[0].length / step)
  const mixed = mixOf(channels)
  const slow = summedBy(mixed, SLOW_FACTOR)
  const inside = new Float64Array(stepCount + 1)
  const lastStart = Math.max(0, stepCount - Math.floor((LEAD_PROBE.lengthS * sampleRateHz) / step))
  for (const tone of PROBE_TONES) {
    const factor = tone.band === 'highs' ? 1 : SLOW_FACTOR
    const samples = factor === 1 ? mixed : slow
    const stepRad = (2 * Math.PI * factor * tone.freqHz) / sampleRateHz
    const series = windowPowers(samples, stepRad, step / factor, STEPS_TOGETHER)
    // A tone that is not there is in every stretch alike; one that is has its whole power in its own.
    const [from, to] = stepsOf(tone.side, step / sampleRateHz)
    let total = Number.MIN_VALUE
    for (const power of series) total += power
    let sum = 0
    for (let i = from; i < to; i++) sum += series[i] ?? 0
    for (let start = 0; start <= lastStart; start++) {
      inside[start] += (sum / total) ** 2
      sum += (series[start + to] ?? 0) - series[start + from]
    }
  }
  let best = 0
  for (let start = 0; start <= lastStart; start++) if (inside[start] > inside[best]) best = start
  return (best * step) / sampleRateHz
}

const stepsOf = (side: ProbeSide, stepS: number): [number, number] => [
  Math.ceil(sideStartS(side) / stepS),
  Math.floor((sideStartS(side) + LEAD_PROBE.sideS) / stepS) - STEPS_TOGETHER + 1,
]

/** All inputs at about equal rms; weights differ, so that two of opposite polarity do not cancel. */
function mixOf(channels: readonly Float32Array[]): Float32Array {
  const mixed = new Float32Array(channels[0].length)
  for (const [k, channel] of channels.entries()) {
    let squares = 0
    for (let n = 0; n < channel.length; n += 7) squares += channel[n] * channel[n]
    if (squares === 0) continue
    // Multiples of the golden section spread evenly, however many there are.
    const weight = (1 + ((k * 0.618034) % 1)) / Math.sqrt(squares)
    for (let n = 0; n < mixed.length; n++) mixed[n] += weight * channel[n]
  }
  return mixed
}

function summedBy(samples: Float32Array, factor: number): Float32Array {
  const sums = new Float32Array(Math.floor(samples.length / factor))
  for (let m = 0, n = 0; m < sums.length; m++) {
    let sum = 0
    for (const stop = n + factor; n < stop; n++) sum += samples[n]
    sums[m] = sum
  }
  return sums
}

let kept: Float64Array | null = null

/** The last one is kept: all inputs of a capture have the same. */
function hann(count: number): Float64Array {
  if (kept?.length !== count) {
    kept = Float64Array.from({ length: count }, (_, n) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (n + 0.5)) / count))
  }
  return kept
}
