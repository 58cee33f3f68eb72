/**
 * An invented take to practise on: code that has run on such a signal is compiled when the first real take comes, and what
 * all takes share, windows, tables, working room, is there. No figure is read from it.
 */
import {
  CHIRP,
  CLOSING_SPACING_S,
  chirpAt,
  openingSpacingS,
  SWEEP,
  sectionsOf,
  sweepAt,
  TRACK_REVISION,
  trackDurationS,
} from '../stimulus/layout.js'
import type { Audio } from '../units/audio.js'

/** What an ordinary output adds: noise, hum and a little of the second harmonic. */
const NOISE_FS = 1e-5
const HUM = { freqHz: 50, peakFs: 1e-5 } as const
const SECOND = 1e-4
const RIGHT = 0.3
/** So that it does not clip. */
const GAIN = 0.5

/** Start and clock are off by fractions, as they are in every take: whole numbers would be compiled as such. */
const START_SAMPLE = 1234.56
const CLOCK_RATIO = 1.0000123

/** @returns one output that hears more of the left side than of the right, whole take, in memory that threads share */
export function practiceTake(sampleRateHz: number): Audio {
  const samplesPerS = CLOCK_RATIO * sampleRateHz
  const count = Math.ceil(START_SAMPLE + trackDurationS() * samplesPerS)
  const channel = new Float32Array(new SharedArrayBuffer(Float32Array.BYTES_PER_ELEMENT * count))
  const add = (startS: number, lengthS: number, valueAt: (tS: number) => number): void => {
    const first = Math.ceil(START_SAMPLE + startS * samplesPerS)
    const end = first + Math.floor(lengthS * samplesPerS)
    for (let n = first; n < end; n++) channel[n] += valueAt((n - START_SAMPLE) / samplesPerS - startS)
  }
  for (const { kind, startS, durationS, tones } of sectionsOf()) {
    if (kind === 'sweep_left' || kind === 'sweep_right') {
      const peakFs = SWEEP.peakFs * (kind === 'sweep_left' ? 1 : RIGHT)
      add(startS, durationS, (tS) => peakFs * sweepAt(tS))
    } else if (kind === 'opening' || kind === 'closing') {
      const spacingS = kind === 'opening' ? openingSpacingS(TRACK_REVISION) : CLOSING_SPACING_S
      const peakFs = CHIRP.peakFs * (1 + RIGHT)
      for (const atS of [startS, startS + spacingS]) {
        add(atS, CHIRP.durationS, (tS) => peakFs * chirpAt(tS).inPhase)
      }
    }
    for (const tone of tones) {
      const peakFs = tone.peakFs * (1 + RIGHT)
      add(startS, durationS, (tS) => peakFs * Math.sin(2 * Math.PI * tone.freqHz * tS))
    }
  }
  addRest(channel, sampleRateHz)
  return { sampleRateHz, channels: [channel] }
}

function addRest(channel: Float32Array, sampleRateHz: number): void {
  const humRad = (2 * Math.PI * HUM.freqHz) / sampleRateHz
  let state = 1
  for (let n = 0; n < channel.length; n++) {
    // Linear congruences are noise enough here (Numerical Recipes' constants).
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0
    const x = GAIN * channel[n]
    channel[n] = x + SECOND * x * x + HUM.peakFs * Math.sin(humRad * n) + NOISE_FS * (state / 2 ** 31 - 1)
  }
}
