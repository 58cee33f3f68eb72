/** What the rig's own checks share: a quiet probe that finds out how loud they may play, and tones that are read where steady. */
import { CLIPPED_FS } from '../measure/input-meter.js'
import { clockedHz, readSteadyTone, restRatio, type SteadyTone } from '../measure/steady-tone.js'
import { inputsInWords } from '../rig/input-words.js'
import type { Bench } from '../rig/roles.js'
import { renderTones } from '../stimulus/render.js'
import type { Audio } from '../units/audio.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import type { OnProgress } from './progress.js'
import { takeOnce } from './take.js'

/** Rate at which checks are played: the track has it too. */
export const PLAY_RATE_HZ = 48_000
const PROBE = { freqHz: 997, levelDbfs: -40, durationS: 1.2 } as const
/** The probe has to stand this far out of the noise beside it. */
const HEARD_OVER = 10
/** Rise, fall, and filters that ring: left out at both ends of a tone. */
const SETTLE_S = 0.1

/**
 * How much of what is played arrives at each fed input: peak for a peak of 1.
 * @throws StopError when an input hears nothing, or far too much
 */
export async function probeGains(
  bench: Bench,
  inputNumbers: readonly number[],
  detail: string,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<ReadonlyMap<number, number>> {
  const peakFs = ratioFromDb(PROBE.levelDbfs)
  const sound = await tonesFor(PROBE.durationS, [{ freqHz: PROBE.freqHz, peakFs }])
  const { audio } = await takeOnce(bench, sound, null, { step: 'quiet probe', detail }, onProgress, signal)
  const readings = inputNumbers.map((number) => {
    const channel = audio.channels[number - 1]
    return { number, isClipped: peakOf(channel) >= CLIPPED_FS, ...toneOf(channel, PROBE.freqHz, audio.sampleRateHz) }
  })
  const silent = readings.filter(({ tone }) => tone.peakFs < HEARD_OVER * tone.noiseFs || tone.peakFs < 1e-6)
  if (silent.length > 0) {
    throw new StopError(
      `${named(silent)} ${silent.length === 1 ? 'hears' : 'hear'} nothing of the quiet tone`,
      bench.capture.where,
      "Check that the player's output is on these leads and turned up, and that the card's inputs are switched on.",
      'instrument',
    )
  }
  const clipped = readings.filter(({ isClipped }) => isClipped)
  if (clipped.length > 0) throw tooLoud(clipped, bench, ' on the quiet probe; nothing louder was played')
  return new Map(readings.map(({ number, tone }) => [number, tone.peakFs / peakFs]))
}

/** Peak to play so that the loudest of the fed inputs gets a peak of inputPeakFs, as far as the player goes. */
export const peakToPlay = (gains: ReadonlyMap<number, number>, inputPeakFs: number, mostFs: number): number =>
  Math.min(mostFs, inputPeakFs / Math.max(...gains.values()))

/** @throws StopError when one of the fed inputs reached its end */
export function checkNotClipped(bench: Bench, audio: Audio, inputNumbers: readonly number[]): void {
  const clipped = inputNumbers.filter((number) => peakOf(audio.channels[number - 1]) >= CLIPPED_FS)
  if (clipped.length > 0)
    throw tooLoud(
      clipped.map((number) => ({ number })),
      bench,
      '',
    )
}

const named = (readings: readonly { readonly number: number }[]): string =>
  inputsInWords(readings.map(({ number }) => number))

const tooLoud = (readings: readonly { readonly number: number }[], bench: Bench, when: string): StopError =>
  new StopError(
    `${named(readings)} ${readings.length === 1 ? 'clips' : 'clip'}${when}`,
    bench.capture.where,
    "Turn down the player's output or the card's input gain, or put a pad in front and say so in the rig file.",
    'instrument',
  )

/** Steady tones on both sides, with a little silence around. */
export const tonesFor = (
  durationS: number,
  tones: readonly { readonly freqHz: number; readonly peakFs: number }[],
): Promise<Audio> => renderTones(PLAY_RATE_HZ, durationS + 0.2, [{ startS: 0.1, durationS, tones }])

/** Nothing, on both sides. */
export const silenceOf = (lengthS: number): Audio => ({
  sampleRateHz: PLAY_RATE_HZ,
  channels: [0, 1].map(() => new Float32Array(lengthS * PLAY_RATE_HZ)),
})

/** First and last sample of a tone where it is steady, by what is louder than half of its peak. */
export function steadyPart(channel: Float32Array, sampleRateHz: number): [number, number] {
  const half = 0.5 * peakOf(channel)
  const isLoud = (sample: number): boolean => Math.abs(sample) > half
  const settle = Math.round(SETTLE_S * sampleRateHz)
  const from = channel.findIndex(isLoud) + settle
  return [from, Math.max(from + 2, channel.findLastIndex(isLoud) - settle)]
}

/** A tone that was played alone, as an input heard it. */
export function toneOf(
  channel: Float32Array,
  nominalHz: number,
  sampleRateHz: number,
): { readonly tone: SteadyTone; readonly restRatio: number } {
  const steady = channel.subarray(...steadyPart(channel, sampleRateHz))
  const tone = readSteadyTone(steady, clockedHz(steady, nominalHz, sampleRateHz), sampleRateHz)
  return { tone, restRatio: restRatio(steady, tone, sampleRateHz) }
}

export function peakOf(channel: Float32Array): number {
  let peak = 0
  for (let n = 0; n < channel.length; n++) peak = Math.max(peak, Math.abs(channel[n]))
  return peak
}
