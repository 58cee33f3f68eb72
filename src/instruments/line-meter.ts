/**
 * A meter that prints its readings as lines, by itself or when it is asked: patterns of the rig file tell what they say.
 *
 * Lines that fit no pattern (an echo, an "OK") are passed over; only when nothing else comes are they what is wrong.
 */
import type { LinePattern, MeterFunction } from '../rig/meter-spec.js'
import type { MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { type LineLink, shown } from './line-link.js'
import type { Reading, ReadingSource } from './reading.js'
import { PatternReader, USUAL_PATTERNS } from './reading-pattern.js'

/** Slow meters print every other second, and change their range before that. */
const LINE_TIMEOUT_S = 8
const PACE_S = 0.25

export interface LineMeterSpec {
  readonly patterns?: readonly LinePattern[]
  readonly functions?: Readonly<Record<string, MeterFunction>>
  readonly accuracyVrms: number
}

export class LineMeter implements ReadingSource {
  readonly where: string
  readonly paceS: number
  private readonly reader: PatternReader

  /** @param patience 1 waits as long as real meters need; tests wait less */
  constructor(
    private readonly link: LineLink,
    private readonly spec: LineMeterSpec,
    private readonly patience = 1,
  ) {
    this.where = link.where
    this.paceS = patience * PACE_S
    this.reader = new PatternReader(spec.patterns ?? USUAL_PATTERNS, spec.functions ?? {}, link.where)
  }

  /** Such a meter has no name to tell; that it prints readings is known once one came. */
  async identify(signal: AbortSignal): Promise<string> {
    const ask = this.spec.patterns?.find((pattern) => pattern.ask !== null)?.ask ?? null
    const line = await this.nextLine(ask, (text) => (this.reader.fits(text) ? text : undefined), signal)
    return `meter that prints "${shown(line)}"`
  }

  /** Each reading says itself what it is of. */
  beginAnew(): void {}

  async readOnce(quantity: MeterQuantity, signal: AbortSignal): Promise<Reading> {
    const ask = this.reader.askFor(quantity)
    return await this.nextLine(
      ask,
      (line) => this.reader.read(line, quantity, this.spec.accuracyVrms) ?? undefined,
      signal,
    )
  }

  async close(): Promise<void> {
    await this.link.close()
  }

  private async nextLine<Value>(
    ask: string | null,
    accept: (line: string) => Value | undefined,
    signal: AbortSignal,
  ): Promise<Value> {
    let last: string | null = null
    const value = await this.link.next(
      ask,
      (line) => {
        if (line === ask?.trim()) return undefined
        const accepted = accept(line)
        if (accepted === undefined) last = line
        return accepted
      },
      this.patience * LINE_TIMEOUT_S,
      signal,
    )
    if (value !== null) return value
    throw last === null ? this.silent(ask) : this.noReading(last)
  }

  private silent(ask: string | null): StopError {
    return ask === null
      ? new StopError(
          'the meter prints nothing',
          this.where,
          'Switch its data output on, check the lead, and meter.baud_rate, dtr and rts in the rig file; give the pattern an ask if it has to be asked.',
          'instrument',
        )
      : new StopError(
          `the meter does not answer "${shown(ask.trim())}"`,
          this.where,
          'Check that it is on, its interface enabled, meter.baud_rate, and the line end of ask in the rig file.',
          'instrument',
        )
  }

  private noReading(line: string): StopError {
    if (isGarbage(line)) {
      return new StopError(
        `the meter sends unreadable characters: "${shown(line)}"`,
        this.where,
        'Set meter.baud_rate, data_bits and parity in the rig file as the meter has them.',
        'instrument',
      )
    }
    return new StopError(
      `no pattern fits what the meter prints: "${shown(line)}"`,
      this.where,
      'Check that this port is the meter, and write a pattern for such lines into meter.patterns of the rig file.',
      'instrument',
    )
  }
}

/** Text at another speed is mostly control characters and high bytes. */
const isGarbage = (line: string): boolean =>
  [...shown(line)].filter((sign) => sign === '\ufffd').length * 4 > line.length
