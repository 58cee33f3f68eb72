/**
 * A stretch of a capture while nothing is played: noise, hum, the engine's whine, and chimes that are made to sound.
 *
 * Stretches of one capture follow each other without a seam: lines and whine go on where they were.
 */
import type { Rig } from '../rig/rig.js'
import { addLines, captureInput, leakBetween, shapeInput } from './card.js'
import { addChime, type Sounding } from './chime-model.js'
import { addWhine, whineAt } from './engine.js'
import type { OutputModel, VehicleModel } from './model.js'
import { magnitudeOf } from './sections.js'
import { seedFor } from './seeded.js'

/** Made before each stretch and left out, where the card has filters: they have settled by then. */
const BEFORE_S = 0.2

export interface QuietStretch {
  /** From the start of the capture. */
  readonly fromS: number
  readonly lengthS: number
  /** What each input's lead is on, in the inputs' order; null: on nothing. */
  readonly outputNumbers: readonly (number | null)[]
  /** null: the engine stands. */
  readonly engineRpm: number | null
  readonly soundings: readonly Sounding[]
  /** Which capture of the bench it is: noise and the phase of the mains differ. */
  readonly captureNumber: number
}

/** @returns one channel for each input */
export function renderQuiet(model: VehicleModel, stretch: QuietStretch, rig: Rig): Float32Array[] {
  const { sampleRateHz, bits } = rig.capture
  const { noiseDbfs, levelErrorDb, leakDb, lines } = model.capture
  const { captureNumber, outputNumbers, soundings, engineRpm } = stretch
  const hasFilters = model.capture.lowHz !== null || model.capture.eq.length > 0
  const skipCount = hasFilters ? Math.round(BEFORE_S * sampleRateHz) : 0
  const fromS = stretch.fromS - skipCount / sampleRateHz
  const count = skipCount + Math.round(stretch.lengthS * sampleRateHz)
  const later = <Line extends { freqHz: number; phaseRad: number }>(all: readonly Line[]): Line[] =>
    all.map((line) => ({ ...line, phaseRad: line.phaseRad + 2 * Math.PI * line.freqHz * fromS }))
  const outputs = rig.inputs.map((_, index): OutputModel | null => {
    const number = outputNumbers[index] ?? null
    return number === null ? null : (model.outputs.get(model.atPins.get(number) ?? number) ?? null)
  })
  const leads = outputs.map((output) => {
    const volts = new Float32Array(count)
    if (!output) return volts
    addLines(volts, later(output.lines), captureNumber, sampleRateHz)
    const { whine } = output.engine
    if (engineRpm !== null && whine) {
      const place = { samplesPerS: sampleRateHz, startSample: -fromS * sampleRateHz, playedS: 1 }
      addWhine(volts, { ...whineAt(whine, engineRpm), driftHz: 0 }, place, captureNumber)
    }
    if (output.isDead) return volts
    const gainAt = (freqHz: number): number => magnitudeOf(output.filters, freqHz, sampleRateHz)
    for (const sounding of soundings) addChime(volts, sounding, output.number, gainAt, fromS, sampleRateHz)
    return volts
  })
  if (leakDb !== null) leakBetween(leads, rig.inputs, leakDb)
  return leads.map((volts, index) => {
    const output = outputs[index]
    addLines(volts, later(lines), captureNumber, sampleRateHz)
    shapeInput(volts, rig.inputs[index], index + 1, model.capture, sampleRateHz)
    const engineVrms = engineRpm === null ? 0 : (output?.engine.noise ?? 0)
    // Silence is played: an output that mutes itself has done so long ago.
    const mute = output?.mute ? new Float32Array(count) : null
    const noise = output && { vrms: Math.hypot(output.noise, engineVrms), mute }
    const seed = seedFor(model.seed, 'quiet', index, captureNumber, Math.round(stretch.fromS * sampleRateHz))
    captureInput(volts, noise, rig.inputs[index], { sampleRateHz, bits, noiseDbfs, levelErrorDb }, seed)
    return volts.subarray(skipCount)
  })
}
