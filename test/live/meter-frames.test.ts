/** Meters that send frames, on a pseudo-terminal: what they show is read, and each fault has its own line. */
import { afterEach, describe, expect, test, vi } from 'vitest'
import { characterFrame, segmentFrame } from '../instruments/frames.js'
import { stopFrom } from '../instruments/stop-from.js'
import { needsTool } from '../tools.js'
import type { MeterAnswer, MeterScript } from './meter.js'
import { MeterBench, printing } from './meter-bench.js'

const never = new AbortController().signal
vi.setConfig({ testTimeout: 20_000 })

const bench = new MeterBench({ driver: 'frames', baudRate: 2400 })
afterEach(() => bench.close())

const bytes = (frame: readonly number[]): MeterAnswer => ({ raw: String.fromCharCode(...frame) })

describe('a meter that sends frames', () => {
  test('of segments is read, with garbage and half frames between them', async (context) => {
    needsTool(context, 'socat')
    const frame = segmentFrame('1.234', 'V', 'AC')
    const { meter } = await bench.open(printing([bytes(frame.slice(6)), bytes(frame), bytes([7, 200, 13])]))
    expect(await meter.identify(never)).toBe('meter that sends frames, on AC volts')
    expect(await meter.readAcVrms(never)).toBeCloseTo(1.234, 12)
  })

  test('of characters is read', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await bench.open(printing([bytes(characterFrame('+4.700', 'Ω', 'k'))]), {
      frame: 'characters',
    })
    expect(await meter.read('ohms', never)).toEqual({ value: 4700, unit: 'Ω' })
  })

  test.for<[string, MeterScript, string]>([
    ['silence', {}, 'the meter sends nothing (PORT). Switch its data output on'],
    [
      'lines',
      printing(['+01.234 V AC']),
      ', but no whole frame (PORT). Check that this port is the meter; set meter.baud_rate',
    ],
    ['overload', printing([bytes(segmentFrame(' 0L ', 'V', 'AC'))]), 'the meter shows overload'],
    [
      'DC',
      printing([bytes(segmentFrame('12.60', 'V', 'DC'))]),
      'the meter is on DC volts, and AC volts are wanted (PORT).',
    ],
  ])('has a line for %s', async ([, script, says], context) => {
    needsTool(context, 'socat')
    const { meter, pty } = await bench.open(script)
    expect((await stopFrom(meter.readAcVrms(never))).message.replace(pty.port, 'PORT')).toContain(says)
  })
})
