/**
 * One take of the simulated vehicle: whatever is played, as the capture card gets it.
 *
 * The two clocks are joined first: the stereo source is resampled to the capture's clock once, and the vehicle is
 * computed there. For a linear or memoryless vehicle that is the same as resampling every output, for a fraction of the work.
 */
import type { Rig } from '../rig/rig.js'
import type { Setting } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import { ratioFromDb, type Vrms, vrms } from '../units/level.js'
import type { Terminal } from './amplifier-model.js'
import { muteCurve, type OutputTiming, shapeOutput } from './analog.js'
import { addLines, captureInput, type LeadNoise, leakBetween, shapeInput } from './card.js'
import { clipHard } from './clipping.js'
import { captureClock, placesIn } from './clock.js'
import { addWhine, whineAt } from './engine.js'
import { type GraphSource, renderGraph } from './graph.js'
import { type HeadUnitState, headUnitAt } from './head-unit.js'
import type { OutputModel, VehicleModel } from './model.js'
import { type Pace, STEADY } from './pace.js'
import { resample } from './resample.js'
import { seedFor } from './seeded.js'
import { cutAbove, incoherentCopy, limit } from './source.js'

export interface VehicleTake {
  readonly setting: Setting
  /** What each input's lead is on, in the inputs' order; null or missing: on nothing. */
  readonly outputNumbers: readonly (number | null)[]
  /** Noise differs from take to take, and is the same again for the same number. */
  readonly takeNumber?: number
  /** Missing or null: the engine stands, but for a take with the engine running. */
  readonly engineRpm?: number | null
  /** Amplifier terminals at which somebody measures. */
  readonly terminal?: Terminal | null
}

export interface RenderedTake {
  readonly audio: Audio
  /** True AC rms on each input's lead over its loudest second, in front of pad and card. */
  readonly leadVrms: readonly Vrms[]
  /** The same of the amplifier terminals; 0 where nobody measures there. */
  readonly terminalVrms: Vrms
}

/** The captured take alone. */
export async function renderVehicle(
  model: VehicleModel,
  track: Audio,
  take: VehicleTake,
  rig: Rig,
  pace: Pace = STEADY,
): Promise<Audio> {
  return (await renderTake(model, track, take, rig, pace)).audio
}

/**
 * @param track stereo, at any rate up to 8 times the capture's; one channel plays on both sides
 * @throws RangeError when a lead is on an output that the model does not have
 */
export async function renderTake(
  model: VehicleModel,
  track: Audio,
  take: VehicleTake,
  rig: Rig,
  pace: Pace = STEADY,
): Promise<RenderedTake> {
  const { sampleRateHz, bits } = rig.capture
  const { clockOffsetPpm, clockDriftPpmPerMin, leadInS, trailS, noiseDbfs, levelErrorDb, leakDb, lines } = model.capture
  const clockRatio = 1 + clockOffsetPpm * 1e-6
  const clock = captureClock(sampleRateHz, clockOffsetPpm, clockDriftPpmPerMin)
  const { samplesPerS } = clock
  const startS = leadInS + model.latencyS
  const timing: OutputTiming = { samplesPerS, sampleAt: (timeS) => clock.sampleAt(startS + timeS) }

  const terminal = take.terminal ?? null
  const terminalInput = terminal?.onInput?.inputNumber ?? null
  const onInputs = rig.inputs.map((_, index) =>
    index + 1 === terminalInput ? null : modelAtPins(model, take.outputNumbers[index] ?? null),
  )
  const amplified = (terminal?.outputNumbers ?? []).map((number) => modelAtPins(model, number))
  const needed = neededOutputs(model, [...onInputs, ...amplified])
  const latestS = Math.max(0, ...needed.map(({ delayS }) => delayS))
  const frameCount = Math.ceil(clock.sampleAt(startS + durationS(track) + latestS + trailS))

  const { firstAt, step, bend } = placesIn(clock, startS, track.sampleRateHz)
  const sides = [track.channels[0], track.channels[1] ?? track.channels[0]]
  const resampled = resample(sides, firstAt, step, frameCount, bend)
  await breath(pace)
  const source = sourceOf(model, resampled[0], resampled[1], samplesPerS)
  await breath(pace)

  const headUnit = headUnitAt(model.headUnit, take.setting)
  const { clipFs } = headUnit
  if (clipFs !== null && clipFs < 1) for (const side of [source.left, source.right]) clipHard(side, clipFs)
  const signals = await renderGraph(headUnit, needed, source, sampleRateHz, clockRatio, pace)
  const mutes = new Map<number, Float32Array>()
  for (const [index, output] of needed.entries()) {
    const mute = muteOf(output, headUnit, source, samplesPerS)
    if (mute) mutes.set(output.number, mute)
    if (output.isDead) signals[index].fill(0)
    else {
      const gain = take.setting === 'fader_front' ? output.faderFrontGain : 1
      shapeOutput(signals[index], output, gain, mute, timing)
    }
    await breath(pace)
  }

  const signalOf = new Map(needed.map(({ number }, index) => [number, signals[index]]))
  const leads = onInputs.map((output) => leadVolts(output, signalOf, frameCount))
  const terminalVolts = terminal && amplify(amplified, signalOf, frameCount, terminal)
  const terminalVrms = vrms(terminalVolts ? loudestSecondRms(terminalVolts, sampleRateHz) : 0)
  if (terminalVolts && terminal?.onInput) {
    const { inputNumber, padDb } = terminal.onInput
    leads[inputNumber - 1] = terminalVolts.map((volts) => volts * ratioFromDb(-padDb))
  }
  // Mains keep no time with the start of a take.
  const laterRad = take.takeNumber ?? 0
  const leadVrms: Vrms[] = []
  const noises: (LeadNoise | null)[] = []
  const place = { samplesPerS, startSample: timing.sampleAt(0), playedS: durationS(track) }
  for (const [index, output] of onInputs.entries()) {
    const volts = leads[index]
    if (output) addLines(volts, output.lines, laterRad, samplesPerS)
    const engineRpm = take.engineRpm ?? null
    const engine = take.setting === 'engine_running' || engineRpm !== null ? output?.engine : undefined
    if (engine?.whine) addWhine(volts, whineAt(engine.whine, engineRpm), place, laterRad)
    const noiseVrms = Math.hypot(output?.noise ?? 0, engine?.noise ?? 0)
    leadVrms.push(vrms(Math.hypot(loudestSecondRms(volts, sampleRateHz), noiseVrms)))
    noises.push(output && { vrms: noiseVrms, mute: mutes.get(output.number) ?? null })
  }
  if (leakDb !== null) leakBetween(leads, rig.inputs, leakDb)
  for (const [index, volts] of leads.entries()) {
    addLines(volts, lines, laterRad, samplesPerS)
    shapeInput(volts, rig.inputs[index], index + 1, model.capture, samplesPerS)
    const seed = seedFor(model.seed, 'input', index, take.takeNumber ?? 0)
    captureInput(volts, noises[index], rig.inputs[index], { sampleRateHz, bits, noiseDbfs, levelErrorDb }, seed)
    await breath(pace)
  }
  return { audio: { sampleRateHz, channels: leads }, leadVrms, terminalVrms }
}

