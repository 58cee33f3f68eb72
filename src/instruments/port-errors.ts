/**
 * Turns what the operating system says about a serial port into one line for the person at the bench.
 */
import { StopError } from '../units/stop.js'

/** The port went away while it was open. */
export class UnpluggedError extends StopError {
  constructor(where: string) {
    super('the meter was unplugged', where, 'Plug it in again, then give the same command again.', 'instrument')
  }
}

/**
 * @param error what opening the port ended with; its text is all that the library gives
 * @param ports those that there are, one line for each
 */
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
  // Windows says so of a port that another program has open.
  if (/access denied/i.test(says)) {
    return stop(
      'the port is in use by another program, or may not be opened',
      'End the other program, or a second run of this one; else ask who looks after this computer.',
    )
  }
  if (/permission denied|EACCES|EPERM/i.test(says)) {
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

/** The rig file names a meter but no port. */
export const noPort = (ports: readonly string[]): StopError =>
  new StopError('the rig names no port for the meter', 'meter.port', portsRemedy(ports))

export const portsRemedy = (ports: readonly string[]): string =>
  ports.length === 0
    ? 'Plug the meter in and set meter.port in the rig file.'
    : `Set meter.port in the rig file to one of: ${ports.join(', ')}`
