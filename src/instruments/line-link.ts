/**
 * A link that sends one line and waits for the line that answers it: bytes, line ends and the port are its business.
 *
 * Lines that nobody asked for are thrown away before each question, so that a late answer is not taken for the next one.
 */
import { Transform } from 'node:stream'
import { StopError } from '../units/stop.js'
import { stopFromOpenError, unplugged } from './port-errors.js'

export interface LineLink {
  /** Port, for messages. */
  readonly where: string
  /**
   * @returns the answer without its line end; null when nothing came within the time
   * @throws StopError when half a line came, or the instrument was unplugged
   */
  ask(line: string, timeoutS: number, signal: AbortSignal): Promise<string | null>
  close(): Promise<void>
}

/**
 * Opens a serial port, 8 data bits, no parity, 1 stop bit.
 *
 * @throws StopError when there is no such port (listing those there are), it is taken or not permitted
 */
export async function openSerialLink(path: string, baudRate: number, signal: AbortSignal): Promise<LineLink> {
  signal.throwIfAborted()
  // Loaded here: both bring code for every kind of port.
  const { SerialPort } = await import('serialport')
  const { ReadlineParser } = await import('@serialport/parser-readline')
  const port = new SerialPort({ path, baudRate, dataBits: 8, parity: 'none', stopBits: 1, autoOpen: false })
  const error = await new Promise<Error | null>((resolve) => port.open(resolve))
  if (error !== null) throw await stopFromOpenError(error, path)

  // Instruments end lines with LF, CR LF or CR; the parser knows one, so CR becomes LF, and empty lines are dropped.
  let halfLine = ''
  const lineEnds = new Transform({
    transform(bytes: Buffer, _encoding, done) {
      const text = bytes.toString('latin1').replaceAll('\r', '\n')
      halfLine = text.includes('\n') ? text.slice(text.lastIndexOf('\n') + 1) : halfLine + text
      done(null, Buffer.from(text, 'latin1'))
    },
  })
  const lines = port.pipe(lineEnds).pipe(new ReadlineParser({ delimiter: '\n', encoding: 'latin1' }))

  type Outcome = { readonly line: string } | { readonly error: unknown }
  let settle: ((outcome: Outcome) => void) | null = null
  let isUnplugged = false
  lines.on('data', (line: string) => {
    if (line.trim() !== '') settle?.({ line: line.trim() })
  })
  const onLost = (): void => {
    isUnplugged = true
    settle?.({ error: unplugged(path) })
  }
  port.on('close', onLost)
  port.on('error', onLost)

  return {
    where: path,
    async ask(line, timeoutS, askSignal) {
      askSignal.throwIfAborted()
      if (settle !== null) throw new RangeError('LineLink.ask: the last question is still open')
      if (isUnplugged || !port.isOpen) throw unplugged(path)
      halfLine = ''
      return await new Promise<string | null>((resolve, reject) => {
        const finish = (act: () => void): void => {
          settle = null
          clearTimeout(timer)
          askSignal.removeEventListener('abort', onAbort)
          act()
        }
        const onAbort = (): void => finish(() => reject(askSignal.reason))
        const timer = setTimeout(() => {
          const half = halfLine.trim()
          finish(() => (half === '' ? resolve(null) : reject(halfAnswer(half, line, path))))
        }, 1000 * timeoutS)
        askSignal.addEventListener('abort', onAbort, { once: true })
        settle = (outcome) => finish(() => ('line' in outcome ? resolve(outcome.line) : reject(outcome.error)))
        port.write(`${line}\n`, 'latin1', (writeError) => {
          if (writeError) settle?.({ error: unplugged(path) })
        })
      })
    },
    async close() {
      port.off('close', onLost)
      if (!port.isOpen) return
      await new Promise<void>((resolve) => port.close(() => resolve()))
    },
  }
}

const halfAnswer = (half: string, line: string, path: string): StopError =>
  new StopError(
    `the meter answered "${shown(half)}" to "${line}" and never ended the line`,
    path,
    'Check the lead and meter.baud_rate in the rig file; switch the meter off and on.',
    'instrument',
  )

/** An answer as it can stand in a message: printable, and no longer than helps. */
export const shown = (text: string): string => {
  const printable = text.replace(/[^\x20-\x7e]/g, '\ufffd')
  return printable.length > 60 ? `${printable.slice(0, 60)}…` : printable
}
