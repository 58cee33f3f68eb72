/** Players that feed a tool, with tools that keep what they get or say what real ones say of a fault. */
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { AlsaPlayer } from '../../src/instruments/alsa-player.js'
import { FfmpegPlayer } from '../../src/instruments/ffmpeg-player.js'
import type { Player } from '../../src/rig/roles.js'
import type { Audio } from '../../src/units/audio.js'
import { StopError } from '../../src/units/stop.js'
import { complain, type FakeTools, fakeTools } from './fake-tools.js'

vi.setConfig({ testTimeout: 20_000 })
const never = new AbortController().signal
const DEVICE = 'hw:CARD=out,DEV=0'
/** Silence of a quarter of a second goes in front. */
const LEAD_IN_FRAMES = 12_000

let tools: FakeTools
beforeEach(() => {
  tools = fakeTools()
  tools.set('pactl', 'exit 1')
})
afterEach(() => tools.remove())

const stopOf = async (player: Player, audio: Audio = AUDIO): Promise<StopError> => {
  const error = await player.play(audio, never).then(
    () => null,
    (reason: unknown) => reason,
  )
  expect(error).toBeInstanceOf(StopError)
  return error as StopError
}
const AUDIO: Audio = {
  sampleRateHz: 48_000,
  channels: [Float32Array.of(0.5, -1, 1), Float32Array.of(2 ** -23, 0, -0.25)],
}
const fed = (): Buffer => readFileSync(join(tools.folder, 'fed'))
const keep = (): string => `cat > ${join(tools.folder, 'fed')}`
const dump = (formats: string, channels: string): string =>
  complain(`FORMAT:  ${formats}`, `CHANNELS: ${channels}`, 'RATE: [44100 96000]')

describe('a tool is fed', () => {
  // Closed form: full scale is 2^31 steps, of which the topmost does not exist.
  test('with silence and then every sample, exactly', async () => {
    tools.set('aplay', keep())
    await new AlsaPlayer(DEVICE).play(AUDIO, never)
    const bytes = fed()
    expect(bytes.length).toBe(8 * (LEAD_IN_FRAMES + 3))
    expect(bytes.subarray(0, 8 * LEAD_IN_FRAMES).every((byte) => byte === 0)).toBe(true)
    const words = Array.from({ length: 6 }, (_, k) => bytes.readInt32LE(8 * LEAD_IN_FRAMES + 4 * k))
    expect(words).toEqual([2 ** 30, 2 ** 8, -(2 ** 31), 0, 2 ** 31 - 1, -(2 ** 29)])
  })

  test.each([
    ['S24_LE', 8, (bytes: Buffer, at: number) => bytes.readInt32LE(at) / 2 ** 23],
    ['S24_3LE', 6, (bytes: Buffer, at: number) => bytes.readIntLE(at, 3) / 2 ** 23],
    ['FLOAT_LE', 8, (bytes: Buffer, at: number) => bytes.readFloatLE(at)],
  ] as const)('with %s where the card takes nothing else', async (format, frameByteCount, read) => {
    const refuse = `${dump(format, '[1 8]')}\n${complain('aplay: set_params:1352: Sample format non available')}`
    tools.set('aplay', `case "$*" in *--format=${format}*) ${keep()};; *) ${refuse}\nexit 1;; esac`)
    await new AlsaPlayer(DEVICE).play(AUDIO, never)
    const bytes = fed().subarray(frameByteCount * LEAD_IN_FRAMES)
    expect(bytes.length).toBe(3 * frameByteCount)
    const left = [0, 1].map((n) => read(bytes, n * frameByteCount))
    expect(left).toEqual([0.5, -1])
    expect(read(bytes, frameByteCount / 2)).toBe(2 ** -23)
  })

  test('with silence on what the card has beyond two channels', async () => {
    const refuse = `${dump('S32_LE', '8')}\n${complain('aplay: set_params:1358: Channels count non available')}`
    tools.set('aplay', `case "$*" in *--channels=8*) ${keep()};; *) ${refuse}\nexit 1;; esac`)
    await new AlsaPlayer(DEVICE).play(AUDIO, never)
    const frame = fed().subarray(32 * LEAD_IN_FRAMES, 32 * (LEAD_IN_FRAMES + 1))
    expect(Array.from({ length: 8 }, (_, c) => frame.readInt32LE(4 * c))).toEqual([2 ** 30, 2 ** 8, 0, 0, 0, 0, 0, 0])
  })
})

