/** What the live tests of the sound drivers share: noise whose every sample is known, takes of it, and sinks of any shape. */
import { expect } from 'vitest'
import { words32 } from '../../src/instruments/play-words.js'
import { ToolPlayer } from '../../src/instruments/tool-player.js'
import type { Block, Capture, CaptureFault, CaptureRun, Player } from '../../src/rig/roles.js'
import type { Audio } from '../../src/units/audio.js'
import { StopError } from '../../src/units/stop.js'
import { some } from '../long.js'
import type { PulseServer } from './pulse.js'

export const never = new AbortController().signal
export const pause = (lengthS: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, 1000 * lengthS))

/** Channel names as ALSA's plugin and as ffmpeg ask for them: a server sorts channels by name, unless names are equal. */
const NAMES = {
  alsa: 'front-left,front-right,rear-left,rear-right,front-center,lfe,side-left,side-right,aux0,aux1,aux2,aux3',
  ffmpeg: {
    2: 'front-left,front-right',
    8: 'front-left,front-right,front-center,lfe,rear-left,rear-right,front-left-of-center,front-right-of-center',
    12: 'front-left,front-right,front-center,lfe,rear-left,rear-right,front-left-of-center,front-right-of-center,rear-center,side-left,side-right,top-center',
  },
} as const
export type ChannelCount = 2 | 8 | 12
const CHANNEL_COUNTS: readonly ChannelCount[] = [2, 8, 12]
const RATES_HZ = [44_100, 48_000, 96_000] as const

export interface Shape {
  readonly channelCount: ChannelCount
  readonly rateHz: number
}
/** Groups of three that are taken at once, each count and each rate in every group; a short run takes the first. */
export const SHAPES: readonly (readonly Shape[])[] = some(
  RATES_HZ.map((_, k) => CHANNEL_COUNTS.map((channelCount, c) => ({ channelCount, rateHz: RATES_HZ[(c + k) % 3] }))),
  1,
)

/** A sink of each shape, for one test: they go again with it, because each costs the server time. */
export async function withSinks(
  pulse: PulseServer,
  names: 'aux' | 'alsa' | 'ffmpeg',
  shapes: readonly Shape[],
  use: (sink: string, shape: Shape) => Promise<void>,
): Promise<void> {
  await Promise.all(
    shapes.map(async (shape) => {
      const { channelCount, rateHz } = shape
      const sink = sinkName(names, channelCount, rateHz)
      const index = await pulse.control(...sinkOf(sink, names, channelCount, rateHz))
      try {
        await use(sink, shape)
      } finally {
        await pulse.control('unload-module', index.trim())
      }
    }),
  )
}

/** Plays any number of channels by their place, without the work of an audio context. */
export const placePlayer = (sink: string): Player =>
  new ToolPlayer({
    where: sink,
    firstStream: async ({ sampleRateHz, channels }) => ({
      command: 'pacat',
      args: [
        ...['--playback', '--raw', `--device=${sink}`, '--format=s32le', `--rate=${sampleRateHz}`],
        ...[`--channels=${channels.length}`, '--no-remix', '--no-remap', '--latency-msec=500'],
      ],
      where: sink,
      encode: (all) => words32(all),
      stopFrom: () => null,
    }),
    nextStream: async (_stream, said) => {
      throw new Error(`pacat ended: ${said.join(' ')}`)
    },
    checkFlow: async () => true,
  })

export const sinkName = (names: string, channelCount: number, rateHz: number): string =>
  `${names}${channelCount}at${rateHz}`

/** Words of `pactl load-module` for a null sink that keeps every 24-bit sample. */
export function sinkOf(name: string, names: 'aux' | 'alsa' | 'ffmpeg', channelCount: ChannelCount, rateHz: number) {
  const map = {
    aux: Array.from({ length: channelCount }, (_, c) => `aux${c}`).join(','),
    alsa: NAMES.alsa.split(',').slice(0, channelCount).join(','),
    ffmpeg: NAMES.ffmpeg[channelCount],
  }[names]
  const module = `module-null-sink sink_name=${name} format=s32le rate=${rateHz} channels=${channelCount} channel_map=${map}`
  return ['load-module', ...module.split(' ')]
}

