/** One chime's capture: a moment of quiet to learn the noise, then whatever sounds, until it has been heard or time is up. */
import { chimeEar, findChime } from '../measure/chime.js'
import type { Bench } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { captureWhile, type Hearing } from './capture-while.js'
import type { MakeSink, RawTake } from './take.js'

/** Quiet before a person is asked to make it sound. */
export const LEARN_S = 1.5
/** What a card gives in its first moments is not its noise. */
export const SETTLE_S = 0.3
/** Blocks of a real card may be late by so much. */
const LATE_S = 5
const LOOK_EVERY_S = 1
/** Looks overlap by a window of the ear's. */
const OVERLAP_S = 0.05
/** After something was first heard it is listened for so long: for its repetitions. */
const GO_ON_S = 4

export interface ChimeAsked {
  /** How long it is waited for. */
  readonly waitS: number
  /** Makes it sound, or asks a person to. */
  sound(signal: AbortSignal): Promise<void>
  onWaiting(timeS: number): void
}

export const captureChime = (
  bench: Bench,
  makeSink: MakeSink,
  { waitS, sound, onWaiting }: ChimeAsked,
  signal: AbortSignal,
): Promise<RawTake> =>
  captureWhile(
    bench,
    makeSink,
    async (hearing, until) => {
      const { clock } = bench
      await untilLearned(bench, hearing, until)
      const ear = chimeEar(hearing.since(SETTLE_S), hearing.sampleRateHz, waitS)
      let lookedS = hearing.heardS
      await sound(until)
      const askedS = clock.nowS()
      while (clock.nowS() < askedS + waitS) {
        await clock.pause(LOOK_EVERY_S, until)
        onWaiting(clock.nowS() - askedS)
        const latest = hearing.since(lookedS - OVERLAP_S)
        lookedS = hearing.heardS
        if (!ear.hears(latest)) continue
        await clock.pause(GO_ON_S, until)
        lookedS = hearing.heardS
        const all = hearing.since(SETTLE_S)
        const ones = all.map(() => 1)
        // A click that came before it ends no listening.
        if (findChime(all, hearing.sampleRateHz, LEARN_S, ones) !== null) return
      }
    },
    signal,
  )

async function untilLearned({ clock, capture }: Bench, hearing: Hearing, signal: AbortSignal): Promise<void> {
  const neededS = SETTLE_S + LEARN_S
  const endS = clock.nowS() + neededS + LATE_S
  await clock.pause(neededS, signal)
  while (hearing.heardS < neededS) {
    if (clock.nowS() > endS) {
      const remedy = 'Check the card and its cable, then give the same command again.'
      throw new StopError('the card gives no samples, or too few', capture.where, remedy, 'instrument')
    }
    await clock.pause(0.1, signal)
  }
}
