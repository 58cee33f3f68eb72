/** The sound server's drivers against a real server with null sinks. */
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest'
import { ComputerPlayer } from '../../src/instruments/computer-player.js'
import { PulseCapture, type PulseCaptureSpec } from '../../src/instruments/pulse-capture.js'
import type { Block, CaptureFault } from '../../src/rig/roles.js'
import type { Audio } from '../../src/units/audio.js'
import { StopError } from '../../src/units/stop.js'
import { some } from '../long.js'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { nullSink, type PulseServer, startPulse } from './pulse.js'

const TOOLS: Tool[] = ['pulseaudio', 'parec', 'pacat', 'pactl']
const RATE_HZ = 48_000
vi.setConfig({ testTimeout: 20_000 })

const never = new AbortController().signal
const pause = (lengthS: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, 1000 * lengthS))

let pulse: PulseServer
const envBefore = { ...process.env }
beforeAll(async () => {
  if (missingTools(...TOOLS).length > 0) return
  pulse = await startPulse()
  Object.assign(process.env, pulse.env)
}, 60_000)
afterAll(async () => {
  await pulse?.stop()
  process.env = envBefore
})

/** Noise on the grid of a 24-bit word, so that every sample has one exact value on its way; never zero at its ends. */
function noise(durationS: number, channelCount = 2): Audio {
  const channels = Array.from({ length: channelCount }, (_, c) =>
    Float32Array.from(
      { length: durationS * RATE_HZ },
      (_, n) => ((Math.imul(n * channelCount + c + 1, 0x9e3779b1) >> 8) | 1) / 2 ** 23,
    ),
  )
  return { sampleRateHz: RATE_HZ, channels }
}

const capture = (device: string | null, inputCount: number, more: Partial<PulseCaptureSpec> = {}) =>
  new PulseCapture({ device, sampleRateHz: RATE_HZ, inputCount, ...more })

function joined(blocks: readonly Block[], c: number): Float32Array {
  const all = new Float32Array(blocks.reduce((sum, block) => sum + block[c].length, 0))
  let at = 0
  for (const block of blocks) {
    all.set(block[c], at)
    at += block[c].length
  }
  return all
}

/** Plays while capturing; what was captured, channel by channel. */
async function takeOf(audio: Audio, sink: string, inputCount: number) {
  const blocks: Block[] = []
  const run = await capture(`${sink}.monitor`, inputCount).start((block) => blocks.push(block), never)
  await new ComputerPlayer(sink).play(audio, never)
  // The monitor's own latency.
  await pause(0.3)
  const faults = await run.stop()
  return { run, faults, channels: Array.from({ length: inputCount }, (_, c) => joined(blocks, c)) }
}

describe('playing and capturing', () => {
  // Truth: what was played. A digital path has no tolerance; only its start is not known.
  test('gives every sample that was played, exactly and in its channel', async (context) => {
    needsTool(context, ...TOOLS)
    const audio = noise(1)
    const { run, faults, channels } = await takeOf(audio, 'radio', 2)
    expect(faults).toEqual([])
    expect([run.sampleRateHz, run.inputCount]).toEqual([RATE_HZ, 2])
    const start = channels[0].findIndex((sample) => sample !== 0)
    channels.forEach((captured, c) => {
      const played = audio.channels[c]
      expect(captured.subarray(start, start + played.length)).toEqual(played)
      // Silence around it.
      expect(captured.subarray(0, start).every((sample) => sample === 0)).toBe(true)
      expect(captured.subarray(start + played.length).every((sample) => sample === 0)).toBe(true)
    })
  })

  test.for(some([3, 12], 1))('takes %d of twelve channels by their place', async (inputCount, context) => {
    needsTool(context, ...TOOLS)
    const audio = noise(0.3, 12)
    const { channels } = await takeOf(audio, 'outputs', inputCount)
    const start = channels[0].findIndex((sample) => sample !== 0)
    channels.forEach((captured, c) => {
      expect(captured.subarray(start, start + audio.channels[c].length)).toEqual(audio.channels[c])
    })
  })
})

