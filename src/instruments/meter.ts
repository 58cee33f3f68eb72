/**
 * The meter as a run sees it: readings of any driver doubted until they settle, and a port that may go away and come back.
 */
import type { Meter, MeterQuantity, MeterReading } from '../rig/roles.js'
import { type Vrms, vrms } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { UnpluggedError } from './port-errors.js'
import { type Reading, type ReadingSource, UNITS } from './reading.js'
import { type MeterAccuracy, READING_COUNT_MAX, settledValue } from './settle.js'
import { sleep } from './sleep.js'

export interface OpenMeter extends Meter {
  close(): Promise<void>
}

export interface MeterOptions {
  /** Told when the meter was unplugged, and when it is back. */
  readonly onNotice?: (says: string) => void
  /** How long a meter that was unplugged is waited for. */
  readonly replugS?: number
  /** How often it is looked for meanwhile. */
  readonly everyS?: number
}

/** Opens the port of the same meter, wherever it is now. */
export type OpenSource = (signal: AbortSignal) => Promise<ReadingSource>

const REPLUG_S = 60
const EVERY_S = 0.5
/** A plug that comes and goes more often than this within one reading does not sit. */
const REPLUG_COUNT_MAX = 5

/** @throws StopError when the port cannot be opened */
export async function openSettledMeter(
  open: OpenSource,
  accuracy: MeterAccuracy,
  options: MeterOptions,
  signal: AbortSignal,
): Promise<OpenMeter> {
  return new SettledMeter(await open(signal), open, accuracy, options)
}

export class SettledMeter implements OpenMeter {
  /** Who it is, once it was asked: another meter on the same port is not gone on with. */
  private identity: string | null = null
  private isClosed = false

  constructor(
    private source: ReadingSource,
    private readonly open: OpenSource,
    private readonly accuracy: MeterAccuracy,
    private readonly options: MeterOptions = {},
  ) {}

  get where(): string {
    return this.source.where
  }

  async identify(signal: AbortSignal): Promise<string> {
    this.identity = await this.plugged((source) => source.identify(signal), signal)
    return this.identity
  }

  /** The set-up of the last reading is kept: setting a meter up switches its shunts, and that can wake what is asleep. */
  async readOnce(quantity: MeterQuantity, signal: AbortSignal): Promise<MeterReading> {
    const { value } = await this.plugged((source) => source.readOnce(quantity, signal), signal)
    return { value, unit: UNITS[quantity] }
  }

  async read(quantity: MeterQuantity, signal: AbortSignal): Promise<MeterReading> {
    const value = await this.plugged((source) => this.settled(source, quantity, signal), signal)
    return { value, unit: UNITS[quantity] }
  }

  async readAcVrms(signal: AbortSignal): Promise<Vrms> {
    return vrms((await this.read('acVolts', signal)).value)
  }

  async close(): Promise<void> {
    this.isClosed = true
    await this.source.close()
  }

  private async settled(source: ReadingSource, quantity: MeterQuantity, signal: AbortSignal): Promise<number> {
    source.beginAnew()
    const readings: Reading[] = []
    while (readings.length < READING_COUNT_MAX) {
      if (readings.length > 0 && source.paceS > 0) await sleep(source.paceS, signal)
      readings.push(await source.readOnce(quantity, signal))
      const value = settledValue(readings, quantity, this.accuracy)
      if (value !== null) return value
    }
    const last = readings.slice(-3).map(({ value }) => value.toPrecision(4))
    const tone = quantity === 'acVolts' ? ' and that the tone plays' : ''
    throw new StopError(
      `the meter's readings do not settle: the last of ${readings.length} are ${last.join(', ')} ${UNITS[quantity]}`,
      this.where,
      `Check that its leads sit firmly${tone}; choose a fixed range.`,
      'instrument',
    )
  }

  /** Does something with the meter; where that ends because it was unplugged, again when it is back. */
  private async plugged<Value>(work: (source: ReadingSource) => Promise<Value>, signal: AbortSignal): Promise<Value> {
    for (let replugCount = 0; ; replugCount++) {
      try {
        return await work(this.source)
      } catch (error) {
        if (!(error instanceof UnpluggedError) || this.isClosed || replugCount === REPLUG_COUNT_MAX) throw error
        await this.waitUntilBack(error, signal)
      }
    }
  }

  /** @throws StopError the error as it was when the meter does not come back, or when another one comes */
  private async waitUntilBack(unplugged: UnpluggedError, signal: AbortSignal): Promise<void> {
    const { onNotice = () => {}, replugS = REPLUG_S, everyS = EVERY_S } = this.options
    await this.source.close()
    onNotice(`The meter on ${this.where} was unplugged. Plug it in again: waiting up to ${Math.round(replugS)} s.`)
    const waiting = AbortSignal.any([signal, AbortSignal.timeout(1000 * replugS)])
    while (!waiting.aborted) {
      await sleep(Math.min(everyS, replugS), waiting).catch(() => {})
      if (waiting.aborted || this.isClosed) break
      const source = await this.sourceAgain(waiting)
      if (source === null) continue
      this.source = source
      onNotice(`The meter is back on ${this.where}.`)
      return
    }
    signal.throwIfAborted()
    throw unplugged
  }

  /** @returns null while the port is not back, or the meter on it does not answer yet */
  private async sourceAgain(signal: AbortSignal): Promise<ReadingSource | null> {
    let source: ReadingSource | null = null
    try {
      source = await this.open(signal)
      const says = await source.identify(signal)
      if (this.identity === null || sameMeter(says, this.identity)) return source
      throw new OtherMeterError(this.identity, says, source.where)
    } catch (error) {
      await source?.close()
      const isNotYet = signal.aborted || (error instanceof StopError && !(error instanceof OtherMeterError))
      if (isNotYet) return null
      throw error
    }
  }
}

class OtherMeterError extends StopError {
  constructor(before: string, now: string, where: string) {
    super(
      `another meter is on the port: "${now}" in place of "${before}"`,
      where,
      'Plug the first one in again, or start the run again with this one.',
      'instrument',
    )
  }
}

/** Meters without a name say what they print instead, which changes; only names with fields are held against each other. */
const sameMeter = (now: string, before: string): boolean =>
  now === before || !(before.includes(',') && now.includes(',')) || before.includes('"')
