/**
 * Captures through ffmpeg: avfoundation on macOS, dshow on Windows, the sound server or ALSA elsewhere.
 *
 * Where ffmpeg's device can be told how many channels to open, it is; on macOS it gives what the card has, and the first
 * inputs are taken. Nothing is filtered, mixed or resampled on the way.
 */
import type { SampleFormat } from '../wav/decode.js'
import { cardOf, isDenied, listAlsa } from './alsa-devices.js'
import { checkMixer } from './alsa-mixer.js'
import { listFfmpeg, openedStream } from './ffmpeg-devices.js'
import { findDevice } from './pulse-devices.js'
import { checkServerPath } from './pulse-path.js'
import {
  deniedDevice,
  ffmpegComplaint,
  noSuchDevice,
  otherRate,
  otherTrouble,
  stopFor,
  tooFewChannels,
} from './sound-stops.js'
import { StreamCapture } from './stream-capture.js'
import type { Stream } from './stream-flow.js'

export type InputFormat = 'avfoundation' | 'dshow' | 'pulse' | 'alsa'

export interface FfmpegCaptureSpec {
  /** Readable name on macOS and Windows, the sound server's or ALSA's name elsewhere; null: the default one. */
  readonly device: string | null
  readonly inputFormat: InputFormat
  readonly sampleRateHz: number
  readonly bits: 16 | 24 | 32
  readonly inputCount: number
}

export const usualInputFormat = (system: NodeJS.Platform = process.platform): InputFormat =>
  system === 'darwin' ? 'avfoundation' : system === 'win32' ? 'dshow' : 'pulse'

/** Samples as ALSA gives them, the widest first. */
type Words = 's32le' | 's24le' | 's16le'
const WORDS_FOR: Record<16 | 24 | 32, readonly Words[]> = {
  16: ['s16le', 's32le', 's24le'],
  24: ['s32le', 's24le'],
  32: ['s32le'],
}
const BLOCK_S = 0.05

export function ffmpegCaptureArgs(spec: FfmpegCaptureSpec, words: Words = 's32le'): string[] {
  const { inputFormat, sampleRateHz, inputCount, device } = spec
  const shape = ['-sample_rate', `${sampleRateHz}`, '-channels', `${inputCount}`]
  const blockByteCount = Math.round(BLOCK_S * sampleRateHz) * inputCount * 4
  const source = {
    avfoundation: ['-i', `:${device ?? 'default'}`],
    dshow: [
      ...['-rtbufsize', '64M', '-audio_buffer_size', `${1000 * BLOCK_S}`],
      ...[...shape, '-sample_size', `${spec.bits}`, '-i', `audio=${device ?? ''}`],
    ],
    pulse: [
      ...['-name', 'linetrue', '-stream_name', 'capture', ...shape, '-fragment_size', `${blockByteCount}`],
      ...['-c:a', 'pcm_f32le', '-i', device ?? 'default'],
    ],
    alsa: [...shape, '-c:a', `pcm_${words}`, '-i', device ?? 'default'],
  }[inputFormat]
  const isCopied = inputFormat === 'pulse' || inputFormat === 'alsa'
  return [
    ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'info'],
    ...['-probesize', '32', '-analyzeduration', '0', '-thread_queue_size', '1024'],
    ...['-f', inputFormat, ...source, '-map', '0:a:0'],
    ...['-c:a', isCopied ? 'copy' : 'pcm_f32le', '-f', inputFormat === 'alsa' ? words : 'f32le', 'pipe:1'],
  ]
}