/** What the head unit makes of its source, in the two channels themselves. */
function sourceOf(
  { headUnit, seed }: VehicleModel,
  left: Float32Array,
  right: Float32Array,
  samplesPerS: number,
): GraphSource {
  const { lossyHighHz, limiter, surroundFrom: from } = headUnit
  if (lossyHighHz !== null) for (const side of [left, right]) cutAbove(side, lossyHighHz, samplesPerS)
  if (limiter) limit([left, right], limiter, samplesPerS)
  const copied = from === 'right' ? right : left
  const surround = from && { from, samples: incoherentCopy(copied, seedFor(seed, 'surround'), samplesPerS) }
  return { left, right, surround }
}

async function breath(pace: Pace): Promise<void> {
  await pace.breathe()
  pace.signal.throwIfAborted()
}

function modelAtPins(model: VehicleModel, outputNumber: number | null): OutputModel | null {
  if (outputNumber === null) return null
  const output = model.outputs.get(model.atPins.get(outputNumber) ?? Number.NaN)
  if (!output) throw new RangeError(`renderVehicle: no output ${outputNumber}`)
  return output
}

/** What is on the leads, and what leaks into that. */
function neededOutputs(model: VehicleModel, onInputs: readonly (OutputModel | null)[]): OutputModel[] {
  const needed = new Set(onInputs.filter((output) => output !== null))
  for (const { leak } of [...needed]) {
    const from = leak && model.outputs.get(leak.fromOutput)
    if (from) needed.add(from)
  }
  return [...needed]
}

function muteOf(
  { mute }: OutputModel,
  headUnit: HeadUnitState,
  { left, right }: GraphSource,
  samplesPerS: number,
): Float32Array | null {
  if (mute === null) return null
  // The louder side decides; the interface hears it after the volume.
  const thresholdFs = ratioFromDb(mute.belowDbfs) / Math.max(headUnit.leftGain, headUnit.rightGain)
  return muteCurve([left, right], thresholdFs, mute.afterS, samplesPerS)
}

/** A copy of what is on a lead: an output may be needed by another one that it leaks into. */
function leadVolts(
  output: OutputModel | null,
  signalOf: ReadonlyMap<number, Float32Array>,
  frameCount: number,
): Float32Array {
  if (output === null) return new Float32Array(frameCount)
  const volts = signalOf.get(output.number)!.slice()
  if (output.leak) {
    const { fromOutput, ratio } = output.leak
    const from = signalOf.get(fromOutput)!
    for (let n = 0; n < frameCount; n++) volts[n] += ratio * from[n]
  }
  return volts
}

/** What an amplifier makes of the outputs that feed it, in volts at its terminals. */
function amplify(
  outputs: readonly (OutputModel | null)[],
  signalOf: ReadonlyMap<number, Float32Array>,
  frameCount: number,
  { gain, clipVpk }: Terminal,
): Float32Array {
  const volts = new Float32Array(frameCount)
  for (const output of outputs) {
    const signal = leadVolts(output, signalOf, frameCount)
    for (let n = 0; n < frameCount; n++) volts[n] += gain * signal[n]
  }
  clipHard(volts, clipVpk)
  return volts
}

/** Rms over the loudest second, or over all of a shorter stretch. */
export function loudestSecondRms(volts: Float32Array, sampleRateHz: number): number {
  const step = Math.max(1, Math.round(sampleRateHz / 10))
  const powers: number[] = []
  for (let from = 0; from + step <= volts.length; from += step) {
    let sum = 0
    for (let n = from; n < from + step; n++) sum += volts[n] * volts[n]
    powers.push(sum / step)
  }
  const span = Math.min(10, powers.length)
  let loudest = 0
  for (let i = 0; span > 0 && i + span <= powers.length; i++) {
    loudest = Math.max(loudest, powers.slice(i, i + span).reduce((sum, power) => sum + power, 0) / span)
  }
  return Math.sqrt(loudest)
}
