import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import type { BytePort } from '../../src/instruments/byte-port.js'
import type { Display } from '../../src/instruments/frame-14.js'
import { CharacterFrames } from '../../src/instruments/frame-characters.js'
import { FrameMeter } from '../../src/instruments/frame-meter.js'
import { SegmentFrames } from '../../src/instruments/frame-segments.js'
import type { FrameKind } from '../../src/rig/meter-spec.js'
import type { MeterQuantity } from '../../src/rig/roles.js'
import { StopError } from '../../src/units/stop.js'
import { characterFrame, segmentFrame } from './frames.js'

const never = new AbortController().signal
const segments = (...bytes: number[]): readonly Display[] => new SegmentFrames().push(Uint8Array.from(bytes))
const characters = (...bytes: number[]): readonly Display[] => new CharacterFrames().push(Uint8Array.from(bytes))

/** Each sign that tells the unit or prefix, what it makes of a display of 1.234, and by which factor. */
const UNITS: [signs: string[], quantity: Display['quantity'], factor: number][] = [
  [['V', 'AC'], 'acVolts', 1],
  [['V', 'DC'], 'dcVolts', 1],
  [['V', 'm', 'AC'], 'acVolts', 1e-3],
  [['V', 'm', 'DC'], 'dcVolts', 1e-3],
  [['A', 'DC'], 'dcAmps', 1],
  [['A', 'm', 'DC'], 'dcAmps', 1e-3],
  [['A', 'µ', 'DC'], 'dcAmps', 1e-6],
  [['A', 'm', 'AC'], 'other', 1e-3],
  [['V', 'AC', 'DC'], 'other', 1],
  [['V'], 'other', 1],
  [['Ω'], 'ohms', 1],
  [['Ω', 'k'], 'ohms', 1e3],
  [['Ω', 'M'], 'ohms', 1e6],
  [['Ω', 'beep'], 'other', 1],
  [['V', 'diode', 'DC'], 'other', 1],
  [['Hz'], 'other', 1],
  [['Hz', 'k'], 'other', 1e3],
  [['F', 'n'], 'other', 1e-9],
  [['F', 'µ'], 'other', 1e-6],
  [['%'], 'other', 1],
  [['°'], 'other', 1],
]

