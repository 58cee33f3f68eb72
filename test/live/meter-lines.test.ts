/** Meters that print lines, on a pseudo-terminal: what they print is read, and each fault has its own line. */
import { afterEach, describe, expect, test, vi } from 'vitest'
import type { LinePattern } from '../../src/rig/meter-spec.js'
import type { MeterSpec } from '../../src/rig/rig.js'
import { stopFrom } from '../instruments/stop-from.js'
import { half, some } from '../long.js'
import { needsTool } from '../tools.js'
import type { MeterScript } from './meter.js'
import { MeterBench, printing } from './meter-bench.js'

const never = new AbortController().signal
vi.setConfig({ testTimeout: 20_000 })

const bench = new MeterBench({ driver: 'lines', baudRate: 9600 })
afterEach(() => bench.close())

const pattern = (fields: Partial<LinePattern>): LinePattern => ({
  line: null,
  form: null,
  ask: null,
  unit: null,
  function: null,
  ...fields,
})

/** Any mixture of them, without a port: instruments/line-assembler.test.ts. */
const LINE_ENDS = [
  ['CR LF', '\r\n'],
  ['LF', '\n'],
  ['CR', '\r'],
] as const

describe('a meter that prints by itself', () => {
  test.for(some(LINE_ENDS, 1))('with %s at the end of its lines is read', async ([, lineEnd], context) => {
    needsTool(context, 'socat')
    const { meter } = await bench.open(printing(['+01.234 V AC'], 0.05, lineEnd))
    expect(await meter.identify(never)).toBe('meter that prints "+01.234 V AC"')
    expect(await meter.readAcVrms(never)).toBeCloseTo(1.234, 12)
    expect(await meter.readOnce('acVolts', never)).toEqual({ value: 1.234, unit: 'V' })
  })

  test('in millivolts gives volts', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await bench.open(printing(['512.3 mV AC']))
    expect(await meter.readAcVrms(never)).toBeCloseTo(0.5123, 12)
  })

  // Each line comes in two pieces 30 ms apart; half of the questions come between them.
  test('in pieces is never read from the middle of a line', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await bench.open(printing([{ pieces: ['+1', '2.345 V AC\r\n'], everyS: 0.03 }], 0))
    for (let n = 0; n < 12; n++) expect((await meter.readOnce('acVolts', never)).value).toBe(12.345)
  })

  test('counts from the question on: what it printed before is gone', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await bench.open(
      printing([...Array<string>(10).fill('1.000 V AC'), ...Array<string>(200).fill('2.000 V AC')], 0.02),
    )
    await meter.readOnce('acVolts', never)
    await new Promise((resolve) => setTimeout(resolve, 600))
    expect((await meter.readOnce('acVolts', never)).value).toBe(2)
  })

  test('as fast as it can is read, and fills no memory', async (context) => {
    needsTool(context, 'socat')
    const flood = { raw: '+01.234 V AC\r\n'.repeat(2000) }
    const { meter } = await bench.open(printing([flood], 0))
    await meter.readAcVrms(never)
    globalThis.gc?.()
    const before = process.memoryUsage().heapUsed + process.memoryUsage().arrayBuffers
    await new Promise((resolve) => setTimeout(resolve, 2000))
    expect(await meter.readAcVrms(never)).toBeCloseTo(1.234, 12)
    // Some 40 MB came in, three million lines: what is not yet collected may remain, lines that are kept would be far more.
    expect(process.memoryUsage().heapUsed + process.memoryUsage().arrayBuffers - before).toBeLessThan(40e6)
  })

  test('has its readings settle', async (context) => {
    needsTool(context, 'socat')
    const rising = ['0.1 V AC', '1.2 V AC', '1.8 V AC', ...Array<string>(400).fill('2.000 V AC')]
    const { meter } = await bench.open(printing(rising, 0.04))
    expect(await meter.readAcVrms(never)).toBe(2)
  })
})

describe('a meter that is asked', () => {
  test('answers with another line first, or an echo, and is understood', async (context) => {
    needsTool(context, 'socat')
    const { meter, pty } = await bench.open(
      { lineEnd: '\r', answers: { D: [{ raw: 'D\rOK\r12.60,V,DC\r' }] } },
      { patterns: [pattern({ form: 'comma-separated', ask: 'D\r' })] },
    )
    expect(await meter.read('dcVolts', never)).toEqual({ value: 12.6, unit: 'V' })
    expect(pty.asked()).toEqual(['D', 'D', 'D'])
  })

  test('has a question for each quantity', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await bench.open(
      { answers: { VAC: ['0.75'], VDC: ['-3.5'] } },
      {
        patterns: [
          pattern({ form: 'value-alone', ask: 'VAC\n', function: 'ac_volts' }),
          pattern({ form: 'value-alone', ask: 'VDC\n', function: 'dc_volts' }),
        ],
      },
    )
    expect(await meter.readAcVrms(never)).toBe(0.75)
    expect((await meter.read('dcVolts', never)).value).toBe(-3.5)
  })
})

describe('one clear line', () => {
  const faults: readonly [string, MeterScript, Partial<MeterSpec>, string][] = [
    [
      'silence',
      {},
      {},
      'the meter prints nothing (PORT). Switch its data output on, check the lead, and meter.baud_rate',
    ],
    [
      'silence after a question',
      {},
      { patterns: [pattern({ form: 'value-alone', ask: 'D\r' })] },
      'the meter does not answer "D" (PORT). Check that it is on',
    ],
    [
      'garbage, as at another speed',
      printing([{ raw: '\x83\xf0\x1e\x7f\x9c\xe0\n' }]),
      {},
      'the meter sends unreadable characters: "\ufffd',
    ],
    [
      'another device',
      printing(['$GNZDA,120000.00,25,11,2026,00,00*7D']),
      {},
      'no pattern fits what the meter prints: "$GNZDA,120000.00,25,11,2026,00,00*7D" (PORT). Check that this port is the meter',
    ],
    [
      'half a line',
      { prints: { items: ['x', { raw: '+1.23' }, { afterS: 60, text: '' }], everyS: 0.3 } },
      {},
      'the meter sent "+1.23" and never ended the line (PORT). Check the lead',
    ],
    ['overload', printing(['OL V AC']), {}, 'the meter shows overload: the voltage is beyond its range (PORT).'],
    ['DC', printing(['12.60 V DC']), {}, 'the meter is on DC volts, and AC volts are wanted (PORT).'],
    ['a sign', printing(['-1.20 V']), {}, 'the meter reads -1.2 V, and AC volts have no sign (PORT).'],
    [
      'millivolts that do not say so',
      printing(['512.3']),
      { patterns: [pattern({ form: 'value-alone' })] },
      'the meter prints 512.3 without a unit: too much for AC volts (PORT). Give the unit',
    ],
    ['being unplugged', printing(['1 V AC', { unplug: true }]), {}, 'the meter was unplugged (PORT).'],
  ]
  test.for(half(faults))('for %s', async ([, script, spec, says], context) => {
    needsTool(context, 'socat')
    const { meter, pty } = await bench.open(script, spec)
    const error = await stopFrom(meter.readAcVrms(never))
    expect(error.message.replace(pty.port, 'PORT')).toContain(says)
  })
})
