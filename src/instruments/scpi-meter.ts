/**
 * A multimeter that speaks SCPI: it is set up for a quantity once, then asked for readings, and its complaints are read.
 *
 * Sources: IEEE 488.2 for numbers and *IDN?, SCPI-1999 for CONFigure, READ, MEASure, SYSTem:ERRor? and the values that stand
 * for overload and not-a-number (vol. 1, 7.2.1).
 */
import type { MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { type LineLink, shown } from './line-link.js'
import { negativeAc, overload, QUANTITY_WORDS, type Reading, type ReadingSource } from './reading.js'
import { ScpiErrors } from './scpi-errors.js'

const IDENTITY = { send: '*IDN?', timeoutS: 3 } as const
// A slow AC filter and a change of range take seconds.
const READING_TIMEOUT_S = 10
const FUNCTIONS = {
  acVolts: { configure: 'CONF:VOLT:AC', measure: 'MEAS:VOLT:AC?' },
  dcVolts: { configure: 'CONF:VOLT:DC', measure: 'MEAS:VOLT:DC?' },
  ohms: { configure: 'CONF:RES', measure: 'MEAS:RES?' },
  dcAmps: { configure: 'CONF:CURR:DC', measure: 'MEAS:CURR:DC?' },
} as const
const READ = 'READ?'

/** NRf of IEEE 488.2: whole, with a point, or with an exponent. */
const NUMBER = /^[+-]?(\d+(\.\d*)?|\.\d+)(E[+-]?\d+)?$/i
const NOT_A_NUMBER = 9.91e37
const OVERLOAD = 9.9e37

export class ScpiMeter implements ReadingSource {
  readonly where: string
  readonly paceS = 0
  private readonly errors: ScpiErrors
  /** What the meter is set up for, and the question that then reads it. */
  private setUp: { readonly quantity: MeterQuantity; readonly question: string } | null = null
  private wanted: MeterQuantity = 'acVolts'
  private isRemote = false

  /**
   * @param accuracyVrms the meter's fixed error: a negative AC reading within it is its zero
   * @param patience 1 waits as long as real meters need; tests wait less
   */
  constructor(
    private readonly link: LineLink,
    private readonly accuracyVrms: number,
    private readonly patience = 1,
  ) {
    this.where = link.where
    this.errors = new ScpiErrors(link, patience)
  }

  async identify(signal: AbortSignal): Promise<string> {
    const answer = await this.ask(IDENTITY.send, IDENTITY.timeoutS, signal)
    // Four fields by the standard; a reading or noise has no comma, and some meters leave fields out.
    if (isPrintable(answer) && answer.includes(',')) return answer
    throw await this.badAnswer(IDENTITY.send, answer, signal)
  }

  beginAnew(): void {
    this.setUp = null
  }

  async readOnce(quantity: MeterQuantity, signal: AbortSignal): Promise<Reading> {
    if (this.setUp?.quantity !== quantity) {
      this.setUp = null
      this.wanted = quantity
      this.setUp = { quantity, question: await this.setUpFor(quantity, signal) }
    }
    const { question } = this.setUp
    const answer = await this.ask(question, READING_TIMEOUT_S, signal)
    const reading = NUMBER.test(answer) ? this.readingOf(answer, quantity) : null
    if (reading === null) throw await this.badAnswer(question, answer, signal)
    const error = await this.errors.first(signal)
    if (error !== null) throw this.refused(question, error)
    return reading
  }

  async close(): Promise<void> {
    // Else its keys stay locked.
    if (this.isRemote) await this.link.send('SYST:LOC\n', new AbortController().signal).catch(() => {})
    await this.link.close()
  }

  /**
   * Empties the error queue and sets the function up.
   * @returns the question that reads it: MEAS does both at once, for meters that know no CONF or tell no errors
   */
  private async setUpFor(quantity: MeterQuantity, signal: AbortSignal): Promise<string> {
    const { configure, measure } = FUNCTIONS[quantity]
    await this.errors.empty(signal)
    if (!this.errors.isThere) return measure
    for (;;) {
      await this.link.send(`${configure}\n`, signal)
      const error = await this.errors.first(signal)
      if (error === null) return READ
      if (!this.isRemote && isAboutRemote(error)) {
        // Some meters take no settings over the port before this; others do not know it, so it is not sent unasked.
        this.isRemote = true
        await this.link.send('SYST:REM\n', signal)
        await this.errors.empty(signal)
        continue
      }
      if (isUnknownHeader(error)) return measure
      throw this.refused(configure, error)
    }
  }

  private readingOf(answer: string, quantity: MeterQuantity): Reading {
    const value = Number(answer)
    // Not-a-number is the larger of the two, so it is asked for first.
    if (Math.abs(value) >= NOT_A_NUMBER) {
      throw new StopError(
        'the meter has no reading',
        this.where,
        `Set it to ${QUANTITY_WORDS[quantity]} and check its leads.`,
        'instrument',
      )
    }
    if (Math.abs(value) >= OVERLOAD) throw overload(this.where, quantity)
    if (quantity === 'acVolts' && value < -this.accuracyVrms) throw negativeAc(this.where, value)
    const [mantissa, exponent = '0'] = answer.toLowerCase().split('e')
    return { value, resolution: 10 ** (Number(exponent) - (mantissa.split('.')[1]?.length ?? 0)) }
  }

  private async ask(question: string, timeoutS: number, signal: AbortSignal): Promise<string> {
    const answer = await askLine(this.link, question, this.patience * timeoutS, signal)
    if (answer !== null) return answer
    // A meter that does not know the question may say so on request.
    const error = await this.errors.first(signal)
    if (error !== null) throw this.refused(question, error)
    throw new StopError(
      `the meter does not answer "${question}"`,
      this.where,
      'Check that it is on, its interface enabled, and meter.baud_rate in the rig file.',
      'instrument',
    )
  }

  private async badAnswer(question: string, answer: string, signal: AbortSignal): Promise<StopError> {
    if (!isPrintable(answer)) {
      return new StopError(
        `the meter answered "${question}" with unreadable characters: "${shown(answer)}"`,
        this.where,
        'Set meter.baud_rate in the rig file to the rate that the meter shows in its menu.',
        'instrument',
      )
    }
    const error = await this.errors.first(signal)
    if (error !== null) return this.refused(question, error)
    return new StopError(
      `the meter answered "${shown(answer)}" to "${question}"`,
      this.where,
      'Check that this port is the meter, and that the meter speaks SCPI.',
      'instrument',
    )
  }

  private refused(question: string, error: string): StopError {
    const wanted = QUANTITY_WORDS[this.wanted]
    return new StopError(
      `the meter refuses "${question}": ${shown(error)}`,
      this.where,
      `Set it to ${wanted} and remote mode, then give the same command again.`,
      'instrument',
    )
  }
}

/** The first line that comes after a question; a meter that echoes has that passed over. */
export const askLine = (link: LineLink, question: string, timeoutS: number, signal: AbortSignal) =>
  link.next(`${question}\n`, (line) => (line === question ? undefined : line), timeoutS, signal)

const isPrintable = (text: string): boolean => /^[\x20-\x7e]+$/.test(text)
const isUnknownHeader = (error: string): boolean => /^-11[0-4]\b/.test(error)
/** Meters say it in their own words and under numbers of their own. */
const isAboutRemote = (error: string): boolean => /\b(local|remote|REM)\b/i.test(error)