export class FfmpegCapture extends StreamCapture {
  constructor(spec: FfmpegCaptureSpec) {
    const where = spec.device ?? 'the default input'
    const untried = [...WORDS_FOR[spec.bits]]
    super({
      where,
      async firstStream(signal) {
        await checkBefore(spec, where, signal)
        return ffmpegStream(spec, where, untried.shift()!)
      },
      async nextStream(_stream, said, ending, signal) {
        const isWordTrouble = said.some((line) => /cannot set sample format/.test(line))
        const words = spec.inputFormat === 'alsa' && isWordTrouble ? untried.shift() : undefined
        if (words !== undefined) return ffmpegStream(spec, where, words)
        throw await stopFromFfmpeg(spec, where, said, ending.says, signal)
      },
      async checkFlow(flow, _stream, signal) {
        const opened = openedStream(flow.said)
        if (opened && opened.sampleRateHz !== spec.sampleRateHz) {
          const remedy = `Set its rate to ${spec.sampleRateHz} Hz${rateTool(spec.inputFormat)}, or capture.sample_rate_hz in the rig file to ${opened.sampleRateHz}.`
          throw otherRate(where, spec.sampleRateHz, opened.sampleRateHz, remedy)
        }
        if (opened && opened.channelCount < spec.inputCount) {
          throw tooFewChannels('capture', where, opened.channelCount, spec.inputCount)
        }
        if (isServed(spec.inputFormat)) await checkServerPath('source', flow.pid, signal)
      },
    })
  }
}

const isServed = (format: InputFormat): boolean => format === 'pulse' || format === 'alsa'

const rateTool = (format: InputFormat): string =>
  format === 'avfoundation'
    ? ' in Audio MIDI Setup'
    : format === 'dshow'
      ? " in the card's own settings and in Sound, Recording, Properties, Advanced"
      : ''

/** The server knows names, volumes and filters better than ffmpeg tells; a card's own controls stand in its mixer. */
async function checkBefore(spec: FfmpegCaptureSpec, where: string, signal: AbortSignal): Promise<void> {
  if (spec.inputFormat === 'pulse') await findDevice('source', spec.device, spec.inputCount, signal)
  const card = spec.inputFormat === 'alsa' && spec.device !== null ? cardOf(spec.device) : null
  if (card !== null) await checkMixer(card, where, signal)
  if (spec.inputFormat === 'dshow' && spec.device === null) {
    throw noSuchDevice('capture', 'no name in the rig file', await namesOf(spec, signal))
  }
}

export const ffmpegStream = (spec: FfmpegCaptureSpec, where: string, words: Words): Stream => ({
  command: 'ffmpeg',
  args: ffmpegCaptureArgs(spec, words),
  where,
  sampleRateHz: spec.sampleRateHz,
  inputCount: spec.inputCount,
  formatOf: (said) => {
    const opened = openedStream(said)
    if (opened === null || opened.channelCount === 0) return null
    const isWhole = spec.inputFormat === 'alsa'
    const bits: SampleFormat['bits'] = words === 's16le' ? 16 : words === 's24le' ? 24 : 32
    return isWhole
      ? { channelCount: opened.channelCount, bits, encoding: 'pcm' }
      : { channelCount: opened.channelCount, bits: 32, encoding: 'float' }
  },
  meaningOf: (line) =>
    /xrun|real-time buffer .* too full|frame dropped|thread message queue blocking/i.test(line)
      ? 'overrun'
      : /: (?:I\/O error|Input\/output error|Generic error in an external library)|Error during demuxing|device (?:lost|disconnected|removed)/i.test(
            line,
          )
        ? 'vanished'
        : null,
  endsWithZero: false,
})

async function stopFromFfmpeg(
  spec: FfmpegCaptureSpec,
  where: string,
  said: readonly string[],
  says: string,
  signal: AbortSignal,
): Promise<Error> {
  const { inputFormat } = spec
  const { trouble, words } = ffmpegComplaint(said, says)
  const plain = stopFor(trouble, 'capture', where, words)
  if (plain !== null) return plain
  if (trouble === 'missing' && inputFormat === 'alsa' && isDenied()) return deniedDevice('capture', where)
  // Some devices only say that they could not be opened: where the name isn't among those there are, that is why.
  const names = await namesOf(spec, signal)
  const isListed = spec.device === null || names.length === 0 || names.includes(spec.device)
  return trouble === 'missing' || !isListed
    ? noSuchDevice('capture', where, names)
    : otherTrouble('ffmpeg', where, words)
}

async function namesOf({ inputFormat }: FfmpegCaptureSpec, signal: AbortSignal): Promise<string[]> {
  const devices =
    inputFormat === 'alsa'
      ? await listAlsa('arecord', signal)
      : inputFormat === 'pulse'
        ? []
        : await listFfmpeg(inputFormat, signal)
  return devices.map(({ name }) => name)
}
