/** Plays through ffmpeg: audiotoolbox on macOS, the sound server or ALSA elsewhere. Windows has no output in ffmpeg. */
import { StopError } from '../units/stop.js'
import { isDenied, listAlsa } from './alsa-devices.js'
import { listFfmpeg } from './ffmpeg-devices.js'
import { words32 } from './play-words.js'
import { findDevice } from './pulse-devices.js'
import { checkServerPath } from './pulse-path.js'
import { deniedDevice, ffmpegComplaint, noSuchDevice, otherTrouble, stopFor } from './sound-stops.js'
import { type PlayStream, ranDry, ToolPlayer } from './tool-player.js'

export type OutputFormat = 'audiotoolbox' | 'pulse' | 'alsa'

export interface FfmpegPlayerSpec {
  /** Readable name on macOS, the sound server's or ALSA's name elsewhere; null: the default one. */
  readonly device: string | null
  readonly outputFormat: OutputFormat
}

/** What the server holds ready: a computer that is busy for less than this is not heard. */
const BUFFER_MS = 500

export const usualOutputFormat = (system: NodeJS.Platform = process.platform): OutputFormat =>
  system === 'darwin' ? 'audiotoolbox' : 'pulse'

/** @param index of the device on macOS, where ffmpeg takes no name; null: the default one */
export function ffmpegPlayerArgs(
  { device, outputFormat }: FfmpegPlayerSpec,
  sampleRateHz: number,
  channelCount: number,
  index: number | null,
): string[] {
  const output = {
    audiotoolbox: [...(index === null ? [] : ['-audio_device_index', `${index}`]), '-'],
    pulse: [
      ...['-name', 'linetrue', '-stream_name', 'track', '-buffer_duration', `${BUFFER_MS}`],
      ...[...(device === null ? [] : ['-device', device]), 'track'],
    ],
    alsa: [device ?? 'default'],
  }[outputFormat]
  return [
    ...['-hide_banner', '-nostats', '-loglevel', 'info'],
    ...['-f', 's32le', '-ar', `${sampleRateHz}`, '-ac', `${channelCount}`, '-i', 'pipe:0'],
    ...['-map', '0:a:0', '-c:a', 'pcm_s32le', '-f', outputFormat, ...output],
  ]
}

export class FfmpegPlayer extends ToolPlayer {
  constructor(spec: FfmpegPlayerSpec, system: NodeJS.Platform = process.platform) {
    const where = spec.device ?? 'the default output'
    super({
      where,
      async firstStream({ sampleRateHz, channels }, signal): Promise<PlayStream> {
        if (system === 'win32') throw noOutputOnWindows(where)
        if (spec.outputFormat === 'pulse') await findDevice('sink', spec.device, channels.length, signal)
        const index = spec.outputFormat === 'audiotoolbox' ? await indexOf(spec.device, signal) : null
        return {
          command: 'ffmpeg',
          args: ffmpegPlayerArgs(spec, sampleRateHz, channels.length, index),
          where,
          encode: (all) => words32(all),
          // ffmpeg drops what the server still holds when its input ends.
          tailS: spec.outputFormat === 'alsa' ? 0 : (2 * BUFFER_MS) / 1000,
          stopFrom: (line) => (/xrun|underrun/i.test(line) ? ranDry(where) : null),
        }
      },
      async nextStream(_stream, said, ending, signal) {
        throw await stopFrom(spec, where, said, ending.says, signal)
      },
      async checkFlow(pid, _said, signal) {
        return spec.outputFormat === 'audiotoolbox' || (await checkServerPath('sink', pid, signal))
      },
    })
  }
}

async function indexOf(device: string | null, signal: AbortSignal): Promise<number | null> {
  if (device === null) return null
  const devices = await listFfmpeg('audiotoolbox', signal)
  const index = devices.find(({ name }) => name === device)?.index
  if (index !== undefined) return index
  throw noSuchDevice(
    'player',
    device,
    devices.map(({ name }) => name),
  )
}

async function stopFrom(
  spec: FfmpegPlayerSpec,
  where: string,
  said: readonly string[],
  says: string,
  signal: AbortSignal,
): Promise<Error> {
  const { trouble, words } = ffmpegComplaint(said, says)
  const plain = stopFor(trouble, 'player', where, words)
  if (plain !== null) return plain
  if (trouble !== 'missing') return otherTrouble('ffmpeg', where, words)
  if (spec.outputFormat === 'alsa' && isDenied()) return deniedDevice('player', where)
  const devices = spec.outputFormat === 'alsa' ? await listAlsa('aplay', signal) : []
  return noSuchDevice(
    'player',
    where,
    devices.map(({ name }) => name),
  )
}

const noOutputOnWindows = (where: string): StopError =>
  new StopError(
    'ffmpeg has no sound output on Windows',
    where,
    'Write driver: stick in the rig file and start the track from a stick, disc or phone.',
    'instrument',
  )