describe.each([
  ['segments', segments, (digits: string) => segmentFrame(digits, 'V', 'DC'), segmentFrame] as const,
  [
    'characters',
    characters,
    (digits: string) => characterFrame(digits.replace(/^(?!-)/, '+'), 'V', 'DC'),
    characterFrame,
  ] as const,
])('a frame of %s', (kind, decode, dc, frame) => {
  const positive = (text: string): string => (kind === 'characters' ? `+${text}` : text)

  // Truth: the digits that the picture shows.
  test('shows each digit at each place', () => {
    for (let place = 0; place < 4; place++) {
      for (let digit = 0; digit <= 9; digit++) {
        const text = '0000'.slice(0, place) + digit + '0000'.slice(place + 1)
        expect(decode(...dc(text))[0].reading).toEqual({ value: Number(text), resolution: 1 })
      }
    }
  })

  test.each([
    ['1234', 1234, 1],
    ['1.234', 1.234, 0.001],
    ['12.34', 12.34, 0.01],
    ['123.4', 123.4, 0.1],
    ['-0.005', -0.005, 0.001],
    ['-12.60', -12.6, 0.01],
  ])('shows %s', (text, value, resolution) => {
    const [{ reading }] = decode(...dc(text))
    if (reading === null || reading === 'overload') throw new Error(`no reading of ${text}`)
    expect(reading.value).toBeCloseTo(value, 12)
    expect(reading.resolution).toBeCloseTo(resolution, 12)
  })

  test.each(UNITS)('with the signs %s is %s', (signs, quantity, factor) => {
    const [display] = decode(...frame(positive('1.234'), ...signs))
    expect(display.quantity).toBe(quantity)
    expect((display.reading as { value: number }).value / factor).toBeCloseTo(1.234, 12)
    expect([display.isHeld, display.isRelative, display.isBatteryLow]).toEqual([false, false, false])
  })

  test('tells hold, relative and low battery', () => {
    const flags = (...signs: string[]): boolean[] => {
      const [display] = decode(...frame(positive('1.234'), 'V', 'AC', ...signs))
      return [display.isHeld, display.isRelative, display.isBatteryLow]
    }
    expect(flags('hold')).toEqual([true, false, false])
    expect(flags('relative')).toEqual([false, true, false])
    expect(flags('battery')).toEqual([false, false, true])
  })

  test('with signs that contradict each other is none', () => {
    for (const signs of [['V', 'A', 'DC'], ['V', 'm', 'k', 'AC'], ['V', 'n', 'AC'], ['AC'], ['Ω', 'AC']]) {
      expect(decode(...frame(positive('1.234'), ...signs))).toEqual([])
    }
  })

  // Frames of characters count behind a whole one's end only: one of each two here.
  test('is found after garbage, half frames and lost bytes', () => {
    const whole = dc('12.34')
    const halves = [0xff, 0, 13, 10, 65, ...whole.slice(5), ...whole.slice(0, 7)]
    const found = decode(...halves, ...whole, ...whole, ...whole.slice(0, 3), ...whole, ...whole)
    const values = found.map(({ reading }) => (reading as { value: number }).value)
    expect(values).toEqual(Array(kind === 'segments' ? 4 : 2).fill(12.34))
  })

  test('may come in any pieces', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 9999 }), fc.integer({ min: 1, max: 13 }), (number, cut) => {
        const text = String(number).padStart(4, '0')
        const decoder = kind === 'segments' ? new SegmentFrames() : new CharacterFrames()
        const bytes = Uint8Array.from(dc(text))
        expect(decoder.push(bytes.subarray(0, cut))).toEqual([])
        expect(decoder.push(bytes.subarray(cut))[0].reading).toEqual({ value: number, resolution: 1 })
      }),
      { seed: 4, numRuns: 300 },
    )
  })

  // Closed form: 14 half bytes have to be right, or nine characters: less than 1 in 2^40 at each of the million places here.
  test('does not come about by chance', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 400 }), (bytes) => {
        expect(decode(...bytes)).toEqual([])
      }),
      { seed: 4, numRuns: 2000 },
    )
  })

  // Truth: the number that every frame of the stream shows. A byte that is changed on the way, which keeps the count, can make
  // another number: frames have no check sum, and three readings have to agree for that reason too.
  test('is right or missing when bytes are lost or put in on the way', () => {
    const lost = fc.record({ at: fc.nat({ max: 13 }), lostCount: fc.integer({ min: 1, max: 3 }), put: fc.constant([]) })
    const more = fc.record({
      at: fc.nat({ max: 13 }),
      lostCount: fc.constant(0),
      put: fc.array(fc.nat({ max: 255 }), { minLength: 1, maxLength: 3 }),
    })
    const edits = fc.array(fc.option(fc.oneof(lost, more)), { minLength: 5, maxLength: 5 })
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 9999 }), edits, (number, ofEachFrame) => {
        const stream = ofEachFrame.flatMap((edit) => {
          const frameBytes = dc(String(number).padStart(4, '0'))
          if (edit) frameBytes.splice(edit.at, edit.lostCount, ...edit.put)
          return frameBytes
        })
        for (const { reading } of decode(...stream)) expect(reading).toEqual({ value: number, resolution: 1 })
      }),
      { seed: 4, numRuns: 3000 },
    )
  })

  test('that has begun before the question is left out', () => {
    const decoder = kind === 'segments' ? new SegmentFrames() : new CharacterFrames()
    const [before, after] = [dc('1111'), dc('2222')]
    decoder.push(Uint8Array.from(before.slice(0, 6)))
    decoder.startOver()
    const found = decoder.push(Uint8Array.from([...before.slice(6), ...after]))
    expect(found.map(({ reading }) => (reading as { value: number }).value)).toEqual([2222])
  })
})