/** Noise on the grid of a 24-bit word, so that every sample has one exact value on its way; never zero. */
export function noise(durationS: number, channelCount: number, sampleRateHz = 48_000): Audio {
  const channels = Array.from({ length: channelCount }, (_, c) =>
    Float32Array.from(
      { length: Math.round(durationS * sampleRateHz) },
      (_, n) => ((Math.imul(n * channelCount + c + 1, 0x9e3779b1) >> 8) | 1) / 2 ** 23,
    ),
  )
  return { sampleRateHz, channels }
}

export function joined(blocks: readonly Block[], c: number): Float32Array {
  const all = new Float32Array(blocks.reduce((sum, block) => sum + block[c].length, 0))
  let at = 0
  for (const block of blocks) {
    all.set(block[c], at)
    at += block[c].length
  }
  return all
}

export interface LiveTake {
  readonly run: CaptureRun
  readonly faults: readonly CaptureFault[]
  readonly channels: readonly Float32Array[]
}

/** Plays while capturing, and goes on until the last sample has come, or has had time to. */
export async function takeOf(capture: Capture, player: Player, audio: Audio): Promise<LiveTake> {
  const { signal } = new AbortController()
  const blocks: Block[] = []
  const run = await capture.start((block) => blocks.push(block), signal)
  await player.play(audio, signal)
  const endMs = performance.now() + 3000
  const channelsSoFar = (): Float32Array[] => Array.from({ length: run.inputCount }, (_, c) => joined(blocks, c))
  const isWhole = (): boolean => {
    const channels = channelsSoFar()
    const start = startIn(channels, audio)
    return start >= 0 && channels[0].length >= start + audio.channels[0].length
  }
  while (!isWhole() && performance.now() < endMs) await pause(0.1)
  const faults = await run.stop()
  return { run, faults, channels: channelsSoFar() }
}

/** Where the first frame stands; -1: nowhere. */
const startIn = (channels: readonly Float32Array[], audio: Audio): number =>
  channels[0].findIndex((_, n) => channels.every((captured, c) => captured[n] === audio.channels[c][0]))

/** A digital path has no tolerance: every sample in its channel; only the start is not known. */
export function expectExact({ channels, faults }: LiveTake, audio: Audio): void {
  const start = startIn(channels, audio)
  expect(start).toBeGreaterThanOrEqual(0)
  channels.forEach((captured, c) => {
    const played = audio.channels[c]
    // Compared as bytes: a failure must not print a hundred thousand numbers.
    const got = captured.slice(start, start + played.length)
    expect(Buffer.from(got.buffer).equals(Buffer.from(played.buffer, played.byteOffset, played.byteLength))).toBe(true)
  })
  expect(faults).toEqual([])
}

export async function expectStop(work: Promise<unknown>, says: string): Promise<void> {
  const error = await work.then(
    () => null,
    (reason: unknown) => reason,
  )
  expect(error).toBeInstanceOf(StopError)
  expect((error as StopError).message).toContain(says)
  expect((error as StopError).kind).toBe('instrument')
}

/** How long sound went on after the stop was asked for, by what a capture beside it heard. */
export async function soundAfterStop(capture: Capture, player: Player, audio: Audio): Promise<number> {
  const blocks: Block[] = []
  const run = await capture.start((block) => blocks.push(block), never)
  const aborting = new AbortController()
  const reason = new Error('Ctrl-C')
  const playing = player.play(audio, aborting.signal).catch((error: unknown) => error)
  await pause(0.7)
  aborting.abort(reason)
  const abortedMs = performance.now()
  expect(await playing).toBe(reason)
  // A busy computer: the kill itself takes a millisecond.
  expect(performance.now() - abortedMs).toBeLessThan(300)
  const waitS = 0.8
  await pause(waitS)
  await run.stop()
  const captured = joined(blocks, 0)
  const lastSound = captured.findLastIndex((sample) => sample !== 0)
  expect(lastSound).toBeGreaterThan(0)
  return waitS - (captured.length - lastSound) / run.sampleRateHz
}
