/** linetrue rig check RIG: whether card, player, leads and meter are ready, before a job is begun. */
import type { Ask } from '../instruments/bench.js'
import { type CheckedRig, rigCheckText } from '../report/rig-check-text.js'
import { isStartedByHand, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { checkRig } from '../stages/rig-check.js'
import { StopError } from '../units/stop.js'
import { EXIT } from './exit.js'
import { type Loaded, shown } from './files.js'
import { loadRigWithCard, openBenchOf } from './rig-open.js'
import { Screen } from './screen.js'

export interface CheckOptions {
  readonly rigPath: string
  readonly isAttended: boolean
}

const READY =
  "Put the leads where the signal is: on the vehicle's outputs with the head unit playing this computer, or on the player's own output. Amplifiers stay unplugged or their gains down; only quiet tones are played."
const START = 'Start the track, or any music, on the head unit and let it play.'

export async function rigCheckCommand({ rigPath, isAttended }: CheckOptions, signal: AbortSignal): Promise<number> {
  const rig = await loadRigWithCard(rigPath)
  const screen = new Screen()
  const ask = (prompt: string, stop: AbortSignal): Promise<void> => screen.ask(prompt, isAttended, stop)
  const opened = await openWithoutMeterIfNeeded(rig, ask, (says) => screen.say(says), signal)
  const { bench } = opened
  try {
    const isHand = !bench.isSimulated && isStartedByHand(rig.value.player)
    if (!bench.isSimulated && !isHand) await ask(READY, signal)
    const check: CheckedRig = await checkRig(
      bench,
      {
        rig: rig.value,
        askToStart: isHand ? (stop) => ask(START, stop) : null,
        meterTrouble: opened.meterTrouble,
      },
      screen.progress,
      signal,
    )
    screen.clear()
    const { isColour, columnCount } = screen
    const text = rigCheckText(check, rig.value, {
      isColour,
      columnCount,
      isSimulated: bench.isSimulated,
      captureSays: bench.capture.where,
      playerSays: bench.player.where,
      rigPath: shown(rig.path),
    })
    process.stdout.write(`${text}\n`)
    return EXIT[check.verdict]
  } finally {
    screen.clear()
    await bench.close()
  }
}

interface Opened {
  readonly bench: Bench
  readonly meterTrouble: { readonly says: string; readonly remedy: string } | null
}

/** A meter that cannot be opened is one trouble among others: the card is looked at all the same. */
async function openWithoutMeterIfNeeded(
  rig: Loaded<Rig>,
  ask: Ask,
  onNotice: (says: string) => void,
  signal: AbortSignal,
): Promise<Opened> {
  try {
    return { bench: await openBenchOf(rig, ask, onNotice, signal), meterTrouble: null }
  } catch (error) {
    signal.throwIfAborted()
    if (!(error instanceof StopError) || error.kind !== 'instrument' || rig.value.meter === null) throw error
    const bench = await openBenchOf({ ...rig, value: { ...rig.value, meter: null } }, ask, onNotice, signal)
    return { bench, meterTrouble: { says: `${error.what} (${error.where})`, remedy: error.remedy } }
  }
}
