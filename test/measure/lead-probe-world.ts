/** Leads on outputs that are exactly as the map has them: closed forms of tones, with noise of a level that is asked for. */
import type { OutputSpec } from '../../src/job/job.js'
import type { Lead, Rig } from '../../src/rig/rig.js'
import { LEAD_PROBE, mappedVrms, PROBE_TONES, sideStartS } from '../../src/stimulus/lead-probe.js'
import type { Audio } from '../../src/units/audio.js'
import { vrms } from '../../src/units/level.js'
import { hiss } from '../kit/random.js'

export const RATE_HZ = 48_000
const FULL_SCALE_VRMS = 4
const NOISE = Float32Array.from(hiss(2 ** 21, 1, 77))

export const rigWith = (inputCount: number): Rig => ({
  name: 'closed form',
  capture: { driver: 'simulated', device: null, sampleRateHz: RATE_HZ, bits: 24 },
  player: { driver: 'simulated', device: null },
  meter: null,
  inputs: Array.from({ length: inputCount }, () => ({
    fullScaleVrms: vrms(FULL_SCALE_VRMS),
    padDb: 0,
    levelUncertaintyDb: 0.1,
  })),
  patches: null,
  faultsPath: null,
})

export interface Heard {
  /** null: nothing on the lead. */
  readonly spec: OutputSpec | null
  readonly gainDb?: number
  /** Rms of noise up to half the rate, volts. */
  readonly noiseVrms: number
}

const clean = new Map<string, Float32Array>()

/** The probe's tones as an output gives them, a volt being 1: made once for each output and clock. */
function cleanOf(spec: OutputSpec, clockPpm: number): Float32Array {
  const key = JSON.stringify([spec, clockPpm])
  const known = clean.get(key)
  if (known) return known
  const samples = new Float32Array(Math.ceil(LEAD_PROBE.lengthS * RATE_HZ))
  for (const [t, levelVrms] of mappedVrms(spec).entries()) {
    const { side, freqHz } = PROBE_TONES[t]
    const first = Math.ceil(sideStartS(side) * RATE_HZ)
    const stepRad = (2 * Math.PI * freqHz * (1 - clockPpm * 1e-6)) / RATE_HZ
    for (let n = 0; n < LEAD_PROBE.sideS * RATE_HZ; n++) samples[first + n] += levelVrms * Math.sin(stepRad * n + t * t)
  }
  clean.set(key, samples)
  return samples
}

/** A capture of the probe that begins a little before it does. */
export function captured(inputs: readonly Heard[], startS: number, clockPpm = 0, noiseAt = 0): Audio {
  const frameCount = Math.ceil((startS + LEAD_PROBE.lengthS + 0.2) * RATE_HZ)
  const first = Math.round(startS * RATE_HZ)
  const channels = inputs.map(({ spec, gainDb = 0, noiseVrms }, k) => {
    const samples = new Float32Array(frameCount)
    const from = (noiseAt + k * 150_001) % (NOISE.length - frameCount)
    const noise = noiseVrms / (FULL_SCALE_VRMS * Math.SQRT2)
    for (let n = 0; n < frameCount; n++) samples[n] = noise * NOISE[from + n]
    const tones = spec ? cleanOf(spec, clockPpm) : new Float32Array()
    const gain = 10 ** (gainDb / 20) / FULL_SCALE_VRMS
    for (let n = 0; n < tones.length; n++) samples[first + n] += gain * tones[n]
    return samples
  })
  return { sampleRateHz: RATE_HZ, channels }
}

export const inOrder = (outputs: readonly OutputSpec[]): Lead[] =>
  outputs.map(({ number }, k) => ({ inputNumber: k + 1, outputNumber: number }))
