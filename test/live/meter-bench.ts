/** What the tests of meters that send by themselves share: one on a pseudo-terminal, opened as the program opens it. */
import type { OpenMeter } from '../../src/instruments/meter.js'
import { openMeter } from '../../src/instruments/open-meter.js'
import type { MeterSpec } from '../../src/rig/rig.js'
import { type MeterAnswer, type MeterScript, type PtyMeter, startPtyMeter } from './meter.js'

/** Meters that were opened for one test: closed again in the opposite order. */
export class MeterBench {
  private readonly closers: (() => Promise<void>)[] = []

  /** @param usual what the test's meters have in common */
  constructor(private readonly usual: Pick<MeterSpec, 'driver' | 'baudRate'>) {}

  /** @param spec over what is usual */
  async open(script: MeterScript, spec: Partial<MeterSpec> = {}): Promise<{ meter: OpenMeter; pty: PtyMeter }> {
    const pty = await startPtyMeter(script)
    this.closers.push(() => pty.stop())
    const meter = await openMeter(
      { port: pty.port, inputNumber: 1, accuracyPct: 1, accuracyVrms: 0.003, ...this.usual, ...spec },
      new AbortController().signal,
      { patience: PATIENCE, replugS: 0.2, everyS: 0.05 },
    )
    this.closers.push(() => meter.close())
    return { meter, pty }
  }

  async close(): Promise<void> {
    for (const close of this.closers.splice(0).reverse()) await close()
  }
}

/** Timeouts of seconds become a tenth of them, and three readings take 50 ms. */
const PATIENCE = 0.1

export const printing = (items: readonly MeterAnswer[], everyS = 0.05, lineEnd = '\r\n'): MeterScript => ({
  lineEnd,
  prints: { items, everyS },
})
