/** Whether a rig check names what is wrong, on the simulated card with faults planted in it. */
import { describe, expect, test, vi } from 'vitest'
import type { Bench, Block } from '../../src/rig/roles.js'
import { checkRig, type RigCheck, type RigCheckRequest } from '../../src/stages/rig-check.js'
import { StopError } from '../../src/units/stop.js'
import { whiteNoise } from '../kit/random.js'
import { cardOf, GO_ON, rigOf } from './rig-card.js'

const none = (): void => {}
const rig = rigOf()
const check = (bench: Bench, more: Partial<RigCheckRequest> = {}): Promise<RigCheck> =>
  checkRig(bench, { rig, askToStart: null, meterTrouble: null, ...more }, none, GO_ON)
const says = ({ troubles }: RigCheck): string[] => troubles.map((trouble) => trouble.says)

/** The same bench, its blocks changed on their way. */
const changed = (bench: Bench, change: (block: Block) => Block): Bench => ({
  ...bench,
  capture: { ...bench.capture, start: (onBlock, signal) => bench.capture.start((b) => onBlock(change(b)), signal) },
})

describe('a rig check', () => {
  test('passes a healthy rig, and tells what each input hears', async () => {
    const found = await check(cardOf(rig))
    expect(found.verdict).toBe('pass')
    expect(found.troubles).toEqual([])
    expect(found.inputs.map(({ side }) => side)).toEqual(['left', 'left', 'left'])
    // Truth: 2 V of the looped output for a full-scale tone, over 4 V of full scale: -6.02 dB.
    for (const { atFullFs } of found.inputs) expect(atFullFs).toBeCloseTo(0.5, 2)
    // Truth: -40 dB of 2 V; the simulated meter is within its data sheet.
    expect(found.meter!.readVrms).toBeCloseTo(0.02, 2)
    expect(found.meter!.captureVrms).toBeCloseTo(0.02, 3)
  })

  test('names an input that stays at its floor', async () => {
    const found = await check(cardOf(rig, 'inputs: { 3: { dead: true } }'))
    expect(found.verdict).toBe('fail')
    expect(says(found)).toEqual(["Input 3 stays at the floor: nothing of the player's quiet tones arrives there."])
    expect(found.troubles[0].inputs).toEqual([3])
  })

  test('says it once where no input hears the player', async () => {
    const found = await check(cardOf(rig, 'inputs: { 1: { dead: true }, 2: { dead: true }, 3: { dead: true } }'))
    expect(says(found)).toEqual([
      "Every input stays at its floor: nothing of the player's quiet tones reaches the card.",
    ])
    expect(found.troubles[0].remedy).toContain('Check that the player feeds the leads')
  })

  test('names inputs that clip, and those that would at full level', async () => {
    const found = await check(cardOf(rig, 'loop_vrms: 8, inputs: { 2: { gain_db: 40 } }'))
    expect(found.verdict).toBe('fail')
    expect(says(found)[0]).toBe('Input 2 clips, though nothing but the quiet tones was played.')
    // Truth: 8 V over 4 V is 6.02 dB.
    expect(says(found)[1]).toMatch(/^Inputs 1 and 3 would clip at full level, input \d by 6\.0 dB\.$/)
  })

  test('is unsure about hum', async () => {
    const found = await check(cardOf(rig, 'hum: { freq_hz: 50, level_dbv: -60 }'))
    expect(found.verdict).toBe('unsure')
    expect(says(found)).toEqual(['Hum of 50 Hz on inputs 1 to 3, up to −60 dBV at the lead.'])
  })

  test('names two inputs with the same samples', async () => {
    const found = await check(changed(cardOf(rig), ([a, b]) => [a, b, a]))
    expect(says(found)).toEqual(['Inputs 1 and 3 hold the very same samples: the card gives one input twice.'])
  })

  test('names inputs that give zeros or one value', async () => {
    const flat = (samples: Float32Array, value: number): Float32Array => new Float32Array(samples.length).fill(value)
    const found = await check(changed(cardOf(rig), ([a, b, c]) => [a, flat(b, 0), flat(c, 0.1)]))
    expect(says(found).slice(0, 2)).toEqual(['Input 2 gives nothing but zeros.', 'Input 3 gives one constant value.'])
  })

  test('says that a card has fewer bits than the rig file says', async () => {
    const to16 = (samples: Float32Array): Float32Array => samples.map((x) => Math.round(32_768 * x) / 32_768)
    const found = await check(changed(cardOf(rig), (block) => block.map(to16)))
    expect(found.verdict).toBe('unsure')
    expect(says(found)).toEqual(['Every sample fits in 16 bits, the rig file says 24.'])
  })

  test('tells a card that runs at another rate by where the tones come out', async () => {
    const slow = { ...rig, capture: { ...rig.capture, sampleRateHz: 44_100 }, meter: null }
    const bench = cardOf(slow)
    const mislabelled: Bench = {
      ...bench,
      capture: {
        ...bench.capture,
        start: async (onBlock, signal) => ({ ...(await bench.capture.start(onBlock, signal)), sampleRateHz: 48_000 }),
      },
    }
    const found = await check(mislabelled, { rig: { ...rig, meter: null } })
    expect(found.otherRateHz).toBe(44_100)
    expect(says(found)).toEqual(['The card runs at 44.1 kHz, the rig file says 48.0 kHz.'])
    expect(found.troubles[0].remedy).toBe('Set the card to 48.0 kHz, or capture.sample_rate_hz to 44100.')
  })

  test('stops where the capture breaks off', async () => {
    const bench = cardOf(rig)
    const fault = { kind: 'vanished', says: 'the card went away after 0.2 s', atS: 0.2 } as const
    const breaking: Bench = {
      ...bench,
      capture: {
        ...bench.capture,
        start: async (onBlock, signal) => ({
          ...(await bench.capture.start(onBlock, signal)),
          failed: Promise.resolve(fault),
        }),
      },
    }
    await expect(check(breaking)).rejects.toThrow('the card went away after 0.2 s (simulated card). Check its cable')
  })
})

