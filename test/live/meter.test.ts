/** The meter's driver on a pseudo-terminal, with a scripted meter at the other end: each fault has its own line. */
import { chmodSync } from 'node:fs'
import { afterEach, describe, expect, test, vi } from 'vitest'
import type { OpenMeter } from '../../src/instruments/meter.js'
import { openMeter } from '../../src/instruments/open-meter.js'
import type { MeterSpec } from '../../src/rig/rig.js'
import { StopError } from '../../src/units/stop.js'
import { half } from '../long.js'
import { asNobody } from '../nobody.js'
import { needsTool } from '../tools.js'
import { type MeterAnswer, type MeterScript, type PtyMeter, startPtyMeter } from './meter.js'

const never = new AbortController().signal
const specOn = (port: string): MeterSpec => ({
  driver: 'scpi',
  port,
  baudRate: 9600,
  inputNumber: 1,
  accuracyPct: 1,
  accuracyVrms: 0.003,
})
/** Where no answer comes, the timeouts of 10, 3 and 2 s become 1, 0.3 and 0.2 s. */
const IMPATIENT = 0.1

vi.setConfig({ testTimeout: 20_000 })

const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const close of closers.splice(0).reverse()) await close()
})

async function meterWith(script: MeterScript, patience = 1): Promise<{ meter: OpenMeter; pty: PtyMeter }> {
  const pty = await startPtyMeter(script)
  closers.push(() => pty.stop())
  // What was unplugged stays away here: meter-replug.test.ts plugs it in again.
  const meter = await openMeter(specOn(pty.port), never, { patience, replugS: 0.2, everyS: 0.05 })
  closers.push(() => meter.close())
  return { meter, pty }
}
const reading = (...answers: MeterAnswer[]): MeterScript => ({ answers: { 'MEAS:VOLT:AC?': answers } })

async function stopOf(work: Promise<unknown>): Promise<StopError> {
  const error = await work.then(
    () => null,
    (reason: unknown) => reason,
  )
  expect(error).toBeInstanceOf(StopError)
  expect((error as StopError).kind).toBe('instrument')
  return error as StopError
}

describe('a meter', () => {
  test.for([
    ['LF', '\n'],
    ['CR', '\r'],
  ] as const)('that ends its lines with %s is understood', async ([, lineEnd], context) => {
    needsTool(context, 'socat')
    const { meter, pty } = await meterWith({ lineEnd, ...reading('+1.234500E+00') })
    expect(await meter.identify(never)).toBe('Example Works,BM-1,0001,1.0')
    expect(await meter.readAcVrms(never)).toBeCloseTo(1.2345, 12)
    const each = ['MEAS:VOLT:AC?', 'SYST:ERR?']
    const all = ['*IDN?', 'SYST:ERR?', 'CONF:VOLT:AC', 'SYST:ERR?', 'SYST:ERR?', ...each, ...each, ...each]
    await vi.waitFor(() => expect(pty.asked()).toEqual(all))
  })

  test('that sends its answer in pieces is understood', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await meterWith(reading({ pieces: ['+1.', '50E', '+00', '\r', '\n'], everyS: 0.02 }))
    expect(await meter.readAcVrms(never)).toBe(1.5)
  })

  test('that takes its time is waited for', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await meterWith(reading({ afterS: 0.3, text: '0.5' }))
    expect(await meter.readAcVrms(never)).toBe(0.5)
  })

  // Truth: the readings in the script; the last three lie within half the accuracy, (1 % of 2 V + 3 mV) / 2 = 11.5 mV.
  test('counts once its readings have settled', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await meterWith(reading('0.1', '1.2', '1.8', '1.98', '2.000', '2.001', '2.005'))
    expect(await meter.readAcVrms(never)).toBeCloseTo((2 + 2.001 + 2.005) / 3, 12)
  })

  test('that answers late does not have that answer taken for the next question', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await meterWith(
      {
        answers: { '*IDN?': [{ afterS: 0.8, text: '7.777' }], 'MEAS:VOLT:AC?': ['0.25'] },
      },
      IMPATIENT,
    )
    await stopOf(meter.identify(never))
    await new Promise((resolve) => setTimeout(resolve, 1000))
    expect(await meter.readAcVrms(never)).toBe(0.25)
  })
})

