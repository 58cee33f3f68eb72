/** The drivers of ALSA's own tools, through ALSA's plugin for the sound server: the same tools as on a card, on a null sink. */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest'
import { AlsaCapture, type AlsaCaptureSpec } from '../../src/instruments/alsa-capture.js'
import { AlsaPlayer } from '../../src/instruments/alsa-player.js'
import { listSoundDevices, listSoundTools } from '../../src/instruments/sound-devices.js'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { type PulseServer, startPulse } from './pulse.js'
import {
  expectExact,
  expectStop,
  never,
  noise,
  pause,
  SHAPES,
  sinkName,
  sinkOf,
  soundAfterStop,
  takeOf,
} from './sound.js'

const TOOLS: Tool[] = ['pulseaudio', 'pactl', 'arecord', 'aplay', 'ALSA pulse plugin']
vi.setConfig({ testTimeout: 30_000 })

/** Stays for all tests but those of several shapes. */
const SINK = 'bench'

let pulse: PulseServer
const envBefore = { ...process.env }
beforeAll(async () => {
  if (missingTools(...TOOLS).length > 0) return
  pulse = await startPulse()
  Object.assign(process.env, pulse.env)
  await pulse.control(...sinkOf(SINK, 'alsa', 2, 48_000))
  const shapes: string[] = []
  // A sink that was just made gives its first second too early, which would look like lost samples later: all stand before.
  for (const { channelCount, rateHz } of SHAPES.flat()) {
    const sink = sinkName('alsa', channelCount, rateHz)
    await pulse.control(...sinkOf(sink, 'alsa', channelCount, rateHz))
    shapes.push(sink)
  }
  const pcms = [SINK, 'outputs', ...shapes].map(
    (sink) =>
      `pcm.${sink} { type pulse device "${sink}" hint.description "${sink} played to" }\n` +
      `pcm.${sink}_monitor { type pulse device "${sink}.monitor" }\n`,
  )
  writeFileSync(join(pulse.env.HOME, '.asoundrc'), pcms.join(''))
}, 60_000)
afterAll(async () => {
  await pulse?.stop()
  process.env = envBefore
})

const capture = (sink: string, more: Partial<AlsaCaptureSpec> = {}): AlsaCapture =>
  new AlsaCapture({ device: `${sink}_monitor`, sampleRateHz: 48_000, bits: 24, inputCount: 2, ...more })

describe('playing and capturing', () => {
  test.for(SHAPES.map((shapes) => [shapes]))(
    'gives every sample of 2, 8 and 12 channels at 44.1, 48 and 96 kHz, exactly: %j',
    async ([shapes], context) => {
      needsTool(context, ...TOOLS)
      await Promise.all(
        shapes.map(async ({ channelCount, rateHz }) => {
          const sink = sinkName('alsa', channelCount, rateHz)
          const audio = noise(0.4, channelCount, rateHz)
          const device = capture(sink, { sampleRateHz: rateHz, inputCount: channelCount })
          const take = await takeOf(device, new AlsaPlayer(sink), audio)
          expect([take.run.sampleRateHz, take.run.inputCount]).toEqual([rateHz, channelCount])
          expectExact(take, audio)
        }),
      )
    },
  )

  // Truth: 16 bits keep samples on their own grid.
  test('keeps 16-bit samples in 16 bits', async (context) => {
    needsTool(context, ...TOOLS)
    const audio = noise(0.3, 2)
    const coarse = audio.channels.map((channel) => channel.map((x) => Math.floor(x * 2 ** 15) / 2 ** 15 || 2 ** -15))
    const on16 = { ...audio, channels: coarse }
    expectExact(await takeOf(capture(SINK, { bits: 16 }), new AlsaPlayer(SINK), on16), on16)
  })
})

test('stopping by hand silences the player at once', async (context) => {
  needsTool(context, ...TOOLS)
  // A busy computer may take a tenth of a second to hear the order, and the capture hands on every twentieth.
  expect(await soundAfterStop(capture(SINK), new AlsaPlayer(SINK), noise(4, 2))).toBeLessThan(0.3)
})

describe('one clear line', () => {
  test('for a name that is not there, with those that are', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture('nothing').start(() => {}, never),
      'there is no sound input of this name (nothing_monitor). Plug the card in, or set capture.device in the rig file to one of: default, pulse, ',
    )
    await expectStop(
      new AlsaPlayer('hw:CARD=nothing,DEV=0').play(noise(0.1, 2), never),
      'there is no sound output of this name (hw:CARD=nothing,DEV=0). Plug the card in, or set player.device in the rig file to one of: ',
    )
  })

  test('for a server that would sort the channels or convert the rate', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture('outputs', { inputCount: 12 }).start(() => {}, never),
      'the sound server would sort the channels by their names: aux0,aux1,',
    )
    await expectStop(
      capture(SINK, { sampleRateHz: 44_100 }).start(() => {}, never),
      'the device runs at 48000 Hz, so the sound server would convert the 44100 Hz samples (bench.monitor)',
    )
    await expectStop(
      new AlsaPlayer(SINK).play(noise(2, 2, 44_100), never),
      'the device runs at 48000 Hz, so the sound server would convert the 44100 Hz samples (bench)',
    )
  })

  test('for more inputs than ALSA knows', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture(SINK, { inputCount: 33 }).start(() => {}, never),
      'the input has 32 channels, but 33 are needed (bench_monitor)',
    )
  })
})

test('all devices and tools of this computer are listed by the names that a rig file takes', async (context) => {
  needsTool(context, ...TOOLS, 'ffmpeg')
  const devices = await listSoundDevices(never)
  expect(devices).toContainEqual({
    driver: 'pulse',
    direction: 'capture',
    name: 'outputs.monitor',
    says: 'Monitor of Null Output',
    channelCount: 12,
    sampleRateHz: 48_000,
    notes: ['repeats what the computer plays'],
  })
  expect(devices).toContainEqual({
    driver: 'alsa',
    direction: 'player',
    name: SINK,
    says: 'bench played to',
    channelCount: null,
    sampleRateHz: null,
    notes: ['may lead through converters or a sound server'],
  })
  expect((await listSoundTools(never)).every(({ isThere, notes }) => isThere && notes.length === 0)).toBe(true)
  const path = process.env['PATH']
  process.env['PATH'] = '/nowhere'
  try {
    const { signal } = new AbortController()
    expect(await listSoundDevices(signal)).toEqual([])
    const [, arecord] = await listSoundTools(signal)
    expect(arecord).toEqual({
      name: 'arecord',
      isThere: false,
      notes: [
        'without arecord there is no capture from a card itself. Install the Debian package alsa-utils: apt-get install alsa-utils',
      ],
    })
  } finally {
    process.env['PATH'] = path
  }
})

// Last, because it takes the server of this file.
test('a server that is killed during a take is a fault, told at once, and stops the player with a line', async (context) => {
  needsTool(context, ...TOOLS)
  const run = await capture(SINK).start(() => {}, never)
  const playing = new AlsaPlayer(SINK).play(noise(5, 2), never).catch((error: unknown) => error)
  await pause(0.8)
  const killedMs = performance.now()
  pulse.process.process.kill('SIGKILL')
  const fault = await run.failed
  expect(performance.now() - killedMs).toBeLessThan(2000)
  expect(fault?.says).toMatch(/^bench_monitor went away after \d\.\d s/)
  expect(await run.stop()).toContainEqual(fault)
  expect(String(await playing)).toMatch(/^StopError: the output went away while it played/)
})
