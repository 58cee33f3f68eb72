/**
 * Plays through a tool that takes raw samples: what the tool is and how it is asked is the driver's business.
 *
 * The tool is fed as fast as it takes samples and ends when the device has played the last one. Stopping kills it, and with
 * it the stream: the system drops what it still held.
 */
import type { Player } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { sleep } from './sleep.js'
import { type Ending, missingTool, startTool, stopTool, type Tool } from './tool.js'

/** A stream that has just opened may lose its first milliseconds; they are silence. */
const LEAD_IN_S = 0.25
/** The last sample has to be out this long after its time, or the output hangs. */
const DRAIN_S_MAX = 10
/** Whether it is played as it is given is looked at so often, until it is known. */
const CHECK_EVERY_S = 0.25
const CHECK_COUNT_MAX = 12

export interface PlayStream {
  readonly command: string
  readonly args: readonly string[]
  readonly where: string
  readonly encode: (channels: readonly Float32Array[]) => Uint8Array
  /** Silence behind the last sample, where the tool ends without waiting for what the device still holds. */
  readonly tailS?: number
  /** A line after which going on is for nothing; null: it says nothing of the kind. */
  stopFrom(line: string): StopError | null
}

export interface PlayDriver {
  readonly where: string
  firstStream(audio: Audio, signal: AbortSignal): Promise<PlayStream>
  /** After a tool that ended before its time. @throws StopError where there is no other way to ask, saying why */
  nextStream(stream: PlayStream, said: readonly string[], ending: Ending, signal: AbortSignal): Promise<PlayStream>
  /**
   * Looks at the stream that plays.
   * @returns false: there is nothing to see yet
   * @throws StopError when it doesn't play what it is given
   */
  checkFlow(pid: number | undefined, said: readonly string[], signal: AbortSignal): Promise<boolean>
}

export class ToolPlayer implements Player {
  readonly where: string

  constructor(private readonly driver: PlayDriver) {
    this.where = driver.where
  }

  async play(audio: Audio, signal: AbortSignal): Promise<void> {
    signal.throwIfAborted()
    let stream = await this.driver.firstStream(audio, signal)
    for (;;) {
      signal.throwIfAborted()
      const said: string[] = []
      const ending = await this.playOnce(stream, audio, said, signal)
      if (ending === 'played') return
      if (ending.isMissing) throw missingTool(stream.command, stream.where)
      stream = await this.driver.nextStream(stream, said, ending, signal)
    }
  }

  private async playOnce(
    stream: PlayStream,
    audio: Audio,
    said: string[],
    signal: AbortSignal,
  ): Promise<'played' | Ending> {
    let mishap: unknown = null
    const { tool, ended } = startTool(stream.command, stream.args, (line) => {
      said.push(line)
      if (!tool.stdin.writableFinished) mishap ??= stream.stopFrom(line)
      if (mishap !== null) tool.kill('SIGKILL')
    })
    const kill = (): void => {
      tool.kill('SIGKILL')
    }
    let isHanging = false
    const startedMs = performance.now()
    const limit = setTimeout(
      () => {
        isHanging = true
        kill()
      },
      1000 * (LEAD_IN_S + durationS(audio) + DRAIN_S_MAX),
    )
    const checking = new AbortController()
    const checked = this.check(tool.pid, said, AbortSignal.any([signal, checking.signal])).catch((error: unknown) => {
      if (checking.signal.aborted || signal.aborted) return
      mishap ??= error
      kill()
    })
    signal.addEventListener('abort', kill, { once: true })
    try {
      const silence = (lengthS: number): Uint8Array => {
        const samples = new Float32Array(Math.round(lengthS * audio.sampleRateHz))
        return stream.encode(audio.channels.map(() => samples))
      }
      feed(tool, silence(LEAD_IN_S), stream.encode(audio.channels), silence(stream.tailS ?? 0))
      const ending = await ended
      signal.throwIfAborted()
      if (mishap !== null) throw mishap
      if (isHanging) throw hangs(stream.where)
      if (ending.code === 0) return 'played'
      // Refused at once it may be asked for otherwise; lost later it is lost.
      if (performance.now() - startedMs > 1000 * LEAD_IN_S && tool.stdout.readableEnded && hasPlayed(said)) {
        throw wentAway(stream.where, ending.says)
      }
      return ending
    } finally {
      clearTimeout(limit)
      signal.removeEventListener('abort', kill)
      checking.abort()
      await stopTool(tool, ended)
      await checked
    }
  }

  private async check(pid: number | undefined, said: readonly string[], signal: AbortSignal): Promise<void> {
    for (let count = 0; count < CHECK_COUNT_MAX; count++) {
      await sleep(CHECK_EVERY_S, signal)
      if (await this.driver.checkFlow(pid, said, signal)) return
    }
  }
}

/** Both tools say what they have set up before they play. */
const hasPlayed = (said: readonly string[]): boolean => said.some((line) => /^ +rate +: |Output #0/.test(line))

function feed(tool: Tool, ...parts: readonly Uint8Array[]): void {
  for (const part of parts) if (part.length > 0) tool.stdin.write(part)
  tool.stdin.end()
}

export const ranDry = (where: string): StopError =>
  new StopError(
    'the computer was too busy to play without a gap',
    where,
    'Close other programs, then give the same command again.',
    'instrument',
  )

const wentAway = (where: string, says: string): StopError =>
  new StopError(
    `the output went away while it played${says === '' ? '' : `: ${says}`}`,
    where,
    'Plug it in again, then give the same command again.',
    'instrument',
  )

const hangs = (where: string): StopError =>
  new StopError('the output does not play', where, 'Check the device, then plug it in anew.', 'instrument')
