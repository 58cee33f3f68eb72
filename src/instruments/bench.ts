/**
 * The live bench: the sound server's capture and output, a meter on a serial port, and a person for the leads and knobs.
 */
import type { MeterSpec, PatchSpec, Rig } from '../rig/rig.js'
import type { Bench, Player } from '../rig/roles.js'
import { durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { ComputerPlayer } from './computer-player.js'
import { openSerialLink } from './line-link.js'
import { listPorts, noPort } from './port-errors.js'
import { PulseCapture } from './pulse-capture.js'
import { ScpiMeter } from './scpi-meter.js'

/** Shows the person what to do; resolves when it is done, rejects with the signal's reason. */
export type Ask = (prompt: string, signal: AbortSignal) => Promise<void>

/** A person starts the track a moment before or after saying so; the wait covers both. */
const HAND_START_S = 2

const PROMPTS = {
  reference:
    'Set the head unit for measuring: tone controls, loudness and sound effects off, balance and fader in the middle, the volume of your job notes. Leave it so until the end.',
  fader_front: 'Turn the fader fully to the front. Change nothing else.',
} as const

/**
 * Opens the instruments of a rig.
 *
 * @param patches hook-ups by name, as the run will ask for them
 * @param signal ends the opening only
 * @throws StopError when the rig is not for live use, or the meter cannot be opened
 */
export async function liveBench(
  rig: Rig,
  patches: readonly PatchSpec[],
  ask: Ask,
  signal: AbortSignal = new AbortController().signal,
): Promise<Bench> {
  if (rig.capture.driver !== 'pulse') throw notLive(rig, 'capture', rig.capture.driver)
  if (rig.player.driver === 'simulated') throw notLive(rig, 'player', rig.player.driver)
  const closing = new AbortController()
  const capture = new PulseCapture({
    device: rig.capture.device,
    sampleRateHz: rig.capture.sampleRateHz,
    inputCount: rig.inputs.length,
  })
  const player = rig.player.driver === 'computer' ? new ComputerPlayer(rig.player.device) : handPlayer(ask)
  const meter = rig.meter === null ? null : await openMeter(rig, rig.meter, signal)
  const whileOpen = (callSignal: AbortSignal): AbortSignal => AbortSignal.any([callSignal, closing.signal])
  return {
    says: [
      `capture ${capture.where}`,
      `player ${player.where}`,
      ...(meter === null ? [] : [`meter ${meter.where}`]),
    ].join(', '),
    isSimulated: false,
    capture: { where: capture.where, start: (onBlock, callSignal) => capture.start(onBlock, whileOpen(callSignal)) },
    player: { where: player.where, play: (audio, callSignal) => player.play(audio, whileOpen(callSignal)) },
    meter,
    connect: async (patchName, callSignal) => {
      const patch = patches.find((candidate) => candidate.name === patchName)
      if (patch === undefined) throw new RangeError(`liveBench: no patch "${patchName}"`)
      await ask(connectPrompt(patch), whileOpen(callSignal))
    },
    set: async (setting, callSignal) => ask(PROMPTS[setting], whileOpen(callSignal)),
    close: async () => {
      if (closing.signal.aborted) return
      closing.abort(new StopError('the bench was closed', rig.name, 'Start the run again.', 'instrument'))
      await meter?.close()
    },
  }
}

/** What to plug where, one lead after the other. */
export function connectPrompt(patch: PatchSpec): string {
  const leads = patch.leads.map(({ inputNumber, outputNumber }) => `input ${inputNumber} to output ${outputNumber}`)
  return `Connect ${leads.join(', ')}. Amplifiers stay unplugged or their gains down.`
}

/** A stick or disc that a person starts: the track finds itself in the take, so a rough start is good enough. */
function handPlayer(ask: Ask): Player {
  return {
    where: 'the head unit, started by hand',
    async play(audio, signal) {
      await ask('Start the track on the head unit now, from its beginning, then confirm.', signal)
      await sleep(durationS(audio) + HAND_START_S, signal)
    },
  }
}

async function openMeter(rig: Rig, spec: MeterSpec, signal: AbortSignal): Promise<ScpiMeter> {
  if (spec.driver !== 'scpi') throw notLive(rig, 'meter', spec.driver)
  if (spec.port === null) throw noPort(await listPorts())
  return new ScpiMeter(await openSerialLink(spec.port, spec.baudRate, signal), spec)
}

const notLive = (rig: Rig, role: string, driver: string): StopError =>
  new StopError(
    `${role}.driver is "${driver}", which cannot be mixed with live instruments`,
    rig.name,
    'Use live drivers for all roles (capture: pulse, player: computer or none, meter: scpi), or simulated ones for all.',
  )

async function sleep(waitS: number, signal: AbortSignal): Promise<void> {
  signal.throwIfAborted()
  await new Promise<void>((resolve, reject) => {
    const onAbort = (): void => {
      clearTimeout(timer)
      reject(signal.reason)
    }
    const timer = setTimeout(() => {
      signal.removeEventListener('abort', onAbort)
      resolve()
    }, 1000 * waitS)
    signal.addEventListener('abort', onAbort, { once: true })
  })
}
