/**
 * A chime in a capture of several inputs: whether one sounds, when, how often, how high, and how loud on each input.
 *
 * Volts are rms. A sound that lasts is a chime; so are short ticks that come regularly, as a turn signal's do. A single click
 * is not.
 */
import {
  type ChimeNoise,
  type ChimeSpectra,
  chimeSpectra,
  learnNoise,
  standingOut,
  thresholdOf,
} from './chime-spectra.js'

export const CHIME_METHODS = {
  level: 'chime, rms while it sounds, less the noise/1',
  over: 'chime on one output over another/1',
  length: 'chime, first onset to last end/1',
  rate: 'chime, median of its onsets/1',
  freq: 'chime, strongest line/1',
} as const

/** That noise alone is taken for a sound in one listening, over all inputs and windows. */
export const FALSE_ALARM = 1e-3

/** Two windows may hold a click alike, and then it looks as long as one of them, 43 ms: what is little longer is a click. */
const CLICK_S = 0.05
/** Ticks are regular when no interval is further off their median than this part of it. */
const REGULAR = 0.2
const TICKS_MIN = 3
/** Bins to either side of one that stands out which belong to it: a Hann window's main lobe. */
const LOBE = 2
/** Neighbouring bins of a Hann window correlate: power by (2/3)^2, next but one by (1/6)^2. */
const BINS_TOGETHER = 1 + 2 * ((2 / 3) ** 2 + (1 / 6) ** 2)
/** Part of the level that swelling and dying may hide from the windows; from closed-form bursts of 60 ms and longer. */
const EDGES = 0.001
/** It is heard on an input when its power is this many standard uncertainties over nothing. */
const SURE = 5

export interface ChimeOnInput {
  /** Rms while it sounds (V); where it is not heard, what it is at most. */
  readonly vrms: number
  /** Relative standard uncertainty, from noise and from how it swells and dies. */
  readonly relativeU: number
  readonly isHeard: boolean
}

export interface FoundChime {
  /** From the first onset to the last end, seconds of the capture. */
  readonly startS: number
  readonly endS: number
  readonly onsetS: readonly number[]
  /** Onsets for each second; null where there are fewer than three. */
  readonly ratePerS: number | null
  /** Strongest line, and its standard uncertainty. */
  readonly freqHz: number
  readonly freqU: number
  /** In the order of the inputs. */
  readonly inputs: readonly ChimeOnInput[]
  /** Where it is loudest, from 0. */
  readonly loudest: number
  /** It still sounded when the capture ended. */
  readonly isCutOff: boolean
  /** Standard uncertainty of onsets and ends (s). */
  readonly timeU: number
  /** Its level on the loudest input (V rms) window by window. */
  readonly curve: { readonly timeS: readonly number[]; readonly vrms: readonly number[] }
}

/** What was learned before the chime, for looking at what comes. */
export interface ChimeEar {
  /** Whether anything stands out in a stretch that follows. */
  hears(channels: readonly Float32Array[]): boolean
}

/**
 * @param channels what is heard before anything sounds
 * @param listenS how long will be listened in all
 */
export function chimeEar(channels: readonly Float32Array[], sampleRateHz: number, listenS: number): ChimeEar {
  const learned = channels.map((channel) => {
    const spectra = chimeSpectra(channel, sampleRateHz)
    return { spectra, noise: learnNoise(spectra, channel.length / sampleRateHz) }
  })
  const { binCount, hopS } = learned[0].spectra
  const threshold = thresholdOf(learned[0].noise.worth, (channels.length * binCount * listenS) / hopS, FALSE_ALARM)
  return {
    hears: (later) =>
      later.some((channel, k) =>
        standingOut(chimeSpectra(channel, sampleRateHz), learned[k].noise, threshold).includes(true),
      ),
  }
}

interface Heard {
  readonly spectra: ChimeSpectra
  readonly noise: ChimeNoise
  /** Volts squared of a power of 1. */
  readonly toV2: number
}

interface SoundEvent {
  readonly startS: number
  readonly endS: number
  readonly first: number
  readonly last: number
  /** Bins that it is made of. */
  readonly bins: readonly number[]
  /** Power on the loudest input in each window from first to last. */
  readonly power: readonly number[]
}

