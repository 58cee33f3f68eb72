import { describe, expect, test } from 'vitest'
import { parseRig } from '../../src/rig/parse.js'
import { stopOf } from '../document/stop-of.js'

const rigText = (meter: string): string => `name: bench
inputs: { count: 2, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
capture: { driver: pulse }
player: { driver: computer }
meter:
${meter.replace(/^/gm, '  ')}
`
const meterOf = (meter: string) => parseRig(rigText(meter), 'rig.yaml').meter
const messageOf = (meter: string): string => stopOf(() => meterOf(meter)).message

describe('a meter', () => {
  test('that sends frames has its usual port', () => {
    expect(meterOf('{ driver: frames, port: COM3, accuracy_pct: 1 }')).toEqual({
      driver: 'frames',
      port: 'COM3',
      baudRate: 2400,
      line: { dataBits: 8, parity: 'none', stopBits: 1, isDtrOn: true, isRtsOn: false },
      frame: 'segments',
      inputNumber: 1,
      accuracyPct: 1,
      accuracyVrms: 0,
    })
  })

  test('may say all of its port', () => {
    const meter = meterOf(
      'driver: lines\nport: serial:A1B2\nbaud_rate: 1200\ndata_bits: 7\nparity: odd\nstop_bits: 2\ndtr: off\nrts: on\naccuracy_pct: 1',
    )
    expect(meter?.port).toBe('serial:A1B2')
    expect(meter?.baudRate).toBe(1200)
    expect(meter?.line).toEqual({ dataBits: 7, parity: 'odd', stopBits: 2, isDtrOn: false, isRtsOn: true })
    expect(meter?.patterns).toBeUndefined()
  })

  test('that prints lines has patterns, with line ends written either way', () => {
    const meter = meterOf(`driver: lines
port: /dev/ttyUSB0
accuracy_pct: 1
functions: { WECHSEL: ac_volts }
patterns:
  - { line: '^(?<value>.+) (?<unit>mV|V)$', ask: "READ?\\r\\n" }
  - { form: value-alone, ask: 'D\\r', unit: mV, function: dc_volts }`)
    expect(meter?.functions).toEqual({ WECHSEL: 'ac_volts' })
    expect(meter?.patterns).toEqual([
      { line: '^(?<value>.+) (?<unit>mV|V)$', form: null, ask: 'READ?\r\n', unit: null, function: null },
      { line: null, form: 'value-alone', ask: 'D\r', unit: 'mV', function: 'dc_volts' },
    ])
  })
})

describe('what of a meter does not fit is named with its line', () => {
  const LINES = 'driver: lines\nport: COM3\naccuracy_pct: 1\n'
  test.each([
    [
      'a pattern without a value',
      `${LINES}patterns: [{ line: '^[0-9]+$' }]`,
      'the pattern has no part named value (rig.yaml:9, meter.patterns[1].line). Name it: (?<value>[-+0-9.]+).',
    ],
    [
      'a pattern that is no regular expression',
      `${LINES}patterns: [{ line: '(?<value>[0-9]+' }]`,
      'the pattern is no regular expression: /(?<value>[0-9]+|/u: Unterminated group (rig.yaml:9, meter.patterns[1].line). A bracket ( is open: close it with ), or write \\( for the character itself.',
    ],
    [
      'a pattern with a part of another name',
      `${LINES}patterns: [{ line: '(?<value>.*)(?<mode>.*)' }]`,
      'the pattern names a part "mode" (rig.yaml:9, meter.patterns[1].line). Allowed: value, unit, function, overload.',
    ],
    [
      'a pattern that is nothing',
      `${LINES}patterns: [{ ask: D }]`,
      'the pattern has neither line nor form (rig.yaml:9, meter.patterns[1]). Give it one of them: line is a regular expression, form a ready-made one.',
    ],
    [
      'a pattern that is two things',
      `${LINES}patterns: [{ form: value-alone, line: '(?<value>.*)' }]`,
      'the pattern has both line and form (rig.yaml:9, meter.patterns[1]).',
    ],
    [
      'an unknown form',
      `${LINES}patterns: [{ form: value }]`,
      'form is "value" (rig.yaml:9, meter.patterns[1].form). Allowed: value-unit-function, function-value-unit, comma-separated or value-alone.',
    ],
    [
      'patterns for a meter that speaks SCPI',
      'driver: scpi\nport: COM3\naccuracy_pct: 1\npatterns: [{ form: value-alone }]',
      'patterns does not go with meter driver scpi (rig.yaml:9, meter.patterns). Leave patterns out, or set driver: lines.',
    ],
    [
      'a frame for a meter that prints',
      `${LINES}frame: segments`,
      'frame does not go with meter driver lines (rig.yaml:9, meter.frame). Leave frame out, or set driver: frames.',
    ],
    [
      'frames of characters in 7 bits',
      'driver: frames\nport: COM3\naccuracy_pct: 1\nframe: characters\ndata_bits: 7',
      'frames of characters need 8 data bits (rig.yaml:10, meter.data_bits). Leave data_bits out.',
    ],
    [
      'a serial number that is not there',
      'driver: scpi\nport: "serial:"\naccuracy_pct: 1',
      'the serial number is missing (rig.yaml:7, meter.port). Write it behind the colon: serial:A1B2C3.',
    ],
    [
      'no port',
      'driver: frames\naccuracy_pct: 1',
      'meter driver frames has no port (rig.yaml:5, meter). Add port: /dev/ttyUSB0 or COM3, as the system names it.',
    ],
  ])('%s', (_, meter, message) => {
    expect(messageOf(meter)).toContain(message)
  })

  test('a port line of the simulated meter', () => {
    const text = rigText('{ driver: simulated, accuracy_pct: 1, dtr: on }')
      .replace('driver: pulse', 'driver: simulated')
      .replace('driver: computer', 'driver: simulated')
    expect(stopOf(() => parseRig(text, 'rig.yaml')).message).toBe(
      'a simulated meter has no dtr (rig.yaml:6, meter.dtr). Leave dtr out.',
    )
  })
})
