/**
 * The live bench: the sound server's capture and output, a meter on a serial port, and a person for the leads and knobs.
 */
import { inputsInWords } from '../rig/input-words.js'
import type { MeterSpec, PatchSpec, Rig } from '../rig/rig.js'
import type { Bench, HookUp, Player, Setting } from '../rig/roles.js'
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

/**
 * What to set for a take. Takes follow each other in the order of this list, volumes before the engine; each prompt takes back
 * what an earlier one asked for.
 *
 * @param volumeStep what the volume reads at the reference take; null where the job does not say
 */
export function settingPrompt(setting: Setting, volumeStep: number | null): string {
  const usual = volumeStep === null ? 'the volume of your job notes' : `the volume at ${volumeStep}`
  const back = `balance and fader in the middle, ${usual}`
  switch (setting) {
    case 'reference':
      return `Set the head unit for measuring: tone controls, loudness and sound effects off, ${back}, engine off. Change nothing until you are asked to.`
    case 'fader_front':
      return `Turn the fader fully to the front. Change nothing else.`
    case 'engine_running':
      return `Only with the exhaust led outside or in the open: carbon monoxide kills without a warning, never run the engine in a closed room. Parking brake on, gearbox in neutral or park. Set the head unit back: ${back}. Start the engine and let it idle, then confirm; stop it when the take has ended.`
    default:
      return `Set the volume to ${setting.slice('volume_'.length)}; balance and fader in the middle. Change nothing else.`
  }
}

/**
 * Opens the instruments of a rig.
 *
 * @param patches hook-ups by name, as the run will ask for them
 * @param signal ends the opening only
 * @param volumeStep what the head unit's volume reads at the reference take, for the prompts
 * @throws StopError when the rig is not for live use, or the meter cannot be opened
 */
export async function liveBench(
  rig: Rig,
  patches: readonly PatchSpec[],
  ask: Ask,
  signal: AbortSignal = new AbortController().signal,
  volumeStep: number | null = null,
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
    connect: async (to, callSignal) => {
      if (typeof to !== 'string') {
        await ask(hookUpPrompt(to, rig.inputs.length), whileOpen(callSignal))
        return
      }
      const patch = patches.find((candidate) => candidate.name === to)
      if (patch === undefined) throw new RangeError(`liveBench: no patch "${to}"`)
      await ask(connectPrompt(patch), whileOpen(callSignal))
    },
    set: async (setting, callSignal) => ask(settingPrompt(setting, volumeStep), whileOpen(callSignal)),
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

/** What to wire when the rig is checked by itself. */
export function hookUpPrompt(hookUp: HookUp, inputCount: number): string {
  const all = Array.from({ length: inputCount }, (_, index) => index + 1)
  if (hookUp.kind === 'shorted') {
    const them = inputCount === 1 ? 'it' : 'each of them'
    return `Take the ${leadsOf(all)} off the vehicle and short ${them} at the far end of the lead, in front of the pad: signal to ground.`
  }
  const { inputNumbers, meterInput } = hookUp
  const others = all.filter((number) => !inputNumbers.includes(number))
  const parallel = inputNumbers.length > 1 ? ', all in parallel' : ''
  return [
    `Connect the left side of the player's own output to the ${leadsOf(inputNumbers)}${parallel}; nothing else on it.`,
    ...(others.length > 0 ? [`Short the ${leadsOf(others)}.`] : []),
    ...(meterInput === null ? [] : [`Put the meter, on AC volts, across the lead of input ${meterInput}.`]),
  ].join(' ')
}

const leadsOf = (inputNumbers: readonly number[]): string =>
  `lead${inputNumbers.length === 1 ? '' : 's'} of ${inputsInWords(inputNumbers)}`

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
