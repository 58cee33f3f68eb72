/**
 * All sound devices that this computer's tools know of, by the names that a rig file takes.
 *
 * A tool or server that isn't there gives an empty part; what is missing is told apart, in listSoundTools.
 */
import { StopError } from '../units/stop.js'
import { type AlsaDevice, listAlsa } from './alsa-devices.js'
import { listFfmpeg } from './ffmpeg-devices.js'
import { listDevices, type PulseDevice } from './pulse-devices.js'
import { installWords, runTool } from './tool.js'

export interface SoundDevice {
  readonly driver: 'pulse' | 'alsa' | 'ffmpeg'
  readonly direction: 'capture' | 'player'
  /** What goes into the rig file. */
  readonly name: string
  /** Readable. */
  readonly says: string
  /** null: the tool doesn't tell before the device is opened. */
  readonly channelCount: number | null
  readonly sampleRateHz: number | null
  /** What a person should know before choosing it. */
  readonly notes: readonly string[]
}

export interface SoundTool {
  readonly name: string
  readonly isThere: boolean
  /** What is missing and what to do about it; empty where nothing is. */
  readonly notes: readonly string[]
}

const DIRECTIONS = ['capture', 'player'] as const

/** A player of the sound server is named with driver computer in a rig file. */
export async function listSoundDevices(
  signal: AbortSignal,
  system: NodeJS.Platform = process.platform,
): Promise<readonly SoundDevice[]> {
  const parts =
    system === 'darwin' || system === 'win32'
      ? [
          ffmpegPart('capture', system === 'darwin' ? 'avfoundation' : 'dshow', signal),
          ...(system === 'darwin' ? [ffmpegPart('player', 'audiotoolbox' as const, signal)] : []),
        ]
      : DIRECTIONS.flatMap((direction) => [pulsePart(direction, signal), alsaPart(direction, signal)])
  return (await Promise.all(parts)).flat()
}

async function pulsePart(direction: SoundDevice['direction'], signal: AbortSignal): Promise<SoundDevice[]> {
  const devices = await orEmpty(listDevices(direction === 'capture' ? 'source' : 'sink', signal))
  return devices.map((device) => ({
    driver: 'pulse',
    direction,
    name: device.name,
    says: device.says === '' ? device.name : device.says,
    channelCount: device.channelCount,
    sampleRateHz: device.sampleRateHz,
    notes: pulseNotes(device, direction),
  }))
}

function pulseNotes(device: PulseDevice, direction: SoundDevice['direction']): string[] {
  return [
    ...(device.isMonitor ? ['repeats what the computer plays'] : []),
    ...(device.isMuted ? ['muted'] : []),
    ...(direction === 'capture' && device.volumeOffsetDb > 0.02
      ? [`its volume is ${device.volumeOffsetDb.toFixed(1)} dB off`]
      : []),
    ...(device.processing === null ? [] : [`changes the sound: ${device.processing}`]),
  ]
}

async function alsaPart(direction: SoundDevice['direction'], signal: AbortSignal): Promise<SoundDevice[]> {
  const devices = await orEmpty(listAlsa(direction === 'capture' ? 'arecord' : 'aplay', signal))
  return devices.map((device) => ({
    driver: 'alsa',
    direction,
    name: device.name,
    says: device.says === '' ? device.name : device.says,
    channelCount: null,
    sampleRateHz: null,
    notes: alsaNotes(device),
  }))
}

const alsaNotes = ({ name }: AlsaDevice): string[] =>
  name.startsWith('hw:') ? ['the card itself, bit-exact'] : ['may lead through converters or a sound server']

async function ffmpegPart(
  direction: SoundDevice['direction'],
  format: 'avfoundation' | 'dshow' | 'audiotoolbox',
  signal: AbortSignal,
): Promise<SoundDevice[]> {
  return (await listFfmpeg(format, signal)).map(({ name }) => ({
    driver: 'ffmpeg',
    direction,
    name,
    says: name,
    channelCount: null,
    sampleRateHz: null,
    notes: [],
  }))
}

/** The tools of this system, whether they are there, and what to do where they are not. */
export async function listSoundTools(
  signal: AbortSignal,
  system: NodeJS.Platform = process.platform,
): Promise<readonly SoundTool[]> {
  const asks: readonly (readonly [string, readonly string[], string])[] =
    system === 'darwin' || system === 'win32'
      ? [['ffmpeg', ['-version'], 'capture and output']]
      : [
          ['pactl', ['info'], 'capture and output through the sound server'],
          ['arecord', ['--version'], 'capture from a card itself'],
          ['aplay', ['--version'], 'output on a card itself'],
          ['amixer', ['--version'], "a look at a card's own volume and gain controls"],
          ['ffmpeg', ['-version'], 'capture and output through ffmpeg'],
        ]
  return await Promise.all(
    asks.map(async ([name, args, use]): Promise<SoundTool> => {
      try {
        await runTool(name, args, 'the sound server', signal)
        return { name, isThere: true, notes: [] }
      } catch (error) {
        if (!(error instanceof StopError)) throw error
        const isMissing = error.what.endsWith('is not installed')
        const notes = isMissing
          ? [`without ${name} there is no ${use}. ${installWords(name, system)}`]
          : [`${error.what}. ${error.remedy}`]
        return { name, isThere: !isMissing, notes }
      }
    }),
  )
}

async function orEmpty<Item>(list: Promise<Item[]>): Promise<Item[]> {
  try {
    return await list
  } catch (error) {
    if (error instanceof StopError) return []
    throw error
  }
}
