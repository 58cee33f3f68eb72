/**
 * What goes wrong when a sound device is opened, told apart and said in one line each, whichever tool opens it.
 *
 * Tools of several systems say the same things in few words; those words are looked for, with the tool's own line in the
 * message where it says more.
 */
import { StopError } from '../units/stop.js'

export type Role = 'capture' | 'player'

/** What a tool's complaint is about; null: something else. */
export type Trouble = 'missing' | 'busy' | 'denied' | 'server' | 'refused'

const TROUBLES: readonly (readonly [Trouble, RegExp])[] = [
  ['busy', /resource busy|already in use|in use by another/i],
  ['denied', /permission denied|not permitted|access (?:is )?denied|not authori[sz]ed/i],
  ['server', /connection (?:refused|terminated|failure)|unable to connect|cannot connect context/i],
  [
    'missing',
    /no such (?:device|file|entity)|cannot get card index|unknown pcm|not found|could not find|no soundcards/i,
  ],
  ['refused', /non available|not available|cannot set|unable to install hw params|could not set|invalid argument/i],
]

export const troubleIn = (text: string): Trouble | null => TROUBLES.find(([, words]) => words.test(text))?.[0] ?? null

const roleWords = (role: Role): { kind: string; key: string } =>
  role === 'capture' ? { kind: 'input', key: 'capture.device' } : { kind: 'output', key: 'player.device' }

/** @param names those there are, as the rig file names them */
export function noSuchDevice(role: Role, where: string, names: readonly string[]): StopError {
  const { kind, key } = roleWords(role)
  return new StopError(
    `there is no sound ${kind} of this name`,
    where,
    names.length === 0
      ? `Plug the card in; linetrue rig devices lists what there is. The name stands in ${key} in the rig file.`
      : `Plug the card in, or set ${key} in the rig file to one of: ${names.join(', ')}`,
    'instrument',
  )
}

export const busyDevice = (role: Role, where: string, system: NodeJS.Platform = process.platform): StopError =>
  new StopError(
    `the sound ${roleWords(role).kind} is busy: another program holds it`,
    where,
    system === 'linux'
      ? 'Close that program; fuser -v /dev/snd/* names it. A sound server lets go a few seconds after its last stream.'
      : 'Close the other programs that use it.',
    'instrument',
  )

export function deniedDevice(role: Role, where: string, system: NodeJS.Platform = process.platform): StopError {
  const remedy =
    system === 'darwin'
      ? 'Allow it for this terminal in System Settings, Privacy & Security, Microphone.'
      : system === 'win32'
        ? 'Allow desktop apps to use it in Settings, Privacy, Microphone.'
        : 'Join the group audio: sudo usermod -aG audio "$USER", then log out and in again.'
  return new StopError(`this user may not open the sound ${roleWords(role).kind}`, where, remedy, 'instrument')
}

export const noServerFor = (where: string, says: string): StopError =>
  new StopError(
    `the sound server behind it does not answer: ${says}`,
    where,
    'Start PulseAudio or PipeWire as the user that runs this command, or name the card itself.',
    'instrument',
  )

/** @param remedy what to set where; the rates that the device has, if they are known */
export const otherRate = (where: string, askedHz: number, gotHz: number, remedy: string): StopError =>
  new StopError(`the device runs at ${gotHz} Hz though ${askedHz} Hz was asked for`, where, remedy, 'instrument')

export const tooFewChannels = (role: Role, where: string, count: number, wantedCount: number): StopError =>
  new StopError(
    `the ${roleWords(role).kind} has ${count} channels, but ${wantedCount} are needed`,
    where,
    role === 'capture'
      ? 'List fewer inputs in the rig file, or switch the card to the mode that has them all.'
      : 'Name an output with two channels.',
    'instrument',
  )

export const silentInput = (where: string, waitedS: number): StopError =>
  new StopError(
    `no samples came within ${waitedS} s`,
    where,
    'Check that no other program holds the card, then plug it in anew or start the sound server anew.',
    'instrument',
  )

/** A tool that ended with something that no other line here is for. */
export const otherTrouble = (tool: string, where: string, says: string): StopError =>
  new StopError(
    `${tool} failed${says === '' ? '' : `: ${says}`}`,
    where,
    'Check the device and its name with linetrue rig devices.',
    'instrument',
  )

/** For what every tool says alike; null where it takes a look at what devices there are. */
export function stopFor(trouble: Trouble | null, role: Role, where: string, words: string): StopError | null {
  if (trouble === 'busy') return busyDevice(role, where)
  if (trouble === 'denied') return deniedDevice(role, where)
  return trouble === 'server' ? noServerFor(where, words) : null
}

/** What ffmpeg complained of last, in its words without its own bracket; else what else is known of its end. */
export function ffmpegComplaint(said: readonly string[], says: string): { trouble: Trouble | null; words: string } {
  const complaint = said.findLast((line) => troubleIn(line) !== null) ?? ''
  return { trouble: troubleIn(complaint), words: (complaint === '' ? says : complaint).replace(/^\[[^\]]*\] /, '') }
}
