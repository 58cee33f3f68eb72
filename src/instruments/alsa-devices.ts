/**
 * What ALSA's tools say of cards and devices: their lists, and what a device can do.
 *
 * Convention: hw:CARD=NAME,DEV=0 is the card itself, without any conversion; its NAME stays when cards are numbered anew.
 */
import { accessSync, constants, readdirSync } from 'node:fs'
import { StopError } from '../units/stop.js'
import { runTool } from './tool.js'

export interface AlsaDevice {
  /** What goes into the rig file. */
  readonly name: string
  readonly says: string
}

/** Hardware from `arecord -l` or `aplay -l`. */
export function parseHardware(text: string): AlsaDevice[] {
  return [...text.matchAll(/^card \d+: (\S+) \[(.*)\], device (\d+): (.*?)(?: \[(.*)\])?$/gm)].map(
    ([, card, cardSays, device, id, says]) => ({
      name: `hw:CARD=${card},DEV=${device}`,
      says: `${cardSays}, ${says === undefined || says === '' ? id : says}`,
    }),
  )
}

/** Names from `arecord -L` or `aplay -L`: one at the start of a line, what it says indented below. */
export function parseNames(text: string): AlsaDevice[] {
  return [...text.matchAll(/^(\S.*)\n((?:[ \t]+.*\n?)*)/gm)].map(([, name, says]) => ({
    name: name.trim(),
    says: says
      .split('\n')
      .map((line) => line.trim())
      .filter((line) => line !== '')
      .join(', '),
  }))
}

/** Names that lead to nothing, or through a converter. */
const NO_DEVICE = /^(?:null|lavrate|samplerate|speexrate|speex|upmix|vdownmix|jack|oss|usbstream:.*)$/

/**
 * Cards first, then the names from the user's own settings; what ALSA derives from a card (plughw:, front:, dsnoop:) converts
 * or is the same again.
 */
export async function listAlsa(tool: 'arecord' | 'aplay', signal: AbortSignal): Promise<AlsaDevice[]> {
  const ask = (arg: string): Promise<string> =>
    runTool(tool, [arg], 'ALSA', signal).catch((error: unknown) => {
      if (error instanceof StopError) return ''
      throw error
    })
  const hardware = parseHardware(await ask('-l'))
  const named = parseNames(await ask('-L')).filter(({ name }) => !name.includes(':') && !NO_DEVICE.test(name))
  return [...hardware, ...named]
}

/** What a device can do, from --dump-hw-params; null: not said. */
export interface HwParams {
  readonly formats: readonly string[]
  readonly channels: Range | null
  readonly rates: Range | null
}
export interface Range {
  readonly min: number
  readonly max: number
}

export function parseHwParams(lines: readonly string[]): HwParams | null {
  const field = (name: string): string | null =>
    lines
      .find((line) => line.startsWith(`${name}:`))
      ?.slice(name.length + 1)
      .trim() ?? null
  const formats = field('FORMAT')
  if (formats === null) return null
  return { formats: formats.split(/\s+/), channels: rangeIn(field('CHANNELS')), rates: rangeIn(field('RATE')) }
}

/** "8", "[1 8]", "(2 8]" or several of them; ALL or NONE tell nothing. */
function rangeIn(text: string | null): Range | null {
  const numbers = [...(text ?? '').matchAll(/\d+/g)].map(Number)
  return numbers.length === 0 ? null : { min: Math.min(...numbers), max: Math.max(...numbers) }
}

/** The card in a device's name, as amixer takes it; null where the name holds none. */
export const cardOf = (device: string): string | null => /^[\w-]+:(?:.*\bCARD=)?([\w-]+)/.exec(device)?.[1] ?? null

/** Whether the system has sound cards that this user may not open; then its tools say that there are none. */
export function isDenied(folder = '/dev/snd'): boolean {
  try {
    const controls = readdirSync(folder).filter((name) => name.startsWith('controlC'))
    return controls.length > 0 && controls.every((name) => !isOpenable(`${folder}/${name}`))
  } catch {
    return false
  }
}

function isOpenable(path: string): boolean {
  try {
    accessSync(path, constants.R_OK | constants.W_OK)
    return true
  } catch {
    return false
  }
}