/**
 * @param channels all inputs, equal lengths
 * @param noiseS how long nothing sounds at the beginning
 * @param fullScaleVrms of each input at its lead
 * @returns null where nothing but noise and single clicks is heard
 */
export function findChime(
  channels: readonly Float32Array[],
  sampleRateHz: number,
  noiseS: number,
  fullScaleVrms: readonly number[],
  falseAlarm = FALSE_ALARM,
): FoundChime | null {
  const heard = channels.map((channel, k): Heard => {
    const spectra = chimeSpectra(channel, sampleRateHz)
    return { spectra, noise: learnNoise(spectra, noiseS), toV2: fullScaleVrms[k] ** 2 }
  })
  const { windowCount, binCount } = heard[0].spectra
  const threshold = thresholdOf(heard[0].noise.worth, heard.length * windowCount * binCount, falseAlarm)
  const loudest = loudestOf(heard, threshold)
  if (loudest === null) return null
  const events = asChime(eventsOf(heard[loudest], threshold))
  if (events.length === 0) return null
  const { hopS, sizeS } = heard[0].spectra
  const full = events.flatMap((event) => insideOf(event, hopS, sizeS))
  const last = events.at(-1)!
  const onsetS = events.map(({ startS }) => startS)
  return {
    startS: onsetS[0],
    endS: last.endS,
    onsetS,
    ratePerS: onsetS.length < TICKS_MIN ? null : 1 / median(intervals(onsetS)),
    ...lineOf(heard[loudest], full),
    inputs: heard.map((input) => onInput(input, full)),
    loudest,
    isCutOff: last.last >= windowCount - 1,
    // Between two windows' places: rectangular over a hop, halved by interpolation.
    timeU: hopS / 2 / Math.sqrt(12),
    curve: curveOf(heard[loudest], events, sizeS),
  }
}

/** The input on which most stands out, in volts. */
function loudestOf(heard: readonly Heard[], threshold: number): number | null {
  let [loudest, most] = [-1, 0]
  heard.forEach(({ spectra: { power, windowCount, binCount }, noise: { mean }, toV2 }, k) => {
    let sum = 0
    for (let t = 0; t < windowCount; t++) {
      for (let b = 0; b < binCount; b++) {
        const value = power[t * binCount + b]
        if (value > threshold * mean[b]) sum += toV2 * value
      }
    }
    if (sum > most) [loudest, most] = [k, sum]
  })
  return loudest < 0 ? null : loudest
}

/** Runs of windows in which something stands out. */
function eventsOf({ spectra, noise }: Heard, threshold: number): SoundEvent[] {
  const { power, windowCount, binCount, hopS, sizeS } = spectra
  const isOut = standingOut(spectra, noise, threshold)
  const events: SoundEvent[] = []
  for (let t = 0; t < windowCount; t++) {
    if (!isOut[t]) continue
    let end = t
    while (end + 1 < windowCount && isOut[end + 1]) end++
    const isBin = new Uint8Array(binCount)
    for (let w = t; w <= end; w++) {
      for (let b = 0; b < binCount; b++) {
        if (power[w * binCount + b] <= threshold * noise.mean[b]) continue
        isBin.fill(1, Math.max(0, b - LOBE), Math.min(binCount, b + LOBE + 1))
      }
    }
    const bins = [...isBin.keys()].filter((b) => isBin[b] === 1)
    const powerAt = (w: number): number => (w < 0 || w >= windowCount ? 0 : overNoise(spectra, noise, w, bins))
    const inside = Array.from({ length: end - t + 1 }, (_, i) => powerAt(t + i))
    const half = Math.max(...inside) / 2
    // A window that an edge of a steady sound cuts in the middle has half its power.
    const edge = (from: number, step: 1 | -1): number => {
      let w = from
      while (powerAt(w) < half) w += step
      const [over, under] = [powerAt(w), powerAt(w - step)]
      return (w - (step * (over - half)) / Math.max(over - under, Number.MIN_VALUE)) * hopS + sizeS / 2
    }
    events.push({ startS: edge(t, 1), endS: edge(end, -1), first: t, last: end, bins, power: inside })
    t = end
  }
  return events
}

