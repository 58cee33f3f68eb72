/**
 * Turns what the operating system says about a serial port into one line for the person at the bench.
 */
import { StopError } from '../units/stop.js'

/** Of ports that say nothing about themselves, the first few are enough for advice. */
const PORT_COUNT_SHOWN = 4

/** @param error what opening the port ended with; its text is all that the library gives */
export async function stopFromOpenError(error: Error, path: string): Promise<StopError> {
  return explainOpenError(error, path, await listPorts())
}

/** Same, with the ports that there are. */
export function explainOpenError(error: Error, path: string, ports: readonly string[]): StopError {
  const says = error.message
  const stop = (what: string, remedy: string): StopError =>
    new StopError(what, path, remedy, 'instrument', { cause: error })
  if (/no such file|file not found|ENOENT|no such device/i.test(says)) {
    return stop(
      'there is no such port',
      ports.length === 0
        ? 'Plug the meter in: this computer has no serial port now.'
        : `Plug the meter in, or set meter.port in the rig file to one of: ${ports.join(', ')}`,
    )
  }
  if (/permission denied|access denied|EACCES|EPERM/i.test(says)) {
    return stop(
      'no permission to open the port',
      'Join the group that owns serial ports, then log in again: sudo usermod -aG dialout $USER',
    )
  }
  if (/lock|busy|temporarily unavailable|in use/i.test(says)) {
    return stop('the port is in use by another program', 'End the other program, or a second run of this one.')
  }
  if (/ioctl|not a (tty|typewriter)|ENOTTY|bad file|termios|invalid argument/i.test(says)) {
    return stop('this is not a serial port', portsRemedy(ports))
  }
  return stop(`the port cannot be opened: ${says.replace(/^Error:? */, '')}`, portsRemedy(ports))
}

export const unplugged = (path: string): StopError =>
  new StopError('the meter was unplugged', path, 'Plug it in again, then give the same command again.', 'instrument')

/** The rig file names a meter but no port. */
export const noPort = (ports: readonly string[]): StopError =>
  new StopError('the rig names no port for the meter', 'meter.port', portsRemedy(ports))

/** Serial ports of this computer, by name. */
export async function listPorts(): Promise<string[]> {
  const { SerialPort } = await import('serialport')
  // Where the system cannot list its ports, we say none rather than fail: it is only advice.
  const ports = await SerialPort.list().catch(() => [])
  // A board lists dozens of built-in ports that lead nowhere: those that name their hardware come first.
  const named = ports.filter((port) => port.pnpId !== undefined || port.manufacturer !== undefined)
  return (named.length > 0 ? named : ports.slice(0, PORT_COUNT_SHOWN)).map((port) => port.path)
}

const portsRemedy = (ports: readonly string[]): string =>
  ports.length === 0
    ? 'Plug the meter in and set meter.port in the rig file.'
    : `Set meter.port in the rig file to one of: ${ports.join(', ')}`