describe('one clear line', () => {
  test.each([
    ['Device or resource busy', 'the sound output is busy: another program holds it (hw:CARD=out,DEV=0)'],
    ['Permission denied', 'this user may not open the sound output (hw:CARD=out,DEV=0). Join the group audio'],
    ['No such device', 'there is no sound output of this name (hw:CARD=out,DEV=0). Plug the card in'],
  ])('when the card says "%s"', async (says, message) => {
    tools.set(
      'aplay',
      `case "$*" in -l|-L) exit 0;; esac\n${complain(`aplay: main:831: audio open error: ${says}`)}\nexit 1`,
    )
    expect((await stopOf(new AlsaPlayer(DEVICE))).message).toContain(message)
  })

  const long: Audio = { sampleRateHz: 48_000, channels: [new Float32Array(96_000), new Float32Array(96_000)] }
  test('when the computer is too busy, the output goes away, or the rate is another', async () => {
    tools.set(
      'aplay',
      `${complain('  rate         : 48000')}\nhead -c 1000 > /dev/null\n${complain('underrun!!! (at least 3.1 ms long)')}\nexec sleep 60`,
    )
    expect((await stopOf(new AlsaPlayer(DEVICE), long)).message).toContain(
      'the computer was too busy to play without a gap',
    )
    tools.set(
      'aplay',
      `${complain('  rate         : 48000')}\nsleep 0.6\n${complain('aplay: pcm_write:2061: write error: No such device')}\nexit 1`,
    )
    expect((await stopOf(new AlsaPlayer(DEVICE), long)).message).toContain('the output went away while it played')
    tools.set(
      'aplay',
      `${complain('Warning: rate is not accurate (requested = 48000Hz, got = 44100Hz)')}\nexec sleep 60`,
    )
    expect((await stopOf(new AlsaPlayer(DEVICE), long)).message).toContain(
      'the device runs at 44100 Hz though 48000 Hz was asked for (hw:CARD=out,DEV=0). Set track.sample_rate_hz in the job file to 44100',
    )
  })

  test('on Windows, where ffmpeg has no output', async () => {
    const player = new FfmpegPlayer({ device: null, outputFormat: 'pulse' }, 'win32')
    expect((await stopOf(player)).message).toBe(
      'ffmpeg has no sound output on Windows (the default output). Write driver: stick in the rig file and start the track from a stick, disc or phone.',
    )
  })

  test('on macOS for an output that is not there, with those that are', async () => {
    tools.set('ffmpeg', `${complain('[AudioToolbox @ 0x1] [0]    Built-in Output, BuiltInSpeakerDevice')}\nexit 1`)
    const player = new FfmpegPlayer({ device: 'Line Out', outputFormat: 'audiotoolbox' }, 'darwin')
    expect((await stopOf(player)).message).toContain(
      'there is no sound output of this name (Line Out). Plug the card in, or set player.device in the rig file to one of: Built-in Output',
    )
  })
})

test('stopping kills the tool at once, even one that does not listen', async () => {
  tools.set('aplay', `trap '' TERM INT\n${complain('  rate         : 48000')}\nexec sleep 60`)
  const aborting = new AbortController()
  const reason = new Error('Ctrl-C')
  const playing = new AlsaPlayer(DEVICE).play(AUDIO, aborting.signal).catch((error: unknown) => error)
  await new Promise((resolve) => setTimeout(resolve, 200))
  const abortedMs = performance.now()
  aborting.abort(reason)
  expect(await playing).toBe(reason)
  // A tool that has the time to end by itself gets more; a busy computer takes some of this.
  expect(performance.now() - abortedMs).toBeLessThan(500)
})
