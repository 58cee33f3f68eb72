import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { PatternReader, USUAL_PATTERNS } from '../../src/instruments/reading-pattern.js'
import { quantitySaid, unitOf } from '../../src/instruments/reading-units.js'
import type { LinePattern } from '../../src/rig/meter-spec.js'
import type { MeterQuantity } from '../../src/rig/roles.js'
import { StopError } from '../../src/units/stop.js'
import { stopOf } from '../document/stop-of.js'

const BARE: LinePattern = { line: null, form: null, ask: null, unit: null, function: null }
const usual = new PatternReader(USUAL_PATTERNS, {}, 'PORT')
const read = (line: string, quantity: MeterQuantity = 'acVolts', reader = usual) => reader.read(line, quantity, 0.002)
const readerOf = (...patterns: Partial<LinePattern>[]): PatternReader =>
  new PatternReader(
    patterns.map((pattern) => ({ ...BARE, ...pattern })),
    {},
    'PORT',
  )

describe('common lines are read without a pattern of one’s own', () => {
  // Truth: the SI's prefixes; the resolution is the last digit printed, with the prefix.
  test.each<[string, MeterQuantity, number, number]>([
    ['+01.234 V AC', 'acVolts', 1.234, 0.001],
    ['1.2345E+00 VAC', 'acVolts', 1.2345, 0.0001],
    ['  12.34mVAC', 'acVolts', 0.01234, 1e-5],
    ['0.512 V', 'acVolts', 0.512, 0.001],
    ['0,512 V~', 'acVolts', 0.512, 0.001],
    ['- 12.60 V DC', 'dcVolts', -12.6, 0.01],
    ['AC +1.234 V', 'acVolts', 1.234, 0.001],
    ['VAC 1.234', 'acVolts', 1.234, 0.001],
    ['VDC: -0.5', 'dcVolts', -0.5, 0.1],
    ['DC+1.5V', 'dcVolts', 1.5, 0.1],
    ['+1.2340E-1,VAC', 'acVolts', 0.1234, 1e-5],
    ['123.4;mV;AC', 'acVolts', 0.1234, 1e-4],
    ['1.5,V,"VOLT:DC",AUTO', 'dcVolts', 1.5, 0.1],
    ['4.7 kΩ', 'ohms', 4700, 100],
    ['0.47 Mohm', 'ohms', 470_000, 10_000],
    ['4.70 MOHM', 'ohms', 4_700_000, 10_000],
    ['220 OHMS', 'ohms', 220, 1],
    ['12.5 mA DC', 'dcAmps', 0.0125, 1e-4],
    ['350 µA DC', 'dcAmps', 350e-6, 1e-6],
    ['350 UADC', 'dcAmps', 350e-6, 1e-6],
    ['35.0 MVAC', 'acVolts', 0.035, 1e-4],
    ['1.234 V AC AUTO', 'acVolts', 1.234, 0.001],
    ['-0.001 V AC', 'acVolts', -0.001, 0.001],
  ])('%s', (line, quantity, value, resolution) => {
    const reading = read(line.trim(), quantity)
    expect(reading?.value).toBeCloseTo(value, 12)
    expect(reading?.resolution).toBeCloseTo(resolution, 12)
  })

  test.each([
    'OL V AC',
    'OL',
    '0L mV',
    'O.L',
    '-.OL VAC',
    'OFL V',
    'OVLD',
    'OVERLOAD',
    '0.L V AC',
    'AC OL V',
    'OL,V,AC',
    '+9.9E+37,VAC',
  ])('overload as %s', (line) => {
    expect(stopOf(() => read(line)).message).toMatch(
      /^the meter shows overload: the voltage is beyond its range \(PORT\)/,
    )
  })

  test.each(['', 'OK', '1.234', '=>', '----', '$GPGGA,1,2', '+1.2.3 V', 'V', '1,234,567 V AC'])(
    'what is no reading, "%s", is passed over',
    (line) => {
      expect(read(line)).toBeNull()
    },
  )
})

