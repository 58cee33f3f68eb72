/**
 * What ffmpeg says of sound devices on macOS and Windows, and of the stream that it has opened.
 *
 * Lists come on its error output, because it is asked to open a device that isn't there. Their form is from memory; older
 * and newer ones are both read. Options: ffmpeg-devices(1).
 */
import { startTool } from './tool.js'

export type ListFormat = 'avfoundation' | 'dshow' | 'audiotoolbox'

const LIST_ARGS: Record<ListFormat, readonly string[]> = {
  avfoundation: ['-f', 'avfoundation', '-list_devices', 'true', '-i', ''],
  dshow: ['-list_devices', 'true', '-f', 'dshow', '-i', 'dummy'],
  // An output has to be fed to be asked.
  audiotoolbox: [
    ...['-f', 'lavfi', '-i', 'anullsrc=r=44100', '-t', '0.01'],
    ...['-f', 'audiotoolbox', '-list_devices', 'true', '-'],
  ],
}
export const listArgs = (format: ListFormat): string[] => ['-hide_banner', '-nostdin', ...LIST_ARGS[format]]

export interface FfmpegDevice {
  readonly name: string
  /** Where the list gives one. */
  readonly index: number | null
}

/** Sound devices, by the name that the rig file takes; empty when ffmpeg isn't there or finds none. */
export async function listFfmpeg(format: ListFormat, signal: AbortSignal): Promise<FfmpegDevice[]> {
  signal.throwIfAborted()
  const said: string[] = []
  const { tool, ended } = startTool('ffmpeg', listArgs(format), (line) => said.push(line))
  const timer = setTimeout(() => tool.kill('SIGKILL'), 5000)
  const onAbort = (): void => {
    tool.kill('SIGKILL')
  }
  signal.addEventListener('abort', onAbort, { once: true })
  await ended
  clearTimeout(timer)
  signal.removeEventListener('abort', onAbort)
  signal.throwIfAborted()
  return format === 'dshow'
    ? parseDshow(said)
    : format === 'avfoundation'
      ? parseAvfoundation(said)
      : parseOutputs(said)
}

/**
 * Names below "AVFoundation audio devices:", each with its number:
 * `[AVFoundation indev @ 0x7f8] [0] Built-in Microphone`
 */
export function parseAvfoundation(lines: readonly string[]): FfmpegDevice[] {
  const start = lines.findIndex((line) => /AVFoundation audio devices:/.test(line))
  return start < 0 ? [] : numbered(lines.slice(start + 1))
}

/**
 * Names of audio devices; newer: `[dshow @ 0x1] "Line In (Card)" (audio)`, older: below "DirectShow audio devices".
 * Alternative names stand below each and are left out.
 */
export function parseDshow(lines: readonly string[]): FfmpegDevice[] {
  const start = lines.findIndex((line) => /DirectShow audio devices/.test(line))
  const names = lines
    .filter((line, at) => !/Alternative name/.test(line) && (start < 0 ? /" \(audio\)\s*$/.test(line) : at > start))
    .map((line) => /"(.*)"/.exec(line)?.[1])
    .filter((name) => name !== undefined)
  return names.map((name) => ({ name, index: null }))
}

/** `[AudioToolbox @ 0x7f8] [1]      Built-in Output, BuiltInSpeakerDevice`: number, name, unique name. */
export const parseOutputs = (lines: readonly string[]): FfmpegDevice[] =>
  numbered(lines.filter((line) => /AudioToolbox/.test(line))).map(({ name, index }) => ({
    name: name.replace(/,[^,]*$/, '').trim(),
    index,
  }))

const numbered = (lines: readonly string[]): FfmpegDevice[] =>
  lines.flatMap((line) => {
    const match = /\] \[(\d+)\]\s+(.+?)\s*$/.exec(line)
    return match ? [{ name: match[2], index: Number(match[1]) }] : []
  })

export interface OpenedStream {
  readonly sampleRateHz: number
  readonly channelCount: number
}

/** Channel layouts by name, as ffmpeg's av_channel_layout_describe gives them; their variants in brackets hold as many. */
const LAYOUTS: Readonly<Record<string, number>> = {
  mono: 1,
  stereo: 2,
  downmix: 2,
  quad: 4,
  hexagonal: 6,
  octagonal: 8,
  hexadecagonal: 16,
  cube: 8,
}

/** What was opened, from the line `Stream #0:0: Audio: pcm_f32le, 48000 Hz, stereo, flt, 3072 kb/s`; null: not said yet. */
export function openedStream(said: readonly string[]): OpenedStream | null {
  for (const line of said) {
    const match = /Stream #0:\d+.*: Audio: .*?, (\d+) Hz, ([^,]+)/.exec(line)
    if (match) return { sampleRateHz: Number(match[1]), channelCount: channelCountOf(match[2].trim()) }
  }
  return null
}

function channelCountOf(layout: string): number {
  const counted = /^(\d+) channels/.exec(layout)
  if (counted) return Number(counted[1])
  const name = layout.replace(/\(.*/, '')
  // 5.1 is five and one, 7.1.4 seven, one and four.
  if (/^\d+(?:\.\d+)+$/.test(name)) return name.split('.').reduce((sum, part) => sum + Number(part), 0)
  return LAYOUTS[name] ?? 0
}
