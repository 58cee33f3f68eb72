/** Small jobs, rigs and sounds for the vehicle's tests, and a sine fit that shares no code with the project. */
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Setting } from '../../src/rig/roles.js'
import type { Audio } from '../../src/units/audio.js'
import { parseFaults } from '../../src/vehicle/faults.js'
import { modelFromJob, type VehicleModel } from '../../src/vehicle/model.js'
import { renderTake } from '../../src/vehicle/render.js'

export const FULL_SCALE_VRMS = 4

/** A job whose outputs are given as the lines of its file. */
export const jobOf = (...outputs: readonly string[]): Job =>
  parseJob(['name: test', 'vehicle: { model: test }', 'outputs:', ...outputs.map((o) => `  - ${o}`)].join('\n'), 'job')

export const rigOf = (inputCount: number, sampleRateHz = 48_000, bits = 24): Rig =>
  parseRig(
    `name: test
capture: { driver: simulated, sample_rate_hz: ${sampleRateHz}, bits: ${bits} }
player: { driver: simulated }
inputs: { count: ${inputCount}, full_scale_vrms: ${FULL_SCALE_VRMS}, level_uncertainty_db: 0.1 }
`,
    'rig',
  )

/** Card and clocks that add nothing: what is left is the vehicle. */
export const STILL_CAPTURE = 'capture: { clock_offset_ppm: 0, noise_dbfs: -160, lead_in_s: 0.6, trail_s: 0.1 }'

export const modelOf = (job: Job, ...faults: readonly string[]): VehicleModel =>
  modelFromJob(job, parseFaults(faults.length > 0 ? faults.join('\n') : '{}', 'faults.yaml'))

/** A sine on one side or both; 0 elsewhere. */
export function toneOn(
  side: 'left' | 'right' | 'both',
  freqHz: number,
  peakFs: number,
  lengthS: number,
  sampleRateHz = 48_000,
): Audio {
  const sine = Float32Array.from(
    { length: lengthS * sampleRateHz },
    (_, n) => peakFs * Math.sin((2 * Math.PI * freqHz * n) / sampleRateHz),
  )
  const silence = new Float32Array(sine.length)
  return { sampleRateHz, channels: [side === 'right' ? silence : sine, side === 'left' ? silence : sine] }
}

export const silenceOf = (lengthS: number, sampleRateHz = 48_000): Audio => ({
  sampleRateHz,
  channels: [0, 1].map(() => new Float32Array(lengthS * sampleRateHz)),
})

export interface Captured {
  readonly audio: Audio
  readonly leadVrms: readonly number[]
  /** Capture samples for each second of the player's clock. */
  readonly samplesPerS: number
  /** Place (fractional sample) at which the first played sample arrives. */
  readonly startSample: number
  /** A stretch of an input, times from the first played sample. */
  stretch(index: number, fromS: number, toS: number): Float32Array
  /** A tone on an input, in volts, time 0 at the first played sample. */
  tone(index: number, freqHz: number, fromS: number, toS: number): Tone
}

/** Renders a take of outputs on the inputs in this order. */
export async function captureOf(
  model: VehicleModel,
  played: Audio,
  rig: Rig,
  outputNumbers: readonly (number | null)[],
  setting: Setting = 'reference',
  takeNumber = 1,
): Promise<Captured> {
  const { audio, leadVrms } = await renderTake(model, played, { setting, outputNumbers, takeNumber }, rig)
  const samplesPerS = audio.sampleRateHz * (1 + model.capture.clockOffsetPpm * 1e-6)
  const startSample = (model.capture.leadInS + model.latencyS) * samplesPerS
  const at = (timeS: number): number => Math.round(startSample + timeS * samplesPerS)
  return {
    audio,
    leadVrms,
    samplesPerS,
    startSample,
    stretch: (index, fromS, toS) => audio.channels[index].subarray(at(fromS), at(toS)),
    tone: (index, freqHz, fromS, toS) => {
      const first = at(fromS)
      const fit = fitTone(audio.channels[index].subarray(first, at(toS)), freqHz, samplesPerS, first - startSample)
      return { ...fit, peak: fit.peak * Math.SQRT2 * FULL_SCALE_VRMS }
    },
  }
}

export interface Tone {
  readonly peak: number
  /** Of the sine at time 0. */
  readonly phaseRad: number
}

/**
 * Least squares of a sine of known frequency and a constant (IEEE Std 1057, three parameters).
 *
 * @param laterSamples place of the first sample after time 0
 */
export function fitTone(samples: ArrayLike<number>, freqHz: number, samplesPerS: number, laterSamples = 0): Tone {
  const w = (2 * Math.PI * freqHz) / samplesPerS
  const sums = Array.from({ length: 3 }, () => [0, 0, 0, 0])
  for (let n = 0; n < samples.length; n++) {
    const row = [Math.sin(w * (n + laterSamples)), Math.cos(w * (n + laterSamples)), 1, samples[n]]
    for (let i = 0; i < 3; i++) for (let j = 0; j < 4; j++) sums[i][j] += row[i] * row[j]
  }
  for (let i = 0; i < 3; i++) {
    for (let k = 0; k < 3; k++) {
      if (k === i) continue
      const share = sums[k][i] / sums[i][i]
      for (let j = i; j < 4; j++) sums[k][j] -= share * sums[i][j]
    }
  }
  const [sine, cosine] = [sums[0][3] / sums[0][0], sums[1][3] / sums[1][1]]
  return { peak: Math.hypot(sine, cosine), phaseRad: Math.atan2(cosine, sine) }
}

/** Rms about the mean. */
export function rmsOf(samples: ArrayLike<number>): number {
  let [sum, squares] = [0, 0]
  for (let n = 0; n < samples.length; n++) {
    sum += samples[n]
    squares += samples[n] * samples[n]
  }
  return Math.sqrt(squares / samples.length - (sum / samples.length) ** 2)
}

export const dB = (ratio: number): number => 20 * Math.log10(ratio)

/** The turn from one phase to another, from -pi to pi. */
export const turnRad = (from: number, to: number): number => Math.atan2(Math.sin(to - from), Math.cos(to - from))

/** Whether two channels hold the same samples, bit by bit: far faster than a deep comparison. */
export const isSame = (a: Float32Array, b: Float32Array): boolean =>
  Buffer.from(a.buffer, a.byteOffset, a.byteLength).equals(Buffer.from(b.buffer, b.byteOffset, b.byteLength))