describe('one clear line', () => {
  const cases: [string, MeterScript, string][] = [
    [
      'silence',
      reading({ silence: true }),
      'the meter does not answer "MEAS:VOLT:AC?" (PORT). Check that it is on, its interface enabled, and meter.baud_rate in the rig file.',
    ],
    [
      'a question that it does not know',
      { answers: {} },
      'the meter refuses "MEAS:VOLT:AC?": -113,"Undefined header" (PORT). Set it to AC volts and remote mode, then give the same command again.',
    ],
    [
      'an answer that is no number, with what the meter complains of',
      {
        answers: {
          'CONF:VOLT:AC': [{ silence: true }],
          'READ?': ['ERR'],
          'SYST:ERR?': ['0', '0', '-230,"Data corrupt or stale"', '0'],
        },
      },
      'the meter refuses "READ?": -230,"Data corrupt or stale" (PORT).',
    ],
    [
      'an answer that is no number',
      reading('1.23 dBm'),
      'the meter answered "1.23 dBm" to "MEAS:VOLT:AC?" (PORT). Check that this port is the meter, and that the meter speaks SCPI.',
    ],
    [
      'unreadable bytes',
      reading({ raw: '\x83\xf0\x1e\x7f\n' }),
      'the meter answered "MEAS:VOLT:AC?" with unreadable characters: "\ufffd\ufffd\ufffd\ufffd" (PORT). Set meter.baud_rate in the rig file',
    ],
    [
      'half a line',
      reading({ raw: '+1.23' }),
      'the meter answered "+1.23" to "MEAS:VOLT:AC?" and never ended the line (PORT). Check the lead and meter.baud_rate',
    ],
    [
      'overload',
      reading('+9.90000000E+37'),
      'the meter shows overload: the voltage is beyond its range (PORT). Choose a higher range',
    ],
    ['overload the other way', reading('-9.9E37'), 'the meter shows overload: the voltage is beyond its range (PORT).'],
    [
      'not a number',
      reading('9.91000E+37'),
      'the meter has no reading (PORT). Set it to AC volts and check its leads.',
    ],
    [
      'a sign',
      reading('-12.6'),
      'the meter reads -12.6 V, and AC volts have no sign (PORT). Set it to AC volts: it seems to be on DC.',
    ],
    [
      'being unplugged',
      reading({ unplug: true }),
      'the meter was unplugged (PORT). Plug it in again, then give the same command again.',
    ],
    [
      'readings that never settle',
      reading(...Array.from({ length: 30 }, (_, n) => (n % 2 === 0 ? '1.000' : '1.100'))),
      "the meter's readings do not settle: the last of 20 are 1.100, 1.000, 1.100 V (PORT). Check that its leads sit firmly",
    ],
  ]
  test.for(half(cases))('for %s', async ([name, script, says], context) => {
    needsTool(context, 'socat')
    const isSilent = ['silence', 'half a line', 'a question that it does not know'].includes(name)
    const { meter, pty } = await meterWith(script, isSilent ? IMPATIENT : 1)
    expect((await stopOf(meter.readAcVrms(never))).message.replace(pty.port, 'PORT')).toContain(says)
  })

  test('for a name that is no name', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await meterWith({ answers: { '*IDN?': ['1.2345'] } })
    expect((await stopOf(meter.identify(never))).what).toBe('the meter answered "1.2345" to "*IDN?"')
  })

  test('for a meter that was unplugged between two questions', async (context) => {
    needsTool(context, 'socat')
    const { meter, pty } = await meterWith(reading('1'))
    await meter.readAcVrms(never)
    await pty.unplug()
    await new Promise((resolve) => setTimeout(resolve, 100))
    expect((await stopOf(meter.readAcVrms(never))).what).toBe('the meter was unplugged')
  })

  test('for a port that is not there', async () => {
    const error = await stopOf(openMeter(specOn('/dev/ttyNOWHERE'), never))
    expect(error.what).toBe('there is no such port')
    expect(error.where).toBe('/dev/ttyNOWHERE')
    expect(error.remedy).toMatch(/^Plug the meter in/)
  })

  test('for a port that may not be opened', async (context) => {
    needsTool(context, 'socat')
    const pty = await startPtyMeter({})
    closers.push(() => pty.stop())
    chmodSync(pty.port, 0)
    const error = await asNobody(() => stopOf(openMeter(specOn(pty.port), never)))
    expect(error.message).toBe(
      `no permission to open the port (${pty.port}). Join the group that owns serial ports, then log in again: sudo usermod -aG dialout $USER`,
    )
  })

  test('for a file that is no port', async () => {
    expect((await stopOf(openMeter(specOn('/dev/null'), never))).what).toBe('this is not a serial port')
  })
})

test('stopping by hand ends a question at once with the reason', async (context) => {
  needsTool(context, 'socat')
  const { meter } = await meterWith(reading({ silence: true }))
  const aborting = new AbortController()
  const asking = meter.readAcVrms(aborting.signal)
  const reason = new Error('Ctrl-C')
  const startMs = performance.now()
  setTimeout(() => aborting.abort(reason), 50)
  await expect(asking).rejects.toBe(reason)
  // The question itself would wait for 10 s.
  expect(performance.now() - startMs).toBeLessThan(2000)
})