describe('stopping by hand', () => {
  test('silences the player at once and rejects with the reason', async (context) => {
    needsTool(context, ...TOOLS)
    const blocks: Block[] = []
    const run = await capture('radio.monitor', 2).start((block) => blocks.push(block), never)
    const aborting = new AbortController()
    const playing = new ComputerPlayer('radio').play(noise(5), aborting.signal)
    await pause(1)
    const reason = new Error('Ctrl-C')
    const abortedMs = performance.now()
    aborting.abort(reason)
    await expect(playing).rejects.toBe(reason)
    const stoppedMs = performance.now()
    await pause(0.5)
    await run.stop()
    const captured = joined(blocks, 0)
    const lastSound = captured.findLastIndex((sample) => sample !== 0)
    expect(lastSound).toBeGreaterThan(0)
    // Half a second was waited; a busy computer may take a tenth of it to hear the order.
    expect((captured.length - lastSound) / RATE_HZ).toBeGreaterThan(0.3)
    expect(stoppedMs - abortedMs).toBeLessThan(500)
  })

  test('before the player starts rejects with the reason and makes no sound', async (context) => {
    needsTool(context, ...TOOLS)
    const reason = new Error('Ctrl-C')
    await expect(new ComputerPlayer('radio').play(noise(1), AbortSignal.abort(reason))).rejects.toBe(reason)
    await expect(capture('radio.monitor', 2).start(() => {}, AbortSignal.abort(reason))).rejects.toBe(reason)
  })

  test('ends a capture without calling it vanished', async (context) => {
    needsTool(context, ...TOOLS)
    const aborting = new AbortController()
    let blockCount = 0
    const run = await capture('radio.monitor', 2).start(() => blockCount++, aborting.signal)
    aborting.abort(new Error('Ctrl-C'))
    const blockCountThen = blockCount
    await pause(0.2)
    expect(blockCount).toBe(blockCountThen)
    expect(await run.stop()).toEqual([])
  })
})