describe('another function than was wanted is refused', () => {
  test.each<[string, MeterQuantity, string]>([
    ['12.60 V DC', 'acVolts', 'the meter is on DC volts, and AC volts are wanted (PORT). Set it to AC volts'],
    ['1.2 VAC', 'dcVolts', 'the meter is on AC volts, and DC volts are wanted'],
    ['4.7 kohm', 'acVolts', 'the meter is on ohms, and AC volts are wanted'],
    ['12.5 mA DC', 'dcVolts', 'the meter is on DC amperes, and DC volts are wanted'],
    ['12.5 mA AC', 'dcAmps', 'the meter is on "AC", and DC amperes are wanted'],
    ['50.00 Hz', 'acVolts', 'the meter is on "Hz", and AC volts are wanted'],
    ['1.2 V AC+DC', 'acVolts', 'the meter is on "AC+DC", and AC volts are wanted'],
    ['-3.2 V AC', 'acVolts', 'the meter reads -3.2 V, and AC volts have no sign'],
    ['-1.2 V', 'acVolts', 'the meter reads -1.2 V, and AC volts have no sign'],
    ['1.2 V DIODE', 'dcVolts', 'the meter is on "DIODE", and DC volts are wanted'],
    [
      '1.2 V BLAH',
      'dcVolts',
      'the meter says "BLAH" in "1.2 V BLAH", which is no function that is known (PORT). Add it to meter.functions',
    ],
  ])('%s for %s', (line, quantity, says) => {
    expect(stopOf(() => read(line, quantity)).message).toContain(says)
  })

  test('words of the rig file come before the usual ones', () => {
    const german = new PatternReader(USUAL_PATTERNS, { WECHSEL: 'ac_volts', AC: 'other' }, 'PORT')
    expect(read('1.5 V WECHSEL', 'acVolts', german)?.value).toBe(1.5)
    expect(() => read('1.5 V AC', 'acVolts', german)).toThrow('the meter is on "AC"')
  })
})

describe('patterns of the rig file', () => {
  test('name their parts, and what is left out stands beside them', () => {
    const reader = readerOf({ line: '^<(?<value>[^>]*)>$', unit: 'mV', function: 'ac_volts' })
    expect(read('<512>', 'acVolts', reader)).toEqual({ value: 0.512, resolution: 0.001 })
    expect(read('512', 'acVolts', reader)).toBeNull()
    expect(() => read('<OL>', 'acVolts', reader)).toThrow('the meter shows overload')
    expect(() => reader.askFor('dcVolts')).toThrow(
      'no pattern of the rig file is for DC volts (PORT). Add one to meter.patterns',
    )
  })

  test('ask for the quantity that is wanted', () => {
    const reader = readerOf(
      { form: 'value-alone', ask: 'A\r', function: 'ac_volts' },
      { form: 'value-alone', ask: 'D\r', function: 'dc_volts' },
    )
    expect([reader.askFor('acVolts'), reader.askFor('dcVolts')]).toEqual(['A\r', 'D\r'])
    expect(read('-12.6', 'dcVolts', reader)?.value).toBe(-12.6)
  })

  test('of another function tell that the meter is on it', () => {
    const reader = readerOf(
      { line: '^A(?<value>.*)$', function: 'ac_volts' },
      { line: '^D(?<value>.*)$', function: 'dc_volts' },
    )
    expect(() => read('D12.6', 'acVolts', reader)).toThrow('the meter is on DC volts, and AC volts are wanted')
  })

  test('without a unit are refused where the number can be no volts', () => {
    const reader = readerOf({ form: 'value-alone' })
    expect(read('1.5', 'acVolts', reader)?.value).toBe(1.5)
    expect(stopOf(() => read('512.3', 'acVolts', reader)).message).toBe(
      'the meter prints 512.3 without a unit: too much for AC volts (PORT). ' +
        'Give the unit that it shows to the pattern in the rig file (unit: mV), or set the meter to the unit without a prefix.',
    )
    expect(read('512.3', 'acVolts', readerOf({ form: 'value-alone', unit: 'mV' }))?.value).toBeCloseTo(0.5123, 12)
  })

  test('whose part for the unit takes something else are told', () => {
    const reader = readerOf({ line: '^(?<value>[0-9.]+) (?<unit>.*)$' })
    expect(() => read('1.2 parsec', 'acVolts', reader)).toThrow(
      'the meter says "parsec" in "1.2 parsec", which is no unit',
    )
    expect(read('1.2 mVAC', 'acVolts', reader)?.value).toBeCloseTo(0.0012, 12)
  })
})

