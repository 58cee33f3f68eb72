/**
 * What the sound server does with the stream of a tool on its way: converts its rate, or sorts its channels by their names.
 *
 * Some tools reach the server without a way to forbid it. The stream is found among the server's by the tool's process, so
 * this is also right where a tool's device only happens to lead to the server. Without a server there is nothing to find.
 */
import { StopError } from '../units/stop.js'
import type { Direction } from './pulse-devices.js'
import { runTool } from './tool.js'

interface StreamOnServer {
  readonly deviceIndex: number
  readonly sampleRateHz: number
  readonly channelMap: string
}
interface DeviceOnServer extends StreamOnServer {
  readonly name: string
}

/**
 * @returns whether the stream was found
 * @throws StopError when the server changes what passes through it
 */
export async function checkServerPath(
  direction: Direction,
  pid: number | undefined,
  signal: AbortSignal,
): Promise<boolean> {
  if (pid === undefined) return false
  const [streams, devices] = await Promise.all([
    pactlList(direction === 'source' ? 'source-outputs' : 'sink-inputs', signal),
    pactlList(`${direction}s`, signal),
  ])
  const stream = parseStream(streams, pid)
  const device = stream && parsePaths(devices).find(({ deviceIndex }) => deviceIndex === stream.deviceIndex)
  if (!stream || !device) return false
  if (stream.sampleRateHz !== device.sampleRateHz) {
    throw new StopError(
      `the device runs at ${device.sampleRateHz} Hz, so the sound server would convert the ${stream.sampleRateHz} Hz samples`,
      device.name,
      `Set the sound server's rate to ${stream.sampleRateHz} (default-sample-rate), or name the card itself (driver alsa, hw:...).`,
      'instrument',
    )
  }
  if (stream.channelMap !== device.channelMap) {
    const driver = direction === 'source' ? 'pulse' : 'computer'
    throw new StopError(
      `the sound server would sort the channels by their names: ${device.channelMap} on the device, ${stream.channelMap} here`,
      device.name,
      `Write driver: ${driver} in the rig file, which takes channels by their place, or name the card itself (driver alsa, hw:...).`,
      'instrument',
    )
  }
  return true
}

/** Empty when there is no server to ask. */
async function pactlList(what: string, signal: AbortSignal): Promise<string> {
  try {
    return await runTool('pactl', ['list', what], 'the sound server', signal)
  } catch (error) {
    if (error instanceof StopError) return ''
    throw error
  }
}

const entriesOf = (text: string): string[] => text.split(/^(?=\S.* #\d+$)/m).filter((entry) => entry.trim() !== '')

const fieldOf = (entry: string, name: string): string =>
  new RegExp(`^\\s*${name}: (.*)$`, 'm').exec(entry)?.[1].trim() ?? ''

const specOf = (entry: string) => ({
  sampleRateHz: Number(/(\d+)Hz/.exec(fieldOf(entry, 'Sample Specification'))?.[1] ?? 0),
  channelMap: fieldOf(entry, 'Channel Map'),
})

/** The stream of a process, from `pactl list source-outputs` or `sink-inputs`; null when it has none. */
export function parseStream(text: string, pid: number): StreamOnServer | null {
  const entry = entriesOf(text).find((candidate) => candidate.includes(`application.process.id = "${pid}"`))
  if (entry === undefined) return null
  return { deviceIndex: Number(fieldOf(entry, 'Source') || fieldOf(entry, 'Sink')), ...specOf(entry) }
}

/** Devices from `pactl list sources` or `sinks`. */
export const parsePaths = (text: string): DeviceOnServer[] =>
  entriesOf(text).map((entry) => ({
    deviceIndex: Number(/#(\d+)$/m.exec(entry)?.[1] ?? -1),
    name: fieldOf(entry, 'Name'),
    ...specOf(entry),
  }))
