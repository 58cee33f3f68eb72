/**
 * A multimeter that speaks SCPI: it is asked for its name and for AC volts, and doubted until its readings settle.
 *
 * Sources: IEEE 488.2 for numbers and *IDN?, SCPI-1999 for MEASure, SYSTem:ERRor? and the values that stand for
 * overload and not-a-number (vol. 1, 7.2.1).
 */
import type { Meter } from '../rig/roles.js'
import { type Vrms, vrms } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { type LineLink, shown } from './line-link.js'

const QUERIES = {
  identity: { send: '*IDN?', timeoutS: 3 },
  // A slow AC filter and a change of range take seconds.
  acVoltage: { send: 'MEAS:VOLT:AC?', timeoutS: 10 },
  error: { send: 'SYST:ERR?', timeoutS: 2 },
} as const

/** NRf of IEEE 488.2: whole, with a point, or with an exponent. */
const NUMBER = /^[+-]?(\d+(\.\d*)?|\.\d+)(E[+-]?\d+)?$/i
const NOT_A_NUMBER = 9.91e37
const OVERLOAD = 9.9e37

/** Readings that have to agree before they count, and how many are taken at most. */
const SETTLED_COUNT = 3
const READING_COUNT_MAX = 20
/** A meter cannot be asked to agree with itself more closely than this. */
const SPREAD_PCT_MIN = 0.1
const SPREAD_VRMS_MIN = 0.0001

export interface MeterAccuracy {
  readonly accuracyPct: number
  readonly accuracyVrms: number
}

export class ScpiMeter implements Meter {
  readonly where: string

  /** @param patience 1 waits as long as real meters need; tests wait less */
  constructor(
    private readonly link: LineLink,
    private readonly accuracy: MeterAccuracy,
    private readonly patience = 1,
  ) {
    this.where = link.where
  }

  async identify(signal: AbortSignal): Promise<string> {
    const answer = await this.ask('identity', signal)
    // Four fields by the standard; a reading or noise has no comma, and some meters leave fields out.
    if (isPrintable(answer) && answer.includes(',')) return answer
    throw await this.badAnswer('identity', answer, signal)
  }

  async readAcVrms(signal: AbortSignal): Promise<Vrms> {
    const readings: number[] = []
    while (readings.length < READING_COUNT_MAX) {
      readings.push(await this.readOnce(signal))
      const last = readings.slice(-SETTLED_COUNT)
      const mean = last.reduce((sum, reading) => sum + reading, 0) / last.length
      const spread = Math.max(...last) - Math.min(...last)
      if (last.length === SETTLED_COUNT && spread <= this.spreadMax(mean)) return vrms(mean)
    }
    const last = readings.slice(-SETTLED_COUNT).map((reading) => reading.toPrecision(4))
    throw new StopError(
      `the meter's readings do not settle: the last of ${readings.length} are ${last.join(', ')} V`,
      this.where,
      'Check that its leads sit firmly and that the tone plays; choose a fixed range.',
      'instrument',
    )
  }

  async close(): Promise<void> {
    await this.link.close()
  }

  /** Half of what the meter itself may be wrong by: settling then adds little to its uncertainty. */
  private spreadMax(reading: number): number {
    const accuracyVrms = (this.accuracy.accuracyPct / 100) * reading + this.accuracy.accuracyVrms
    return Math.max(accuracyVrms / 2, (SPREAD_PCT_MIN / 100) * reading, SPREAD_VRMS_MIN)
  }

  private async readOnce(signal: AbortSignal): Promise<number> {
    const answer = await this.ask('acVoltage', signal)
    if (!NUMBER.test(answer)) throw await this.badAnswer('acVoltage', answer, signal)
    const reading = Number(answer)
    // Not-a-number is the larger of the two, so it is asked for first.
    if (Math.abs(reading) >= NOT_A_NUMBER) {
      throw new StopError(
        'the meter has no reading',
        this.where,
        'Set it to AC volts and check its leads.',
        'instrument',
      )
    }
    if (Math.abs(reading) >= OVERLOAD) {
      throw new StopError(
        'the meter shows overload: the voltage is beyond its range',
        this.where,
        'Choose a higher range or autorange, and check what its leads are on.',
        'instrument',
      )
    }
    if (reading < -this.accuracy.accuracyVrms) {
      throw new StopError(
        `the meter reads ${reading} V, and AC volts have no sign`,
        this.where,
        'Set it to AC volts: it seems to be on DC.',
        'instrument',
      )
    }
    return reading
  }

  private async ask(query: keyof typeof QUERIES, signal: AbortSignal): Promise<string> {
    const { send, timeoutS } = QUERIES[query]
    const answer = await this.link.ask(send, this.patience * timeoutS, signal)
    if (answer !== null) return answer
    // A meter that does not know the question may say so on request.
    const error = await this.reportedError(signal)
    if (error !== null) throw this.refused(send, error)
    throw new StopError(
      `the meter does not answer "${send}"`,
      this.where,
      'Check that it is on, its interface enabled, and meter.baud_rate in the rig file.',
      'instrument',
    )
  }

  private async badAnswer(query: keyof typeof QUERIES, answer: string, signal: AbortSignal): Promise<StopError> {
    const { send } = QUERIES[query]
    if (!isPrintable(answer)) {
      return new StopError(
        `the meter answered "${send}" with unreadable characters: "${shown(answer)}"`,
        this.where,
        'Set meter.baud_rate in the rig file to the rate that the meter shows in its menu.',
        'instrument',
      )
    }
    const error = await this.reportedError(signal)
    if (error !== null) return this.refused(send, error)
    return new StopError(
      `the meter answered "${shown(answer)}" to "${send}"`,
      this.where,
      'Check that this port is the meter, and that the meter speaks SCPI.',
      'instrument',
    )
  }

  private refused(send: string, error: string): StopError {
    return new StopError(
      `the meter refuses "${send}": ${shown(error)}`,
      this.where,
      'Set it to AC volts and remote mode, then give the same command again.',
      'instrument',
    )
  }

  /** What the meter complains about; null when it says nothing useful. */
  private async reportedError(signal: AbortSignal): Promise<string | null> {
    const answer = await this.link.ask(QUERIES.error.send, this.patience * QUERIES.error.timeoutS, signal)
    return answer !== null && /^[+-]?[1-9]\d*\s*,/.test(answer) ? answer : null
  }
}

const isPrintable = (text: string): boolean => /^[\x20-\x7e]+$/.test(text)
