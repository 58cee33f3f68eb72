/**
 * The live bench: a capture and a player, a meter on a serial port, and a person for the leads and knobs.
 */

import { settingsToAsk } from '../rig/head-unit-settings.js'
import { inputsInWords } from '../rig/input-words.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Bench, HookUp, Setting } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { openMeter } from './open-meter.js'
import { notLive, openCapture, openPlayer } from './open-sound.js'
import { sleep } from './sleep.js'

/** Shows the person what to do; resolves when it is done, rejects with the signal's reason. */
export type Ask = (prompt: string, signal: AbortSignal) => Promise<void>

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
      return `Set the head unit for measuring: ${settingsToAsk(volumeStep)
        .map(({ name, asked }) => `${name} ${asked}`)
        .join('; ')}. Change nothing until you are asked to.`
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
 * @param onNotice told what the person should know at once: the meter was unplugged, and is waited for
 * @throws StopError when the rig is not for live use, or the meter cannot be opened
 */
export async function liveBench(
  rig: Rig,
  patches: readonly PatchSpec[],
  ask: Ask,
  signal: AbortSignal = new AbortController().signal,
  volumeStep: number | null = null,
  onNotice: (says: string) => void = () => {},
): Promise<Bench> {
  const capture = openCapture(rig)
  const player = openPlayer(rig, ask)
  if (rig.meter?.driver === 'simulated') throw notLive(rig.name, 'meter', rig.meter.driver)
  const closing = new AbortController()
  let setting: Setting | null = null
  const meter = rig.meter === null ? null : await openMeter(rig.meter, signal, { onNotice })
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
    connect: async (to, callSignal, prompt) => {
      if (typeof to !== 'string') {
        await ask(hookUpPrompt(to, rig.inputs.length), whileOpen(callSignal))
        return
      }
      const patch = patches.find((candidate) => candidate.name === to)
      if (patch === undefined) throw new RangeError(`liveBench: no patch "${to}"`)
      await ask(prompt ?? connectPrompt(patch), whileOpen(callSignal))
    },
    set: async (next, callSignal) => {
      // What was asked for a moment ago is not asked for again.
      if (next === setting) return
      await ask(settingPrompt(next, volumeStep), whileOpen(callSignal))
      setting = next
    },
    // A person has been asked, in the words of the stage.
    act: async (_, callSignal) => callSignal.throwIfAborted(),
    clock: {
      nowS: () => performance.now() / 1000,
      pause: (timeS, callSignal) => sleep(timeS, whileOpen(callSignal)),
    },
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
