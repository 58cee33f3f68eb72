import { describe, expect, test } from 'vitest'
import { connectPrompt, hookUpPrompt, liveBench } from '../../src/instruments/bench.js'
import { openCapture, openPlayer } from '../../src/instruments/open-sound.js'
import type { Rig } from '../../src/rig/rig.js'
import { vrms } from '../../src/units/level.js'
import { StopError } from '../../src/units/stop.js'

const RIG: Rig = {
  name: 'bench rig',
  capture: { driver: 'pulse', device: 'card', sampleRateHz: 48_000, bits: 24 },
  player: { driver: 'stick', device: null },
  meter: null,
  inputs: [{ fullScaleVrms: vrms(4), padDb: 0, levelUncertaintyDb: 0.1 }],
  patches: null,
  faultsPath: null,
}
const PATCH = {
  name: 'front',
  leads: [
    { inputNumber: 1, outputNumber: 3 },
    { inputNumber: 2, outputNumber: 4 },
  ],
}
const never = new AbortController().signal
const noAsk = async (): Promise<void> => {}

describe('a live bench', () => {
  test('says what it is made of and asks for leads by number', async () => {
    const prompts: string[] = []
    const bench = await liveBench(RIG, [PATCH], async (prompt) => {
      prompts.push(prompt)
    })
    expect(bench.says).toBe('capture card, player the head unit, started by hand')
    expect([bench.isSimulated, bench.meter]).toEqual([false, null])
    await bench.connect('front', never)
    await bench.set('reference', never)
    // Nothing has been turned since.
    await bench.set('reference', never)
    expect(prompts).toEqual([
      connectPrompt(PATCH),
      expect.stringMatching(/^Set the head unit for measuring: bass at zero; /),
    ])
    expect(connectPrompt(PATCH)).toMatch(/^Connect input 1 to output 3, input 2 to output 4\. /)
    await expect(bench.connect('rear', never)).rejects.toThrow(RangeError('liveBench: no patch "rear"'))
    await bench.close()
    await bench.close()
  })

  test('with a track started by hand asks for it and leaves the waiting to the run', async () => {
    const prompts: string[] = []
    const bench = await liveBench(RIG, [PATCH], async (prompt) => {
      prompts.push(prompt)
    })
    await bench.player.play({ sampleRateHz: 1000, channels: [new Float32Array(60_000)] }, never)
    expect(prompts).toEqual(['Start the track on the head unit now, from its beginning, then confirm.'])
    const reason = new Error('Ctrl-C')
    const audio = { sampleRateHz: 1000, channels: [new Float32Array(1)] }
    await expect(bench.player.play(audio, AbortSignal.abort(reason))).rejects.toBe(reason)
  })

  test.each([
    [
      { driver: 'alsa', device: 'hw:CARD=card,DEV=0' },
      { driver: 'alsa', device: 'hw:CARD=out,DEV=0' },
    ],
    [
      { driver: 'ffmpeg', device: 'Line In' },
      { driver: 'ffmpeg', device: 'Line Out' },
    ],
    [
      { driver: 'pulse', device: 'card.in' },
      { driver: 'computer', device: 'card.out' },
    ],
  ] as const)('names the devices of its drivers (%#)', async (capture, player) => {
    const bench = await liveBench({ ...RIG, capture: { ...RIG.capture, ...capture }, player }, [PATCH], noAsk)
    expect(bench.says).toBe(`capture ${capture.device}, player ${player.device}`)
  })

  test.each([
    [{ ...RIG, capture: { ...RIG.capture, driver: 'simulated' } } satisfies Rig, 'capture.driver is "simulated"'],
    [{ ...RIG, player: { ...RIG.player, driver: 'simulated' } } satisfies Rig, 'player.driver is "simulated"'],
    [
      { ...RIG, player: { ...RIG.player, driver: 'none' } } satisfies Rig,
      'player.driver is "none", which is for recordings only (bench rig). Write driver: stick where a person starts',
    ],
    [
      {
        ...RIG,
        meter: { driver: 'simulated', port: null, baudRate: 9600, inputNumber: 1, accuracyPct: 1, accuracyVrms: 0 },
      } satisfies Rig,
      'meter.driver is "simulated"',
    ],
    [
      {
        ...RIG,
        meter: { driver: 'scpi', port: null, baudRate: 9600, inputNumber: 1, accuracyPct: 1, accuracyVrms: 0 },
      } satisfies Rig,
      'the rig names no port for the meter (meter.port)',
    ],
  ])('refuses a rig that is not for it (%#)', async (rig, says) => {
    const error = await liveBench(rig, [PATCH], noAsk).catch((reason: unknown) => reason)
    expect(error).toBeInstanceOf(StopError)
    expect((error as StopError).message).toContain(says)
    expect((error as StopError).kind).toBe('input')
  })
})

describe('a rig that is checked by itself', () => {
  test('is wired in one prompt for each hook-up', async () => {
    const prompts: string[] = []
    const bench = await liveBench(RIG, [], async (prompt) => {
      prompts.push(prompt)
    })
    await bench.connect({ kind: 'shorted' }, never)
    await bench.connect({ kind: 'looped', inputNumbers: [1], meterInput: 1 }, never)
    expect(prompts).toEqual([
      'Take the lead of input 1 off the vehicle and short it at the far end of the lead, in front of the pad: signal to ground.',
      "Connect the left side of the player's own output to the lead of input 1; nothing else on it. Put the meter, on AC volts, across the lead of input 1.",
    ])
  })

  test('names what is in parallel and what is shorted', () => {
    const all = hookUpPrompt({ kind: 'looped', inputNumbers: [1, 2, 3, 4], meterInput: null }, 4)
    expect(all).toBe(
      "Connect the left side of the player's own output to the leads of inputs 1 to 4, all in parallel; nothing else on it.",
    )
    expect(hookUpPrompt({ kind: 'looped', inputNumbers: [2], meterInput: null }, 4)).toContain(
      'to the lead of input 2; nothing else on it. Short the leads of inputs 1, 3 and 4.',
    )
    expect(hookUpPrompt({ kind: 'shorted' }, 4)).toContain('the leads of inputs 1 to 4 off the vehicle and short each')
  })
})

test('a rig file of another system is told as such, with what to take in its place', () => {
  const says = (format: string, home: string): RegExp =>
    new RegExp(
      `is ${format}, which only ${home} has; this computer has not \\(bench rig\\)\\. Take a rig file of this system`,
    )
  const capture = (inputFormat: 'avfoundation' | 'dshow'): Rig => ({
    ...RIG,
    capture: { ...RIG.capture, driver: 'ffmpeg', inputFormat },
  })
  const mac: Rig = { ...RIG, player: { driver: 'ffmpeg', device: null, outputFormat: 'audiotoolbox' } }
  expect(() => openCapture(capture('avfoundation'), 'linux')).toThrow(says('avfoundation', 'macOS'))
  expect(() => openCapture(capture('dshow'), 'darwin')).toThrow(says('dshow', 'Windows'))
  expect(() => openPlayer(mac, noAsk, 'linux')).toThrow(says('audiotoolbox', 'macOS'))
  expect(openCapture(capture('avfoundation'), 'darwin').where).toBe('card')
})
