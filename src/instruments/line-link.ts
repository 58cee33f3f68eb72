/**
 * A link that sends text and waits for the line that answers it: bytes, line ends and the port are its business.
 *
 * Lines that nobody asked for are thrown away before each question, so that a late answer is not taken for the next one.
 */
import { StopError } from '../units/stop.js'
import { openBytePort, type PortSettings } from './byte-port.js'
import { Feed } from './feed.js'
import { LineAssembler } from './line-assembler.js'

export interface LineLink {
  /** Port, for messages. */
  readonly where: string
  /**
   * @param question sent as it is, its line end included; null: nothing is sent
   * @param accept gives undefined for a line that is passed over
   * @returns null when nothing came within the time
   * @throws StopError when half a line came, or the instrument was unplugged
   */
  next<Value>(
    question: string | null,
    accept: (line: string) => Value | undefined,
    timeoutS: number,
    signal: AbortSignal,
  ): Promise<Value | null>
  /** Sends what has no answer. */
  send(text: string, signal: AbortSignal): Promise<void>
  close(): Promise<void>
}

/** @throws StopError when there is no such port (listing those there are), it is taken or not permitted */
export async function openLineLink(settings: PortSettings, signal: AbortSignal): Promise<LineLink> {
  const lines = new LineAssembler()
  const feed = new Feed(await openBytePort(settings, signal), lines)
  return {
    where: feed.where,
    async next(question, accept, timeoutS, nextSignal) {
      const value = await feed.next(question, accept, timeoutS, nextSignal)
      if (value === null && lines.half !== '') throw halfAnswer(lines.half, question, feed.where)
      return value
    },
    send: (text, sendSignal) => feed.send(text, sendSignal),
    close: () => feed.close(),
  }
}

function halfAnswer(half: string, question: string | null, where: string): StopError {
  const toWhat = question === null ? '' : ` to "${shown(question.trim())}"`
  return new StopError(
    `the meter ${question === null ? 'sent' : 'answered'} "${shown(half)}"${toWhat} and never ended the line`,
    where,
    'Check the lead and meter.baud_rate in the rig file; switch the meter off and on.',
    'instrument',
  )
}

/** An answer as it can stand in a message: printable, and no longer than helps. */
export const shown = (text: string): string => {
  const printable = text.replace(/[^\x20-\x7e°±µΩμ~∞]/g, '\ufffd')
  return printable.length > 60 ? `${printable.slice(0, 60)}…` : printable
}
