/** What this computer has to make a rig of: cards, outputs, serial ports, and the tools that reach them. */
import { listMeterPorts, type MeterPort } from '../instruments/ports.js'
import { listSoundDevices, listSoundTools, type SoundDevice, type SoundTool } from '../instruments/sound-devices.js'
import { StopError } from '../units/stop.js'

export interface FoundInstruments {
  /** What suits best comes first, what only repeats the computer's own sound last. */
  readonly captures: readonly SoundDevice[]
  readonly players: readonly SoundDevice[]
  readonly ports: readonly MeterPort[]
  readonly tools: readonly SoundTool[]
}

/** What cannot be listed is missing from the list, not an error: the tools say why. */
export async function findAll(signal: AbortSignal): Promise<FoundInstruments> {
  const [devices, tools, ports] = await Promise.all([
    orNone(listSoundDevices(signal), signal),
    orNone(listSoundTools(signal), signal),
    orNone(listMeterPorts(), signal),
  ])
  const sorted = [...devices].sort((a, b) => rankOf(a) - rankOf(b))
  return {
    captures: sorted.filter(({ direction }) => direction === 'capture'),
    players: sorted.filter(({ direction }) => direction === 'player'),
    ports,
    tools,
  }
}

/** A card itself, then one behind a sound server, then what may convert, then what is no card at all. */
function rankOf({ driver, name, notes }: SoundDevice): number {
  if (notes.some((note) => note.startsWith('repeats'))) return 3
  if (driver === 'alsa') return name.startsWith('hw:') ? 0 : 2
  return 1
}

async function orNone<Item>(listing: Promise<readonly Item[]>, signal: AbortSignal): Promise<readonly Item[]> {
  try {
    return await listing
  } catch (error) {
    signal.throwIfAborted()
    if (error instanceof StopError) return []
    throw error
  }
}
