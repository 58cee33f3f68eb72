import { expect, test } from 'vitest'
import { COLOUR_CODES, colourCodes, colourWords } from '../../src/job/iec-60757.js'
import { parseJob } from '../../src/job/parse.js'
import type { PinSpec } from '../../src/job/pins.js'
import { stopOf } from '../document/stop-of.js'

const jobWith = (lines: string) =>
  parseJob(
    `name: pins\nvehicle: { model: Quillon }\noutputs: [{ number: 1, label: a, left: 1, right: 0, level_vrms: 1 }]\n${lines}\n`,
    'job.yaml',
  )
const pinsOf = (...pins: readonly string[]): readonly PinSpec[] =>
  jobWith(`pins:\n${pins.map((pin) => `  - { ${pin} }`).join('\n')}`).pins
const spans = (spec: PinSpec): string[] =>
  spec.readings.map(
    ({ quantity, ignition, min, max, across }) => `${quantity} ${ignition} ${min}..${max}${across ? ' across' : ''}`,
  )

// Truth: the fourteen single codes of IEC 60757 as references list them, two letters each.
test('colours are codes of IEC 60757, one or two in a row', () => {
  expect(Object.keys(COLOUR_CODES).sort().join(' ')).toBe('BK BN BU GD GN GY OG PK RD SR TQ VT WH YE')
  expect(colourCodes('BKRD')).toEqual(['BK', 'RD'])
  expect([colourCodes('bk rd'), colourCodes('BK/RD'), colourCodes('GNYE')]).toEqual([
    ['BK', 'RD'],
    ['BK', 'RD'],
    ['GN', 'YE'],
  ])
  expect([colourCodes('RED'), colourCodes('BL'), colourCodes(''), colourCodes('B')]).toEqual([null, null, null, null])
  expect(colourWords('BKRD')).toBe('BKRD (black, red)')
})

// Truth: ISO 16750-2, supply code D (10.5 to 16 V); ISO 11898-2, recessive 2.0 to 3.0 V, terminators 100 to 130 Ω in pairs.
test('a pin whose job says no more is expected as its function is usual', () => {
  const [supply, high, low, ignition] = pinsOf(
    'connector: C1, pin: 1, function: constant_supply, colour: BK RD',
    'connector: C1, pin: 2, function: data_high',
    'connector: C1, pin: 3, function: data_low',
    'connector: C1, pin: 4, function: ignition_in',
    'connector: C1, pin: 5, function: accessory_in',
  )
  expect(supply.colour).toBe('BKRD')
  expect(spans(supply)).toEqual(['dcVolts off 10.5..16'])
  expect(spans(high)).toEqual(['dcVolts on 2..3', 'ohms off 50..65 across'])
  expect(spans(low)).toEqual(['dcVolts on 2..3'])
  // Where the key stops at accessory anyway, an ignition line that is on there is the wrong wire.
  expect(spans(ignition)).toEqual(['dcVolts off -0.5..1', 'dcVolts accessory -0.5..1', 'dcVolts on 10.5..16'])
})

test('a restraint circuit is left alone, by its function or by what the sheet says of it', () => {
  const pins = pinsOf(
    'connector: C1, pin: 1, function: restraint',
    'connector: C1, pin: 2, function: speaker, label: Side air-bag squib',
    'connector: SRS, pin: 1, function: ground',
  )
  expect(pins.map(({ isLeftAlone, readings }) => [isLeftAlone, readings.length])).toEqual([
    [true, 0],
    [true, 0],
    [true, 0],
  ])
})

test('what cannot be is refused with its line', () => {
  const said = (...pins: readonly string[]): string => stopOf(() => pinsOf(...pins)).message
  const one = 'connector: C1, pin: 1, function: ground'
  expect(said(one, 'connector: c1, pin: 1, function: speaker')).toBe(
    'pin c1-1 is given twice, also as ground (job.yaml:6, pins[2].pin). Give each pin one entry; check the number against the harness sheet.',
  )
  expect(said('connector: C1, pin: 1, function: ground, colour: RED')).toContain(
    'colour "RED" is no wire colour (job.yaml:5',
  )
  expect(said('connector: C1, pin: 1, function: data_high')).toContain('bus "data" has data_high only')
  expect(said('connector: C1, pin: 1, function: restraint, volts: { min: 1 }')).toContain(
    'volts is asked for at a restraint pin',
  )
  expect(said('connector: C1, pin: 1, function: earth')).toContain('constant_supply')
})

test('a standby scenario switches the ignition on and off, and watches longer than it allows', () => {
  const said = (fields: string): string => stopOf(() => jobWith(`standby: { ${fields} }`)).message
  expect(jobWith('standby: {}').standby?.currentAMax).toBe(0.001)
  expect(said('scenario: [ignition_off, ignition_on]')).toContain('does not switch the ignition on and off')
  expect(said('sleep_s_max: 700')).toContain('watch_s is 600, not above sleep_s_max 700')
})
