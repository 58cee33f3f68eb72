import { describe, expect, test } from 'vitest'
import { explainOpenError, noPort } from '../../src/instruments/port-errors.js'

// The texts are those that the serial library hands on from the systems that it runs on.
describe('a port that does not open', () => {
  const cases: [string, string, readonly string[], string][] = [
    [
      'is missing, with others there',
      'Error: No such file or directory, cannot open /dev/ttyUSB0',
      ['/dev/ttyACM0', '/dev/ttyUSB1'],
      'there is no such port (/dev/ttyUSB0). Plug the meter in, or set meter.port in the rig file to one of: /dev/ttyACM0, /dev/ttyUSB1',
    ],
    [
      'is missing, with none there',
      'Opening COM3: File not found',
      [],
      'there is no such port (/dev/ttyUSB0). Plug the meter in: this computer has no serial port now.',
    ],
    [
      'is not permitted',
      'Error: Permission denied, cannot open /dev/ttyUSB0',
      [],
      'no permission to open the port (/dev/ttyUSB0). Join the group that owns serial ports, then log in again: sudo usermod -aG dialout $USER',
    ],
    [
      'is taken',
      'Error Resource temporarily unavailable Cannot lock port',
      [],
      'the port is in use by another program (/dev/ttyUSB0). End the other program, or a second run of this one.',
    ],
    [
      'is no port',
      'Error: Inappropriate ioctl for device, cannot open /dev/null',
      ['/dev/ttyACM0'],
      'this is not a serial port (/dev/ttyUSB0). Set meter.port in the rig file to one of: /dev/ttyACM0',
    ],
    [
      'fails in another way',
      'Error: Input/output error setting custom baud rate',
      [],
      'the port cannot be opened: Input/output error setting custom baud rate (/dev/ttyUSB0). Plug the meter in',
    ],
  ]
  test.each(cases)('because it %s gets its own line', (_why, says, ports, line) => {
    const error = explainOpenError(new Error(says), '/dev/ttyUSB0', ports)
    expect(error.message).toContain(line)
    expect(error.kind).toBe('instrument')
  })

  test('because the rig names none is bad input', () => {
    const error = noPort(['/dev/ttyACM0'])
    expect(error.message).toBe(
      'the rig names no port for the meter (meter.port). Set meter.port in the rig file to one of: /dev/ttyACM0',
    )
    expect(error.kind).toBe('input')
  })
})
