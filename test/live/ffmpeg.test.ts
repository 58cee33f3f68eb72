/** ffmpeg's drivers against a real sound server with null sinks, and the server's own driver at every usual shape. */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest'
import { ComputerPlayer } from '../../src/instruments/computer-player.js'
import { FfmpegCapture, type FfmpegCaptureSpec } from '../../src/instruments/ffmpeg-capture.js'
import { FfmpegPlayer } from '../../src/instruments/ffmpeg-player.js'
import { PulseCapture } from '../../src/instruments/pulse-capture.js'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { type PulseServer, startPulse } from './pulse.js'
import {
  expectExact,
  expectStop,
  never,
  noise,
  pause,
  placePlayer,
  SHAPES,
  sinkOf,
  soundAfterStop,
  takeOf,
  withSinks,
} from './sound.js'

const TOOLS: Tool[] = ['pulseaudio', 'pactl', 'parec', 'pacat', 'ffmpeg']
vi.setConfig({ testTimeout: 30_000 })

/** Stays for all tests but those of several shapes. */
const SINK = 'line'

let pulse: PulseServer
const envBefore = { ...process.env }
beforeAll(async () => {
  if (missingTools(...TOOLS).length > 0) return
  pulse = await startPulse()
  Object.assign(process.env, pulse.env)
  await pulse.control(...sinkOf(SINK, 'ffmpeg', 2, 48_000))
  writeFileSync(
    join(pulse.env.HOME, '.asoundrc'),
    'pcm.line { type pulse device "line" }\npcm.line_monitor { type pulse device "line.monitor" }\n',
  )
}, 60_000)
afterAll(async () => {
  await pulse?.stop()
  process.env = envBefore
})

const capture = (sink: string, more: Partial<FfmpegCaptureSpec> = {}): FfmpegCapture =>
  new FfmpegCapture({
    device: `${sink}.monitor`,
    inputFormat: 'pulse',
    sampleRateHz: 48_000,
    bits: 24,
    inputCount: 2,
    ...more,
  })
const player = (device: string, outputFormat: 'pulse' | 'alsa' = 'pulse'): FfmpegPlayer =>
  new FfmpegPlayer({ device, outputFormat })

describe('playing and capturing gives every sample of 2, 8 and 12 channels at 44.1, 48 and 96 kHz, exactly,', () => {
  test.for(SHAPES.map((shapes) => [shapes]))('through ffmpeg: %j', async ([shapes], context) => {
    needsTool(context, ...TOOLS)
    await withSinks(pulse, 'ffmpeg', shapes, async (sink, { channelCount, rateHz: sampleRateHz }) => {
      const audio = noise(0.3, channelCount, sampleRateHz)
      // ffmpeg names channels otherwise when it plays.
      const playing = channelCount > 2 ? placePlayer(sink) : player(sink)
      expectExact(await takeOf(capture(sink, { sampleRateHz, inputCount: channelCount }), playing, audio), audio)
    })
  })

  test.for(SHAPES.map((shapes) => [shapes]))("through the server's own tools: %j", async ([shapes], context) => {
    needsTool(context, ...TOOLS)
    await withSinks(pulse, 'aux', shapes, async (sink, { channelCount, rateHz: sampleRateHz }) => {
      const audio = noise(0.3, channelCount, sampleRateHz)
      const device = new PulseCapture({ device: `${sink}.monitor`, sampleRateHz, inputCount: channelCount })
      const playing = channelCount > 2 ? placePlayer(sink) : new ComputerPlayer(sink)
      expectExact(await takeOf(device, playing, audio), audio)
    })
  })

  test('through ffmpeg and ALSA', async (context) => {
    needsTool(context, ...TOOLS, 'ALSA pulse plugin')
    const audio = noise(0.5, 2)
    const device = capture('', { inputFormat: 'alsa', device: 'line_monitor' })
    expectExact(await takeOf(device, player('line', 'alsa'), audio), audio)
  })
})

test('stopping by hand silences the player at once', async (context) => {
  needsTool(context, ...TOOLS)
  // A busy computer may take a tenth of a second to hear the order, and the capture hands on every twentieth.
  expect(await soundAfterStop(capture(SINK), player(SINK), noise(4, 2))).toBeLessThan(0.3)
})

describe('one clear line', () => {
  test('for a name that is not there, with those that are', async (context) => {
    needsTool(context, ...TOOLS, 'ALSA pulse plugin')
    await expectStop(
      capture('nothing').start(() => {}, never),
      'the sound server has no input of this name (nothing.monitor). Set capture.device in the rig file to one of: radio.monitor',
    )
    await expectStop(
      player('nothing').play(noise(0.1, 2), never),
      'the sound server has no output of this name (nothing). Set player.device in the rig file to one of: radio',
    )
    await expectStop(
      capture('', { inputFormat: 'alsa', device: 'hw:CARD=nothing,DEV=0' }).start(() => {}, never),
      'there is no sound input of this name (hw:CARD=nothing,DEV=0). Plug the card in, or set capture.device in the rig file to one of: ',
    )
  })

  test('for a server that would sort the channels or convert the rate', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture('outputs', { inputCount: 12 }).start(() => {}, never),
      'the sound server would sort the channels by their names: aux0,aux1,aux2,aux3,aux4,aux5,aux6,aux7,aux8,aux9,aux10,aux11 on the device, front-left,',
    )
    await expectStop(
      capture(SINK, { sampleRateHz: 44_100 }).start(() => {}, never),
      'the device runs at 48000 Hz, so the sound server would convert the 44100 Hz samples (line.monitor)',
    )
    await expectStop(
      player(SINK).play(noise(2, 2, 44_100), never),
      'the device runs at 48000 Hz, so the sound server would convert the 44100 Hz samples (line)',
    )
  })

  test('for an input with echo cancelling and gain control in its way, whichever driver asks', async (context) => {
    needsTool(context, ...TOOLS)
    const module = 'module-echo-cancel source_name=cleaned source_master=outputs.monitor sink_master=radio'
    await pulse.control('load-module', ...module.split(' '))
    const says = 'the input changes the sound inside the sound server: module-echo-cancel (cleaned)'
    await expectStop(
      new PulseCapture({ device: 'cleaned', sampleRateHz: 48_000, inputCount: 1 }).start(() => {}, never),
      says,
    )
    await expectStop(
      capture('', { device: 'cleaned', inputCount: 1 }).start(() => {}, never),
      says,
    )
    await pulse.control('unload-module', 'module-echo-cancel')
  })
})

// Last, because it takes the server of this file.
test('a server that is killed during a take is a fault, told at once, and stops the player with a line', async (context) => {
  needsTool(context, ...TOOLS)
  const own = await new PulseCapture({ device: `${SINK}.monitor`, sampleRateHz: 48_000, inputCount: 2 }).start(
    () => {},
    never,
  )
  const run = await capture(SINK).start(() => {}, never)
  const playing = player(SINK)
    .play(noise(5, 2), never)
    .catch((error: unknown) => error)
  await pause(0.8)
  const killedMs = performance.now()
  pulse.process.process.kill('SIGKILL')
  const [fault, ownFault] = await Promise.all([run.failed, own.failed])
  expect(performance.now() - killedMs).toBeLessThan(2000)
  expect(fault?.says).toMatch(/^line\.monitor went away after \d\.\d s/)
  expect(ownFault?.says).toMatch(/^line\.monitor went away after \d\.\d s/)
  expect(await run.stop()).toContainEqual(fault)
  expect(await own.stop()).toContainEqual(ownFault)
  expect(String(await playing)).toMatch(/^StopError: the output went away while it played/)
})
