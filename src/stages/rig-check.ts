/**
 * Whether a rig is ready: each input sees the player's quiet probe, rate and bits are as said, the meter answers.
 *
 * Nothing louder than the probe is played. What is wrong is gathered and not thrown, because a person mends several
 * things at once; only a card or player that cannot be used at all ends the check.
 */
import type { Rig } from '../rig/rig.js'
import type { Bench, CaptureFault } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import type { Verdict } from '../verdict/parts.js'
import { BlockClock } from './block-clock.js'
import type { OnProgress } from './progress.js'
import { type MeterState, readMeter } from './rig-check-meter.js'
import { type InputState, PROBE_TONES, readInputs, TONE_PEAK_FS } from './rig-check-read.js'
import { type Trouble, troublesOf } from './rig-check-words.js'
import { PLAY_RATE_HZ, silenceOf, tonesFor } from './rig-sound.js'
import { pause, takeOnce } from './take.js'

const PROBE_S = 1.6
const SILENCE_S = 1.4
/** A take shorter than this has nothing whole in it. */
const TAKE_S_MIN = 1.2
/** What a person starts may begin with silence: the track does for 5 s. */
const BY_HAND_S = 12
export interface RigCheck {
  readonly verdict: Verdict
  readonly inputs: readonly InputState[]
  readonly meter: MeterState | null
  readonly troubles: readonly Trouble[]
  /** The card's rate as the tone or the clock of the computer tells it, where that is not what the rig says. */
  readonly otherRateHz: number | null
  readonly isByHand: boolean
}

export interface RigCheckRequest {
  readonly rig: Rig
  /** Set where a person starts what is played: asks them to. */
  readonly askToStart: ((signal: AbortSignal) => Promise<void>) | null
  /** Why the meter could not be opened. */
  readonly meterTrouble: { readonly says: string; readonly remedy: string } | null
}

/** @throws StopError when card or player cannot be used at all */
export async function checkRig(
  bench: Bench,
  { rig, askToStart, meterTrouble }: RigCheckRequest,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<RigCheck> {
  const all = rig.inputs.map((_, index) => index + 1)
  if (bench.isSimulated) {
    const meterInput = rig.meter?.inputNumber ?? null
    await bench.connect({ kind: 'looped', inputNumbers: all, meterInput }, signal)
  }
  const clock = new BlockClock()
  const watched: Bench = { ...bench, capture: clock.watching(bench.capture) }
  const quiet = bench.isSimulated ? watched : waiting(watched, (stop) => pause(SILENCE_S, stop))
  const says = { step: 'listening', detail: 'nothing is played' }
  const rest = await takeOnce(quiet, silenceOf(SILENCE_S), null, says, onProgress, signal)
  const probe = await probeSound()
  const take =
    askToStart === null
      ? await takeOnce(watched, probe, null, { step: 'quiet probe', detail: '' }, onProgress, signal)
      : await takeOnce(
          waiting(watched, async (stop) => {
            await askToStart(stop)
            await pause(BY_HAND_S, stop)
          }),
          silenceOf(BY_HAND_S),
          null,
          { step: 'listening', detail: 'to what you started' },
          onProgress,
          signal,
        )
  for (const { isBrokenOff, faults, audio } of [rest, take]) {
    if (isBrokenOff || durationS(audio) < TAKE_S_MIN) throw brokenOff(bench, faults)
  }
  onProgress({ step: 'measuring', detail: '', doneS: null, totalS: null })
  const isByHand = askToStart !== null
  const { inputs, toneRateHz } = readInputs(rest.audio, take.audio, isByHand)
  // A model's blocks come at no rate at all.
  const clockRateHz = bench.isSimulated ? null : clock.otherRateHz(rig.capture.sampleRateHz)
  const meter =
    rig.meter === null || meterTrouble !== null
      ? null
      : await readMeter(bench, rig.meter, inputs, rig, isByHand, onProgress, signal)
  const otherRateHz =
    toneRateHz ?? (take.audio.sampleRateHz === rig.capture.sampleRateHz ? clockRateHz : take.audio.sampleRateHz)
  const troubles = troublesOf({
    rig,
    inputs,
    meter,
    meterTrouble,
    otherRateHz,
    isByHand,
    faults: faultsOf([...rest.captureFaults, ...take.captureFaults], otherRateHz !== null),
  })
  const verdict = (['fail', 'unsure'] as const).find((one) => troubles.some((trouble) => trouble.verdict === one))
  return { verdict: verdict ?? 'pass', inputs, meter, troubles, otherRateHz, isByHand }
}

const brokenOff = (bench: Bench, faults: readonly string[]): StopError =>
  new StopError(
    faults[0] ?? 'the capture broke off',
    bench.capture.where,
    'Check its cable and that no other program holds it, then give the same command again.',
    'instrument',
  )

/** Silence, clipping and a wrong rate are told for each input and for the card; what is left is told once. */
const faultsOf = (faults: readonly CaptureFault[], isRateTold: boolean): string[] => [
  ...new Set(
    faults
      .filter(({ kind }) => kind !== 'silent' && kind !== 'clipped' && !(kind === 'rate' && isRateTold))
      .map(({ says }) => says),
  ),
]

/** Left and right with tones of their own, each side's peak at the probe's level. */
async function probeSound(): Promise<Audio> {
  const sides = await Promise.all(
    [PROBE_TONES.leftHz, PROBE_TONES.rightHz].map((freqsHz) => {
      const tones = freqsHz.map((freqHz) => ({ freqHz, peakFs: TONE_PEAK_FS }))
      return tonesFor(PROBE_S, tones)
    }),
  )
  return { sampleRateHz: PLAY_RATE_HZ, channels: sides.map(({ channels }) => channels[0]) }
}

/** The same bench, whose player only lets time pass. */
const waiting = (bench: Bench, wait: (signal: AbortSignal) => Promise<void>): Bench => ({
  ...bench,
  player: { where: bench.player.where, play: async (_audio, signal) => wait(signal) },
})
