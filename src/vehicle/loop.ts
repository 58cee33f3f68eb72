/**
 * A rig that is checked by itself: the player's own output on some inputs, the others shorted, and no vehicle.
 *
 * The player is ideal but for its clock: whatever is found is the card's.
 */
import type { Rig } from '../rig/rig.js'
import type { HookUp } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import { vrms } from '../units/level.js'
import { addLines, captureInput, leakBetween, shapeInput } from './card.js'
import { captureClock, placesIn } from './clock.js'
import type { VehicleModel } from './model.js'
import type { Pace } from './pace.js'
import { loudestSecondRms, type RenderedTake } from './render.js'
import { resample } from './resample.js'
import { seedFor } from './seeded.js'

/** From player to card through one cable. */
const LATENCY_S = 1.1e-3

export async function renderLoop(
  { capture, seed }: Pick<VehicleModel, 'capture' | 'seed'>,
  sound: Audio,
  hookUp: HookUp,
  takeNumber: number,
  rig: Rig,
  pace: Pace,
): Promise<RenderedTake> {
  const { sampleRateHz, bits } = rig.capture
  const clock = captureClock(sampleRateHz, capture.clockOffsetPpm, capture.clockDriftPpmPerMin)
  const { samplesPerS } = clock
  const startS = capture.leadInS + LATENCY_S
  const frameCount = Math.ceil(clock.sampleAt(startS + durationS(sound) + capture.trailS))
  const { firstAt, step, bend } = placesIn(clock, startS, sound.sampleRateHz)
  const played = resample([sound.channels[0]], firstAt, step, frameCount, bend)[0]
  const peakV = Math.SQRT2 * capture.loopVrms
  for (let n = 0; n < frameCount; n++) played[n] *= peakV

  const isFed = (index: number): boolean => hookUp.kind === 'looped' && hookUp.inputNumbers.includes(index + 1)
  const leads = rig.inputs.map((_, index) => (isFed(index) ? played.slice() : new Float32Array(frameCount)))
  const onLead = vrms(loudestSecondRms(played, sampleRateHz))
  const leadVrms = rig.inputs.map((_, index) => (isFed(index) ? onLead : vrms(0)))
  if (capture.leakDb !== null) leakBetween(leads, rig.inputs, capture.leakDb)
  for (const [index, volts] of leads.entries()) {
    addLines(volts, capture.lines, takeNumber, samplesPerS)
    shapeInput(volts, rig.inputs[index], index + 1, capture, samplesPerS)
    const card = { sampleRateHz, bits, noiseDbfs: capture.noiseDbfs, levelErrorDb: capture.levelErrorDb }
    captureInput(volts, null, rig.inputs[index], card, seedFor(seed, 'input', index, takeNumber))
    await pace.breathe()
    pace.signal.throwIfAborted()
  }
  return { audio: { sampleRateHz, channels: leads }, leadVrms, terminalVrms: vrms(0) }
}