describe('of any number', () => {
  const number = fc.record({
    digits: fc.integer({ min: 0, max: 59_999 }),
    decimals: fc.integer({ min: 0, max: 4 }),
    prefix: fc.constantFrom('', 'm', 'µ'),
    form: fc.constantFrom(
      (value: string, unit: string) => `+${value} ${unit} AC`,
      (value: string, unit: string) => `${value}${unit}AC`,
      (value: string, unit: string) => `AC ${value} ${unit}`,
      (value: string, unit: string) => `${value},${unit},AC`,
      (value: string, unit: string) => `${value.padStart(8, '0')} ${unit}AC`,
    ),
  })

  // Truth: the digits that were printed.
  test('the print comes back', () => {
    fc.assert(
      fc.property(number, ({ digits, decimals, prefix, form }) => {
        const value = digits / 10 ** decimals
        const factor = { '': 1, m: 1e-3, µ: 1e-6 }[prefix] ?? 0
        const reading = read(form(value.toFixed(decimals), `${prefix}V`))
        expect(reading?.value).toBeCloseTo(value * factor, 9)
        expect(reading?.resolution).toBeCloseTo(factor / 10 ** decimals, 12)
      }),
      { seed: 4, numRuns: 1000 },
    )
  })

  test('any exponent comes back', () => {
    fc.assert(
      fc.property(fc.double({ min: 1e-6, max: 50, noNaN: true }), (value) => {
        expect(read(`${value.toExponential(6).toUpperCase()} VAC`)?.value).toBe(Number(value.toExponential(6)))
      }),
      { seed: 4, numRuns: 1000 },
    )
  })

  test('no text makes a reading of what holds no digits, nor throws anything but a stop', () => {
    const text = fc.oneof(fc.string({ maxLength: 40 }), fc.stringMatching(/^[-+0-9.,;eEVAmkMΩ ~=OLHACD]{0,20}$/))
    fc.assert(
      fc.property(text, (line) => {
        try {
          const reading = read(line)
          if (reading === null) return
          expect(line).toMatch(/\d/)
          expect(Number.isFinite(reading.value)).toBe(true)
        } catch (error) {
          expect(error).toBeInstanceOf(StopError)
        }
      }),
      { seed: 4, numRuns: 3000 },
    )
  })
})

test.each([
  ['mV', 1e-3, 'V'],
  ['MV', 1e-3, 'V'],
  ['UA', 1e-6, 'A'],
  ['Mohm', 1e6, 'Ω'],
  ['kΩ', 1e3, 'Ω'],
  ['KHZ', 1e3, 'Hz'],
])('the unit %s is %d %s', (text, factor, base) => {
  expect(unitOf(text)).toEqual({ factor, base })
})

test('what is no unit is none', () => {
  expect(['', 'x', 'gV', 'VV', 'm'].map(unitOf)).toEqual([null, null, null, null, null])
})

test('a function that is not said is left open where the unit allows it', () => {
  expect(quantitySaid(null, 'V', {}, 'acVolts')).toBeNull()
  expect(quantitySaid(null, 'A', {}, 'acVolts')).toBe('dcAmps')
  expect(quantitySaid('DC', null, {}, 'dcAmps')).toBe('dcAmps')
  expect(quantitySaid('AC', null, {}, 'dcAmps')).toBe('acVolts')
})