describe('one clear line', () => {
  const expectStop = async (work: Promise<unknown>, says: string): Promise<void> => {
    const error = await work.then(
      () => null,
      (reason: unknown) => reason,
    )
    expect(error).toBeInstanceOf(StopError)
    expect((error as StopError).message).toContain(says)
    expect((error as StopError).kind).toBe('instrument')
  }

  test('for an input or an output that is not there, with those that are', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture('line_in', 2).start(() => {}, never),
      'the sound server has no input of this name (line_in). Set capture.device in the rig file to one of: radio.monitor, outputs.monitor',
    )
    await expectStop(
      new ComputerPlayer('headphones').play(noise(0.1), never),
      'the sound server has no output of this name (headphones). Set player.device in the rig file to one of: radio, outputs',
    )
  })

  test('for an input with too few channels', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture('radio.monitor', 4).start(() => {}, never),
      'the input has 2 channels, but 4 are needed (radio.monitor). Choose the card profile with all inputs',
    )
  })

  test('for a default input that only repeats what is played', async (context) => {
    needsTool(context, ...TOOLS)
    await pulse.control('set-default-source', 'radio.monitor')
    await expectStop(
      capture(null, 2).start(() => {}, never),
      'the default input only repeats what the computer plays (radio.monitor). Plug the capture card in',
    )
  })

  test('for an input that is muted or turned down, and for a muted output', async (context) => {
    needsTool(context, ...TOOLS)
    await pulse.control('load-module', ...nullSink('tuned', 2).split(' '))
    await pulse.control('set-source-mute', 'tuned.monitor', '1')
    await expectStop(
      capture('tuned.monitor', 2).start(() => {}, never),
      'the input is muted (tuned.monitor). Unmute it: pactl set-source-mute tuned.monitor 0',
    )
    await pulse.control('set-source-mute', 'tuned.monitor', '0')
    await pulse.control('set-source-volume', 'tuned.monitor', '50%')
    await expectStop(
      capture('tuned.monitor', 2).start(() => {}, never),
      // The server's volume is a cubic scale: 60 lg 0.5 = -18.06 dB.
      "the input's volume is 18.1 dB off, so every level would be (tuned.monitor). Set it to full: pactl set-source-volume tuned.monitor 100%",
    )
    await pulse.control('set-sink-mute', 'tuned', '1')
    await expectStop(
      new ComputerPlayer('tuned').play(noise(0.1), never),
      'the output is muted (tuned). Unmute it: pactl set-sink-mute tuned 0',
    )
  })

  test('for a rate that the server would convert', async (context) => {
    needsTool(context, ...TOOLS)
    await expectStop(
      capture('radio.monitor', 2, { sampleRateHz: 44_100 }).start(() => {}, never),
      'the device runs at 48000 Hz, so the sound server would convert the 44100 Hz samples (radio.monitor). Set its rate',
    )
    await expectStop(
      new ComputerPlayer('radio').play({ ...noise(1), sampleRateHz: 44_100 }, never),
      'the device runs at 48000 Hz, so the sound server would convert the 44100 Hz samples (radio). Set track.sample_rate_hz',
    )
  })

  test('when the tools are not installed', async (context) => {
    needsTool(context, ...TOOLS)
    const path = process.env['PATH']
    process.env['PATH'] = '/nowhere'
    try {
      await expectStop(
        capture('radio.monitor', 2).start(() => {}, never),
        'the tool pactl is not installed (the sound server). Install the Debian package pulseaudio-utils',
      )
    } finally {
      process.env['PATH'] = path
    }
  })

  test('when no sound server answers', async (context) => {
    needsTool(context, ...TOOLS)
    const server = process.env['PULSE_SERVER']
    process.env['PULSE_SERVER'] = 'unix:/nowhere/native'
    try {
      await expectStop(
        capture('radio.monitor', 2).start(() => {}, never),
        'Connection refused (the sound server). Start PulseAudio or PipeWire',
      )
    } finally {
      process.env['PULSE_SERVER'] = server
    }
  })
})

// The server itself would carry on with another device, without a word.
test('a device that goes away during a take is a fault of the take, and stops the player with a line', async (context) => {
  needsTool(context, ...TOOLS)
  const index = (await pulse.control('load-module', ...nullSink('loose', 2).split(' '))).trim()
  const run = await capture('loose.monitor', 2).start(() => {}, never)
  const playing = new ComputerPlayer('loose').play(noise(5), never)
  const ending = playing.catch((reason: unknown) => reason)
  await pause(0.7)
  await pulse.control('unload-module', index)
  expect(String(await ending)).toBe(
    'StopError: the output went away while it played (loose). Plug it in again, then give the same command again.',
  )
  await pause(0.3)
  expectVanished(await run.stop(), 'loose.monitor')
})

// Last, because it takes the server of this file.
test('a server that is killed during a take is a fault of the take, and stops the player with a line', async (context) => {
  needsTool(context, ...TOOLS)
  const run = await capture('radio.monitor', 2).start(() => {}, never)
  const playing = new ComputerPlayer('radio').play(noise(5), never)
  const ending = playing.catch((reason: unknown) => reason)
  await pause(0.7)
  pulse.process.process.kill('SIGKILL')
  const error = await ending
  expect(error).toBeInstanceOf(StopError)
  expect((error as StopError).message).toMatch(
    /^pacat failed: .*Connection terminated \(radio\)\. Check that the sound server runs/,
  )
  await pause(0.3)
  expectVanished(await run.stop(), 'radio.monitor')
})

function expectVanished(faults: readonly CaptureFault[], source: string): void {
  const vanished = faults.find((fault) => fault.kind === 'vanished')
  expect(vanished?.says).toMatch(new RegExp(`^${source} went away after \\d+\\.\\d s`))
  expect(vanished?.atS).toBeGreaterThan(0)
}
