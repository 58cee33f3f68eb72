/**
 * A serial port as a run needs it: bytes go to one listener as they come and none is kept for later, so that a meter that
 * goes on sending fills no memory.
 */
import type { PortLine } from '../rig/meter-spec.js'
import { explainOpenError, UnpluggedError } from './port-errors.js'
import { portLines } from './ports.js'
import { sleep } from './sleep.js'

export interface PortSettings {
  readonly path: string
  readonly baudRate: number
  readonly line: PortLine
}

export interface BytePort {
  /** For messages. */
  readonly where: string
  readonly isOpen: boolean
  onBytes: ((bytes: Uint8Array) => void) | null
  /** Called when the port goes away by itself. */
  onLost: (() => void) | null
  /**
   * Sends text, one byte for each character.
   * @throws StopError when the instrument was unplugged
   */
  send(text: string): Promise<void>
  close(): Promise<void>
}

/**
 * How often a port is asked for its lines. Of a port that hung up the system reads nothing without an error, which the library
 * tries again for ever; an adapter that was pulled hangs up.
 */
const WATCH_S = 0.25
const GONE = /input\/output error|no such device|\bE(?:IO|NXIO|NODEV)\b/i

/** A port whose other side takes nothing any more must not hold up the end of a run. */
const DRAIN_S_MAX = 0.5

/**
 * Opens a serial port and sets its lines.
 *
 * @throws StopError when there is no such port (listing those there are), it is taken or not permitted
 */
export async function openBytePort({ path, baudRate, line }: PortSettings, signal: AbortSignal): Promise<BytePort> {
  signal.throwIfAborted()
  // Loaded here: it brings code for every kind of port.
  const { SerialPort } = await import('serialport')
  const port = new SerialPort({
    path,
    baudRate,
    dataBits: line.dataBits,
    parity: line.parity,
    stopBits: line.stopBits,
    autoOpen: false,
  })
  const error = await new Promise<Error | null>((resolve) => port.open(resolve))
  if (error !== null) throw explainOpenError(error, path, await portLines())
  // A pseudo-terminal and some adapters have no such lines; the meter that needs them will be silent, which is said.
  await new Promise<void>((resolve) => port.set({ dtr: line.isDtrOn, rts: line.isRtsOn }, () => resolve()))

  let isLost = false
  const lose = (): void => {
    if (isLost) return
    isLost = true
    clearInterval(watch)
    if (port.isOpen) port.close()
    opened.onLost?.()
  }
  const watch = setInterval(() => {
    if (port.isOpen) port.get((getError) => getError !== null && GONE.test(getError.message) && lose())
  }, 1000 * WATCH_S)
  watch.unref()
  port.on('data', (bytes: Uint8Array) => opened.onBytes?.(bytes))
  port.on('close', lose)
  port.on('error', lose)
  const closePort = (): Promise<void> => new Promise((resolve) => port.close(() => resolve()))
  const opened: BytePort = {
    where: path,
    get isOpen() {
      return !isLost && port.isOpen
    },
    onBytes: null,
    onLost: null,
    async send(text) {
      if (!opened.isOpen) throw new UnpluggedError(path)
      const sent = new Promise<void>((resolve, reject) => {
        port.write(text, 'latin1', (writeError) => (writeError ? reject(new UnpluggedError(path)) : resolve()))
      })
      await Promise.race([sent, sleep(DRAIN_S_MAX)])
    },
    async close() {
      port.off('close', lose)
      clearInterval(watch)
      opened.onBytes = null
      if (port.isOpen) await closePort()
    },
  }
  if (signal.aborted) {
    await opened.close()
    throw signal.reason
  }
  return opened
}