function overNoise(
  { power, binCount }: ChimeSpectra,
  { mean }: ChimeNoise,
  window: number,
  bins: readonly number[],
): number {
  let sum = 0
  for (const b of bins) sum += power[window * binCount + b] - mean[b]
  return Math.max(0, sum)
}

/** Without clicks, unless all that is heard comes regularly. */
function asChime(events: readonly SoundEvent[]): readonly SoundEvent[] {
  const gaps = intervals(events.map(({ startS }) => startS))
  const isRegular = gaps.every((gap) => Math.abs(gap - median(gaps)) < REGULAR * median(gaps))
  if (events.length >= TICKS_MIN && isRegular) return events
  return events.filter(({ startS, endS }) => endS - startS > CLICK_S)
}

const intervals = (times: readonly number[]): number[] => times.slice(1).map((time, i) => time - times[i])

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  const middle = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2
}

type FullWindow = { readonly window: number; readonly bins: readonly number[] }

/** Windows that lie in a sound as a whole, by time alone: to choose them by their power would choose the noise on it too. */
function insideOf({ startS, endS, first, power, bins }: SoundEvent, hopS: number, sizeS: number): FullWindow[] {
  const windows = power.map((_, i) => first + i)
  const inside = windows.filter((w) => w * hopS >= startS && w * hopS + sizeS <= endS)
  // A sound that is shorter than a window: the one that holds most of it.
  const loudest = first + power.indexOf(Math.max(...power))
  return (inside.length > 0 ? inside : [loudest]).map((window) => ({ window, bins }))
}

/** The chime's power less the noise's, in the windows in which the loudest input has it in full. */
function onInput({ spectra, noise, toV2 }: Heard, full: readonly FullWindow[]): ChimeOnInput {
  const { power, binCount } = spectra
  let [sum, variance] = [0, 0]
  for (const { window, bins } of full) {
    let [signal, square, noisePower] = [0, 0, 0]
    for (const b of bins) {
      signal += power[window * binCount + b] - noise.mean[b]
      square += noise.mean[b] ** 2
      noisePower += noise.mean[b] / bins.length
    }
    sum += signal
    // Noise alone, what was learned of it, and what beats with the chime: 2 S N by Parseval, weighed by the window's fourth power.
    variance += BINS_TOGETHER * (square * (1 + full.length / noise.worth) + 2 * Math.max(0, signal) * noisePower)
  }
  const count = full.length
  const value = sum / count
  const u = Math.sqrt(variance / count) / Math.sqrt(Math.max(1, count / 1.06))
  const isHeard = value > SURE * u
  const least = isHeard ? value : Math.max(0, value) + 2 * u
  return { vrms: Math.sqrt(toV2 * least), relativeU: isHeard ? Math.hypot((0.5 * u) / value, EDGES) : 0, isHeard }
}

/** Between two bins of a Hann window: (2 r - 1) / (r + 1) for the ratio r of amplitudes. */
function lineOf({ spectra }: Heard, full: readonly FullWindow[]): { freqHz: number; freqU: number } {
  const { power, binCount, firstBin, binHz } = spectra
  const sum = new Float64Array(binCount)
  for (const { window } of full) for (let b = 0; b < binCount; b++) sum[b] += power[window * binCount + b]
  let peak = 1
  for (let b = 1; b < binCount - 1; b++) if (sum[b] > sum[peak]) peak = b
  const side = sum[peak + 1] > sum[peak - 1] ? 1 : -1
  const ratio = Math.sqrt(sum[peak + side] / sum[peak])
  const place = peak + (side * (2 * ratio - 1)) / (ratio + 1)
  // A sound that begins and ends, and may hold two near lines: its line is known to a tenth of a bin or so.
  return { freqHz: (firstBin + place) * binHz, freqU: binHz / 10 }
}

function curveOf({ spectra, noise, toV2 }: Heard, events: readonly SoundEvent[], sizeS: number): FoundChime['curve'] {
  const bins = [...new Set(events.flatMap((event) => event.bins))]
  const windows = Array.from({ length: spectra.windowCount }, (_, t) => t)
  return {
    timeS: windows.map((t) => t * spectra.hopS + sizeS / 2),
    vrms: windows.map((t) => Math.sqrt(toV2 * overNoise(spectra, noise, t, bins))),
  }
}