describe('overload', () => {
  test.each([' 0L ', '.0L ', ' 0.L ', ' 0L'].filter((text) => text.replace('.', '').length === 4))(
    'as "%s" in segments',
    (text) => {
      expect(segments(...segmentFrame(text, 'Ω', 'M'))[0].reading).toBe('overload')
    },
  )
  test('as ?0:? in characters', () => {
    expect(characters(...characterFrame('+?0:?', 'V', 'AC'))[0].reading).toBe('overload')
  })
})

describe('segments that are no number', () => {
  test('are none: a blank display, one that shows letters, a frame with a bit turned over', () => {
    expect(segments(...segmentFrame('    ', 'V', 'AC'))[0].reading).toBeNull()
    expect(segments(...segmentFrame('LL00', 'V', 'AC'))).toEqual([])
    expect(segments(...segmentFrame('12 4', 'V', 'AC'))).toEqual([])
    expect(segments(...segmentFrame('  12', 'V', 'AC'))[0].reading).toEqual({ value: 12, resolution: 1 })
  })

  // Of the 128 shapes of seven segments ten are digits; a wrong bit makes another digit in few cases only.
  test('of any shape are a digit that the picture has, or nothing', () => {
    const frame = segmentFrame('0000', 'V', 'AC')
    const shapes = Array.from({ length: 128 }, (_, shape) => shape)
    const read = shapes.filter((shape) => {
      const bytes = [...frame]
      bytes[7] = (bytes[7] & 0xf8) | (shape >> 4)
      bytes[8] = (bytes[8] & 0xf0) | (shape & 15)
      return segments(...bytes).length > 0
    })
    expect(read).toHaveLength(10)
  })
})

function fakePort(): { port: BytePort; give: (...bytes: number[]) => void } {
  const port: BytePort = {
    where: 'PORT',
    isOpen: true,
    onBytes: null,
    onLost: null,
    send: async () => {},
    close: async () => {},
  }
  return { port, give: (...bytes) => port.onBytes?.(Uint8Array.from(bytes)) }
}

describe('a meter that sends frames', () => {
  const readWith = async (bytes: number[], quantity: MeterQuantity = 'acVolts', kind: FrameKind = 'segments') => {
    const { port, give } = fakePort()
    const notices: string[] = []
    const meter = new FrameMeter(port, kind, (says) => notices.push(says), 0.02)
    const timer = setInterval(() => give(...bytes), 15)
    try {
      return { value: (await meter.readOnce(quantity, never)).value, notices }
    } finally {
      clearInterval(timer)
    }
  }

  test('gives volts, and says once that its battery is low', async () => {
    expect(await readWith(segmentFrame('1.234', 'V', 'AC', 'battery'))).toEqual({
      value: 1.234,
      notices: ['The meter on PORT shows a low battery: its readings may be off. Change it.'],
    })
    expect((await readWith(characterFrame('-12.60', 'V', 'DC'), 'dcVolts', 'characters')).value).toBe(-12.6)
  })

  test.each<[string, number[], string]>([
    ['another function', segmentFrame('12.60', 'V', 'DC'), 'the meter is on DC volts, and AC volts are wanted (PORT).'],
    ['a function of no use', segmentFrame('12.60', 'Hz'), 'the meter is on another function, and AC volts are wanted'],
    ['overload', segmentFrame(' 0L ', 'V', 'AC'), 'the meter shows overload: the voltage is beyond its range (PORT).'],
    [
      'hold',
      segmentFrame('1.234', 'V', 'AC', 'hold'),
      'the meter is set to hold, and does not show what is on its leads (PORT). Switch hold off',
    ],
    ['relative', segmentFrame('1.234', 'V', 'AC', 'relative'), 'the meter is set to relative'],
    ['a sign', segmentFrame('-1.234', 'V', 'AC'), 'the meter reads -1.234 V, and AC volts have no sign'],
    ['silence', [], 'the meter sends nothing (PORT). Switch its data output on'],
    ['garbage', [1, 2, 3], 'but no whole frame (PORT). Check that this port is the meter; set meter.baud_rate'],
  ])('has a line for %s', async (_, bytes, says) => {
    const error = await readWith(bytes).catch((reason: unknown) => reason)
    expect(error).toBeInstanceOf(StopError)
    expect((error as StopError).message).toContain(says)
  })
})