describe('the meter in a rig check', () => {
  const withMeter = (meter: Partial<NonNullable<Bench['meter']>>): Bench => {
    const bench = cardOf(rig)
    return { ...bench, meter: { ...bench.meter!, ...meter } }
  }
  const stop = new StopError('the meter does not answer "*IDN?"', '/dev/ttyUSB0', 'Check that it is on.', 'instrument')

  test('that does not answer is one trouble; the inputs are checked all the same', async () => {
    const found = await check(withMeter({ identify: () => Promise.reject(stop) }))
    expect(found.verdict).toBe('fail')
    expect(found.troubles).toEqual([
      {
        verdict: 'fail',
        inputs: [],
        says: 'Meter: the meter does not answer "*IDN?" (/dev/ttyUSB0).',
        remedy: 'Check that it is on.',
      },
    ])
    expect(found.inputs.every(({ isHeard }) => isHeard)).toBe(true)
  })

  test('that could not be opened is told the same way', async () => {
    const meterTrouble = { says: 'there is no such port (/dev/ttyUSB9)', remedy: 'Plug the meter in.' }
    const found = await check({ ...cardOf(rig), meter: null }, { meterTrouble })
    expect(says(found)).toEqual(['Meter: there is no such port (/dev/ttyUSB9).'])
  })

  test('that gives no reading is told with its reason', async () => {
    const found = await check(withMeter({ readAcVrms: () => Promise.reject(stop) }))
    expect(found.meter).toMatchObject({ says: 'Ostrevan,AC1 simulated,0001,1.0', readVrms: null })
    expect(found.verdict).toBe('fail')
  })

  test('is not blamed for a player that fails while it reads', async () => {
    const bench = cardOf(rig)
    const busy = new StopError(
      'the computer was too busy to play without a gap',
      'output',
      'Close others.',
      'instrument',
    )
    let playCount = 0
    const failing: Bench = {
      ...bench,
      player: {
        ...bench.player,
        play: (audio, signal) => (++playCount === 3 ? Promise.reject(busy) : bench.player.play(audio, signal)),
      },
    }
    await expect(check(failing)).rejects.toBe(busy)
  })

  test('that reads millivolts for volts is named', async () => {
    const found = await check(cardOf(rig, 'meter_factor: 1000'))
    expect(found.verdict).toBe('fail')
    expect(says(found)[0]).toMatch(
      /^On input 2 the meter reads \d+\.\d V, the capture 20 mV: a thousand times apart\.$/,
    )
  })

  test('that disagrees with the capture leaves it unsure', async () => {
    const found = await check(cardOf(rig, 'level_error_db: 6'))
    expect(found.verdict).toBe('unsure')
    expect(says(found)[0]).toMatch(/^On input 2 the meter reads 2\d mV, the capture 40 mV: −[56]\.\d dB apart/)
  })

  test('is only asked for a reading where a person starts the music', async () => {
    const askToStart = vi.fn(async () => {})
    const waits = vi.spyOn(globalThis, 'setTimeout').mockImplementation(((act: () => void) => {
      queueMicrotask(act)
      return 0
    }) as unknown as typeof setTimeout)
    try {
      const found = await check(listening(0.0001, 0.01), { askToStart })
      expect(askToStart).toHaveBeenCalledOnce()
      expect(found.inputs.map(({ isHeard, side }) => [isHeard, side])).toEqual([
        [true, null],
        [true, null],
        [true, null],
      ])
      expect(found.meter).toMatchObject({ captureVrms: null, trouble: null })
      const silent = await check(listening(0.0001, 0.0001), { askToStart })
      expect(says(silent)[0]).toBe('Every input stays at its floor: nothing of what you started reaches the card.')
    } finally {
      waits.mockRestore()
    }
  })
})

/** A live bench whose first capture hears noise of one level, the second of another. */
function listening(...levelsFs: readonly number[]): Bench {
  let turn = 0
  return {
    ...cardOf(rig),
    isSimulated: false,
    capture: {
      where: 'card',
      start: async (onBlock) => {
        onBlock([1, 2, 3].map((k) => Float32Array.from(whiteNoise(144_000, levelsFs[turn] ?? 0, 10 * turn + k))))
        turn++
        return { sampleRateHz: 48_000, inputCount: 3, stop: async () => [] }
      },
    },
  }
}

test('a stop ends it with its reason', async () => {
  const stopping = new AbortController()
  const reason = new StopError('stopped by Ctrl-C', 'this run', 'Give it again.', 'instrument')
  stopping.abort(reason)
  const request = { rig, askToStart: null, meterTrouble: null }
  await expect(checkRig(cardOf(rig), request, none, stopping.signal)).rejects.toBe(reason)
})
