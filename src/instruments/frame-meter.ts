/**
 * A meter that sends its display as frames of 14 bytes, about two a second and without being asked.
 *
 * A frame counts when it is whole and shows a number or overload; all others are passed over, and the next is waited for.
 */
import type { FrameKind } from '../rig/meter-spec.js'
import type { MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import type { BytePort } from './byte-port.js'
import { Feed } from './feed.js'
import type { Display } from './frame-14.js'
import { CharacterFrames } from './frame-characters.js'
import { SegmentFrames } from './frame-segments.js'
import { negativeAc, overload, QUANTITY_WORDS, type Reading, type ReadingSource, wrongFunction } from './reading.js'

const FRAME_TIMEOUT_S = 5
const PACE_S = 0.25

export class FrameMeter implements ReadingSource {
  readonly where: string
  readonly paceS: number
  private readonly decoder: SegmentFrames | CharacterFrames
  private readonly feed: Feed<Display>
  private isBatterySaid = false

  /** @param patience 1 waits as long as real meters need; tests wait less */
  constructor(
    port: BytePort,
    kind: FrameKind,
    private readonly onNotice: (says: string) => void = () => {},
    private readonly patience = 1,
  ) {
    this.where = port.where
    this.paceS = patience * PACE_S
    this.decoder = kind === 'segments' ? new SegmentFrames() : new CharacterFrames()
    this.feed = new Feed(port, this.decoder)
  }

  async identify(signal: AbortSignal): Promise<string> {
    const display = await this.nextFrame((frame) => frame, signal)
    return `meter that sends frames, on ${display.quantity === 'other' ? 'another function' : QUANTITY_WORDS[display.quantity]}`
  }

  /** Each reading says itself what it is of. */
  beginAnew(): void {}

  async readOnce(quantity: MeterQuantity, signal: AbortSignal): Promise<Reading> {
    return await this.nextFrame((display) => this.readingOf(display, quantity), signal)
  }

  async close(): Promise<void> {
    await this.feed.close()
  }

  private async nextFrame<Value>(accept: (display: Display) => Value | undefined, signal: AbortSignal): Promise<Value> {
    const value = await this.feed.next(null, accept, this.patience * FRAME_TIMEOUT_S, signal)
    if (value !== null) return value
    const { strayCount } = this.decoder
    throw strayCount === 0
      ? new StopError(
          'the meter sends nothing',
          this.where,
          'Switch its data output on, see that the optical lead sits right, and try dtr and rts in the rig file the other way.',
          'instrument',
        )
      : new StopError(
          `the meter sends bytes (${strayCount}), but no whole frame`,
          this.where,
          'Check that this port is the meter; set meter.baud_rate, data_bits and frame in the rig file.',
          'instrument',
        )
  }

  private readingOf(display: Display, quantity: MeterQuantity): Reading | undefined {
    if (display.isBatteryLow && !this.isBatterySaid) {
      this.isBatterySaid = true
      this.onNotice(`The meter on ${this.where} shows a low battery: its readings may be off. Change it.`)
    }
    if (display.quantity !== quantity) {
      const found = display.quantity === 'other' ? 'another function' : QUANTITY_WORDS[display.quantity]
      throw wrongFunction(this.where, quantity, found)
    }
    const frozen = display.isHeld ? 'hold' : display.isRelative ? 'relative' : null
    if (frozen !== null) {
      throw new StopError(
        `the meter is set to ${frozen}, and does not show what is on its leads`,
        this.where,
        `Switch ${frozen} off on the meter, then give the same command again.`,
        'instrument',
      )
    }
    if (display.reading === 'overload') throw overload(this.where, quantity)
    if (display.reading === null) return undefined
    const { value, resolution } = display.reading
    if (quantity === 'acVolts' && value < -resolution) throw negativeAc(this.where, value)
    return display.reading
  }
}
