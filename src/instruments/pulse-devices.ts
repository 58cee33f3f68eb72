/**
 * What the sound server (PulseAudio, or PipeWire in its place) says about its inputs and outputs.
 *
 * Convention: a source is what can be captured from, a sink what can be played to, as the server's own tools call them.
 */
import { StopError } from '../units/stop.js'
import { runTool } from './tool.js'

/** The server's steps of volume are finer than this, and levels are judged to tenths of a decibel. */
const VOLUME_OFFSET_DB_MAX = 0.02

export type Direction = 'source' | 'sink'

export interface PulseDevice {
  readonly name: string
  readonly channelCount: number
  readonly sampleRateHz: number
  readonly isMuted: boolean
  /** How far the volume of any channel stands from full and from the card's own neutral setting, the nearer of both. */
  readonly volumeOffsetDb: number
  /** Set on a source that repeats what an output plays. */
  readonly isMonitor: boolean
  /** Readable name. */
  readonly says: string
  /** What changes the sound inside the server: the driver of a filter, or words for it; null: nothing is known to. */
  readonly processing: string | null
}

/** Words that the server's and other modules use for what changes a voice, and a measurement with it. */
const PROCESSING = /echo.?cancel|noise.?(?:suppress|cancel|reduc)|rnnoise|webrtc|auto.?gain|\bagc\b/i
/** Picks or names channels, and changes nothing else. */
const PLAIN_FILTERS = /^module-(?:remap|virtual)-(?:source|sink)/

/** All devices of one direction. */
export async function listDevices(direction: Direction, signal: AbortSignal): Promise<PulseDevice[]> {
  return parseDevices(await runTool('pactl', ['list', `${direction}s`], 'the sound server', signal))
}

/**
 * The device of a name, or the server's default.
 *
 * @throws StopError when there is no such device (listing those there are), it has too few channels, is muted,
 *   or an input's volume is turned away from full
 */
export async function findDevice(
  direction: Direction,
  name: string | null,
  channelCount: number,
  signal: AbortSignal,
): Promise<PulseDevice> {
  const devices = await listDevices(direction, signal)
  const wanted = name ?? (await defaultName(direction, signal))
  const device = devices.find((candidate) => candidate.name === wanted)
  const [kind, key] = direction === 'source' ? ['input', 'capture.device'] : ['output', 'player.device']
  if (device === undefined) {
    const names = devices.map((candidate) => candidate.name).join(', ')
    throw new StopError(
      wanted === '' ? `the sound server has no default ${kind}` : `the sound server has no ${kind} of this name`,
      wanted === '' ? 'the sound server' : wanted,
      names === ''
        ? `Plug the ${kind} in, or check ${key} in the rig file.`
        : `Set ${key} in the rig file to one of: ${names}`,
      'instrument',
    )
  }
  if (name === null && device.isMonitor) {
    throw new StopError(
      'the default input only repeats what the computer plays',
      device.name,
      'Plug the capture card in, or name its input as capture.device in the rig file.',
      'instrument',
    )
  }
  if (device.channelCount < channelCount) {
    throw new StopError(
      `the ${kind} has ${device.channelCount} channels, but ${channelCount} are needed`,
      device.name,
      direction === 'source'
        ? 'Choose the card profile with all inputs, or list fewer inputs in the rig file.'
        : 'Choose a stereo profile for the card.',
      'instrument',
    )
  }
  if (device.processing !== null) {
    throw new StopError(
      `the ${kind} changes the sound inside the sound server: ${device.processing}`,
      device.name,
      `Set ${key} in the rig file to the card's own ${kind}; pactl list short ${direction}s names it.`,
      'instrument',
    )
  }
  if (device.isMuted) {
    throw new StopError(
      `the ${kind} is muted`,
      device.name,
      `Unmute it: pactl set-${direction}-mute ${device.name} 0`,
      'instrument',
    )
  }
  if (direction === 'source' && device.volumeOffsetDb > VOLUME_OFFSET_DB_MAX) {
    throw new StopError(
      `the input's volume is ${device.volumeOffsetDb.toFixed(1)} dB off, so every level would be`,
      device.name,
      `Set it to full: pactl set-source-volume ${device.name} 100%`,
      'instrument',
    )
  }
  return device
}

/**
 * Checks that a device runs at the rate of the samples, once a stream is open: an idle device may still change its rate.
 *
 * @throws StopError when the sound server converts the rate on the way, which would blur what is measured
 */
export async function checkRate(
  direction: Direction,
  name: string,
  sampleRateHz: number,
  remedy: string,
  signal: AbortSignal,
): Promise<void> {
  const device = (await listDevices(direction, signal)).find((candidate) => candidate.name === name)
  if (device === undefined || device.sampleRateHz === sampleRateHz) return
  throw new StopError(
    `the device runs at ${device.sampleRateHz} Hz, so the sound server would convert the ${sampleRateHz} Hz samples`,
    name,
    remedy,
    'instrument',
  )
}

async function defaultName(direction: Direction, signal: AbortSignal): Promise<string> {
  const info = await runTool('pactl', ['info'], 'the sound server', signal)
  const key = direction === 'source' ? 'Default Source' : 'Default Sink'
  return new RegExp(`^${key}: (.*)$`, 'm').exec(info)?.[1].trim() ?? ''
}

/** Reads the long list, whose form has stayed the same through all versions of the tool; LC_ALL=C keeps it English. */
export function parseDevices(text: string): PulseDevice[] {
  return text
    .split(/^(?:Source|Sink) #/m)
    .slice(1)
    .map((entry) => {
      const field = (name: string): string => new RegExp(`^\\s*${name}: (.*)$`, 'm').exec(entry)?.[1].trim() ?? ''
      const spec = /(\d+)ch (\d+)Hz/.exec(field('Sample Specification'))
      const volumesDb = decibelsIn(field('Volume'))
      const offsetDb = (fromDb: number): number => Math.max(0, ...volumesDb.map((db) => Math.abs(db - fromDb)))
      return {
        name: field('Name'),
        channelCount: Number(spec?.[1] ?? 0),
        sampleRateHz: Number(spec?.[2] ?? 0),
        isMuted: field('Mute') === 'yes',
        volumeOffsetDb: Math.min(offsetDb(0), ...decibelsIn(field('Base Volume')).map(offsetDb)),
        isMonitor: field('Monitor of Sink') !== '' && field('Monitor of Sink') !== 'n/a',
        says: field('Description'),
        processing: processingOf(entry, field('Driver')),
      }
    })
}

function processingOf(entry: string, driver: string): string | null {
  const words = PROCESSING.exec(entry)?.[0]
  const isFilter = /^\s*device\.class = "filter"/m.test(entry) && !PLAIN_FILTERS.test(driver)
  if (words === undefined && !isFilter) return null
  return driver === '' || /^pipewire$/i.test(driver) ? (words ?? 'a filter') : driver.replace(/\.c$/, '')
}

const decibelsIn = (text: string): number[] =>
  [...text.matchAll(/(-?(?:[\d.]+|inf)) dB/g)].map(([, db]) => (db === '-inf' ? Number.NEGATIVE_INFINITY : Number(db)))
