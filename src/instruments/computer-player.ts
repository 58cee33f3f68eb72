/**
 * Plays through the computer's own output: a live `AudioContext` renders the audio, the sound server plays it.
 *
 * The context's samples go to the server's own playing tool and not to the context's built-in output, because that one
 * can name no device, holds only a twentieth of a second against a busy computer, plays 16 bits, and falls silently
 * back to no output at all where it finds none.
 */
import type { Player } from '../rig/roles.js'
import { type Audio, durationS, frameCountOf } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { checkRate, findDevice } from './pulse-devices.js'
import { type Ending, failedTool, missingTool, movedTo, startTool, stopTool, type Tool } from './tool.js'

/** A stream that has just opened may lose its first milliseconds; they are silence. */
const LEAD_IN_S = 0.25
/** What the server holds ready: a computer that is busy for less than this is not heard. */
const LATENCY_MS = 500
/** Bytes of one sample as the context hands it on: whole numbers of 32 bits, which hold every 24-bit sample. */
const SAMPLE_BYTE_COUNT = 4
/** Rendered blocks are small (128 frames); they are passed on in pieces of this size. */
const PIECE_BYTE_COUNT = 32 * 2 ** 10
/** The last sample has to be out this long after its time, or the output hangs. */
const DRAIN_S_MAX = 10

export class ComputerPlayer implements Player {
  readonly where: string

  /** @param device sink name as the sound server lists it; null: its default */
  constructor(private readonly device: string | null) {
    this.where = device ?? 'the default output'
  }

  async play(audio: Audio, signal: AbortSignal): Promise<void> {
    const channelCount = audio.channels.length
    const sink = await findDevice('sink', this.device, channelCount, signal)
    // Loaded here because it takes a noticeable part of a second.
    const { AudioContext } = await import('web-audio-api')
    signal.throwIfAborted()
    let isAllSent = false
    let mishap: StopError | null = null
    const args = [
      '--verbose',
      '--playback',
      '--raw',
      `--device=${sink.name}`,
      '--format=s32le',
      `--rate=${audio.sampleRateHz}`,
      `--channels=${channelCount}`,
      '--no-remix',
      '--no-remap',
      `--latency-msec=${LATENCY_MS}`,
      '--volume=65536',
      '--client-name=linetrue',
      '--stream-name=track',
    ]
    const { tool, ended } = startTool('pacat', args, (line) => {
      if (line.includes('Stream underrun') && !isAllSent) mishap ??= ranDry(sink.name)
      if (movedTo(line, sink.name) !== null) mishap ??= wentAway(sink.name)
      if (mishap !== null) tool.kill('SIGKILL')
    })
    const leadInFrameCount = Math.round(LEAD_IN_S * audio.sampleRateHz)
    const totalByteCount = (leadInFrameCount + frameCountOf(audio)) * channelCount * SAMPLE_BYTE_COUNT
    const context = new AudioContext({
      sampleRate: audio.sampleRateHz,
      numberOfChannels: channelCount,
      bitDepth: 8 * SAMPLE_BYTE_COUNT,
      sinkId: pieces(tool, totalByteCount, () => {
        isAllSent = true
      }),
    })
    const onAbort = (): void => {
      tool.kill('SIGKILL')
    }
    signal.addEventListener('abort', onAbort, { once: true })
    const timer = setTimeout(onAbort, 1000 * (LEAD_IN_S + durationS(audio) + DRAIN_S_MAX))
    try {
      const buffer = context.createBuffer(channelCount, frameCountOf(audio), audio.sampleRateHz)
      audio.channels.forEach((samples, c) => {
        buffer.copyToChannel(samples, c)
      })
      const source = context.createBufferSource()
      source.buffer = buffer
      source.connect(context.destination)
      source.start(leadInFrameCount / audio.sampleRateHz)
      await context.resume()
      const remedy = `Set track.sample_rate_hz in the job file to its rate, or the sound server's to ${audio.sampleRateHz} (default-sample-rate).`
      // The tool ends when the server has played its last sample.
      const ending = await Promise.race([
        ended,
        checkRate('sink', sink.name, audio.sampleRateHz, remedy, signal).then(() => ended),
      ])
      signal.throwIfAborted()
      if (mishap !== null) throw mishap
      if (ending.code !== 0 || !isAllSent) throw lostOutput(ending, sink.name)
    } finally {
      clearTimeout(timer)
      signal.removeEventListener('abort', onAbort)
      await context.close()
      await stopTool(tool, ended)
    }
  }
}

/**
 * The context's output: gathers its blocks into pieces, waits while the tool is busy, and ends after the last byte.
 *
 * It never takes a block as "go on at once", so that the context asks for the next block here, without a timer between.
 */
function pieces(tool: Tool, totalByteCount: number, onLast: () => void): AudioSink {
  let gathered: Uint8Array[] = []
  let gatheredByteCount = 0
  let leftByteCount = totalByteCount
  return {
    write(block) {
      const part = block.subarray(0, leftByteCount)
      gathered.push(part)
      gatheredByteCount += part.length
      leftByteCount -= part.length
      return false
    },
    once(_event, goOn) {
      if (leftByteCount > 0 && gatheredByteCount < PIECE_BYTE_COUNT) {
        setImmediate(goOn)
        return
      }
      const piece = Buffer.concat(gathered)
      gathered = []
      gatheredByteCount = 0
      if (leftByteCount === 0) {
        onLast()
        tool.stdin.end(piece)
      } else if (tool.stdin.write(piece)) setImmediate(goOn)
      else tool.stdin.once('drain', goOn)
    },
    close() {},
  }
}

interface AudioSink {
  write(block: Uint8Array): boolean
  once(event: string, goOn: () => void): void
  close(): void
}

const ranDry = (where: string): StopError =>
  new StopError(
    'the computer was too busy to play without a gap',
    where,
    'Close other programs, then give the same command again.',
    'instrument',
  )

const wentAway = (where: string): StopError =>
  new StopError(
    'the output went away while it played',
    where,
    'Plug it in again, then give the same command again.',
    'instrument',
  )

function lostOutput(ending: Ending, where: string): StopError {
  if (ending.isMissing) return missingTool('pacat', where)
  if (ending.code === null) {
    return new StopError(
      'the output does not play',
      where,
      'Check the device, then start the sound server anew.',
      'instrument',
    )
  }
  return failedTool('pacat', ending.says, where)
}
