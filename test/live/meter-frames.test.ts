/** Meters that send frames, on a pseudo-terminal: what they show is read, and each fault has its own line. */
import { afterEach, describe, expect, test, vi } from 'vitest'
import type { OpenMeter } from '../../src/instruments/meter.js'
import { openMeter } from '../../src/instruments/open-meter.js'
import type { MeterSpec } from '../../src/rig/rig.js'
import { characterFrame, segmentFrame } from '../instruments/frames.js'
import { stopFrom } from '../instruments/stop-from.js'
import { needsTool } from '../tools.js'
import { type MeterAnswer, type MeterScript, type PtyMeter, startPtyMeter } from './meter.js'

const never = new AbortController().signal
/** The timeout of 5 s becomes 0.5 s, and three readings take 50 ms. */
const PATIENCE = 0.1

vi.setConfig({ testTimeout: 20_000 })

const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const close of closers.splice(0).reverse()) await close()
})

async function meterOn(
  script: MeterScript,
  spec: Partial<MeterSpec> = {},
): Promise<{ meter: OpenMeter; pty: PtyMeter }> {
  const pty = await startPtyMeter(script)
  closers.push(() => pty.stop())
  const meter = await openMeter(
    { driver: 'frames', port: pty.port, baudRate: 2400, inputNumber: 1, accuracyPct: 1, accuracyVrms: 0.003, ...spec },
    never,
    { patience: PATIENCE, replugS: 0.2, everyS: 0.05 },
  )
  closers.push(() => meter.close())
  return { meter, pty }
}
const printing = (items: MeterAnswer[], everyS = 0.05, lineEnd = '\r\n'): MeterScript => ({
  lineEnd,
  prints: { items, everyS },
})
const bytes = (frame: readonly number[]): MeterAnswer => ({ raw: String.fromCharCode(...frame) })

describe('a meter that sends frames', () => {
  test('of segments is read, with garbage and half frames between them', async (context) => {
    needsTool(context, 'socat')
    const frame = segmentFrame('1.234', 'V', 'AC')
    const { meter } = await meterOn(printing([bytes(frame.slice(6)), bytes(frame), bytes([7, 200, 13])]))
    expect(await meter.identify(never)).toBe('meter that sends frames, on AC volts')
    expect(await meter.readAcVrms(never)).toBeCloseTo(1.234, 12)
  })

  test('of characters is read', async (context) => {
    needsTool(context, 'socat')
    const { meter } = await meterOn(printing([bytes(characterFrame('+4.700', 'Ω', 'k'))]), {
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
    const { meter, pty } = await meterOn(script)
    expect((await stopFrom(meter.readAcVrms(never))).message.replace(pty.port, 'PORT')).toContain(says)
  })
})
