/** A meter on a pseudo-terminal whose plug is pulled and put back, there or elsewhere: the reading goes on. */
import { dirname, join } from 'node:path'
import { afterEach, describe, expect, test, vi } from 'vitest'
import type { OpenMeter } from '../../src/instruments/meter.js'
import { type OpenMeterOptions, openMeter } from '../../src/instruments/open-meter.js'
import type { ListedPort } from '../../src/instruments/ports.js'
import type { MeterDriver } from '../../src/rig/meter-spec.js'
import { stopFrom } from '../instruments/stop-from.js'
import { needsTool } from '../tools.js'
import { type MeterScript, type PtyMeter, startPtyMeter } from './meter.js'

const never = new AbortController().signal
const SCPI: MeterScript = { answers: { 'CONF:VOLT:AC': [{ silence: true }], 'READ?': ['1.5'] } }
const LINES: MeterScript = { prints: { items: ['1.5 V AC'], everyS: 0.05 } }
const QUICK: OpenMeterOptions = { patience: 0.2, replugS: 8, everyS: 0.05 }

vi.setConfig({ testTimeout: 20_000 })

const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const close of closers.splice(0).reverse()) await close()
})

interface Bench {
  readonly pty: PtyMeter
  readonly notices: string[]
  open(driver: MeterDriver, port: string, options?: OpenMeterOptions): Promise<OpenMeter>
}
async function benchWith(script: MeterScript): Promise<Bench> {
  const pty = await startPtyMeter(script)
  closers.push(() => pty.stop())
  const notices: string[] = []
  return {
    pty,
    notices,
    async open(driver, port, options) {
      const meter = await openMeter(
        { driver, port, baudRate: 9600, inputNumber: 1, accuracyPct: 1, accuracyVrms: 0.003 },
        never,
        { ...QUICK, onNotice: (says) => notices.push(says), ...options },
      )
      closers.push(() => meter.close())
      return meter
    },
  }
}
const soon = (): Promise<void> => new Promise((resolve) => setTimeout(resolve, 200))

describe('a meter that was unplugged and plugged in again', () => {
  test.for([
    ['scpi', SCPI],
    ['lines', LINES],
  ] as const)('goes on reading with driver %s, and says so', async ([driver, script], context) => {
    needsTool(context, 'socat')
    const { pty, notices, open } = await benchWith(script)
    const meter = await open(driver, pty.port)
    expect(await meter.readAcVrms(never)).toBe(1.5)
    await meter.identify(never)
    await pty.unplug()
    const reading = meter.readAcVrms(never)
    await soon()
    await pty.replug()
    expect(await reading).toBe(1.5)
    expect(notices).toEqual([
      `The meter on ${pty.port} was unplugged. Plug it in again: waiting up to 8 s.`,
      `The meter is back on ${pty.port}.`,
    ])
  })

  test('in the midst of a question is asked again', async (context) => {
    needsTool(context, 'socat')
    const { pty, open } = await benchWith({ answers: { ...SCPI.answers, 'READ?': ['1.5', { unplug: true }] } })
    const meter = await open('scpi', pty.port)
    const reading = meter.readAcVrms(never)
    await soon()
    await pty.unplug()
    await pty.replug(SCPI)
    expect(await reading).toBe(1.5)
  })

  test.for(['path', 'serial'] as const)(
    'is found at another path by its serial number, named by %s',
    async (by, context) => {
      needsTool(context, 'socat')
      const { pty, open } = await benchWith(SCPI)
      const elsewhere = join(dirname(pty.port), 'elsewhere')
      const ports: ListedPort[] = [{ path: pty.port, serialNumber: 'A1B2' }]
      const meter = await open('scpi', by === 'path' ? pty.port : 'serial:A1B2', { list: async () => ports })
      expect(await meter.readAcVrms(never)).toBe(1.5)
      await pty.unplug()
      ports.pop()
      const reading = meter.readAcVrms(never)
      await soon()
      await pty.replug(SCPI, elsewhere)
      ports.push({ path: elsewhere, serialNumber: 'A1B2' })
      expect(await reading).toBe(1.5)
      expect(meter.where).toBe(elsewhere)
    },
  )

  test('in place of another one is refused', async (context) => {
    needsTool(context, 'socat')
    const { pty, open } = await benchWith(SCPI)
    const meter = await open('scpi', pty.port)
    await meter.identify(never)
    await pty.unplug()
    await pty.replug({ answers: { ...SCPI.answers, '*IDN?': ['Example Works,BM-1,0002,1.0'] } })
    expect((await stopFrom(meter.readAcVrms(never))).what).toBe(
      'another meter is on the port: "Example Works,BM-1,0002,1.0" in place of "Example Works,BM-1,0001,1.0"',
    )
  })
})

test('a meter that stays away ends with its line when the time is over', async (context) => {
  needsTool(context, 'socat')
  const { pty, open } = await benchWith(SCPI)
  const meter = await open('scpi', pty.port, { replugS: 0.3 })
  await meter.readAcVrms(never)
  await pty.unplug()
  expect((await stopFrom(meter.readAcVrms(never))).message).toBe(
    `the meter was unplugged (${pty.port}). Plug it in again, then give the same command again.`,
  )
})

test('a port in use by another program is said', async (context) => {
  needsTool(context, 'socat')
  const { pty, open } = await benchWith(SCPI)
  await open('scpi', pty.port)
  expect((await stopFrom(open('scpi', pty.port))).message).toBe(
    `the port is in use by another program (${pty.port}). End the other program, or a second run of this one.`,
  )
})
