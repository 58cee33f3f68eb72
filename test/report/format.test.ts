import { describe, expect, test } from 'vitest'
import {
  boundMark,
  digitsFor,
  methodInWords,
  quantityInWords,
  standardInWords,
  timeInWords,
  uncertaintyInWords,
  valueInWords,
} from '../../src/report/format.js'
import type { Figure } from '../../src/verdict/parts.js'

const figure = (value: number | null, unit: Figure['unit'], u: number | null, isAtMost = false): Figure => ({
  quantity: 'any',
  value,
  unit,
  u,
  budget: [],
  isAtMost,
  isAtLeast: false,
  freqHz: null,
  method: 'any/1',
})

// Truth: JCGM 100:2008 (GUM) 7.2.6: U with at most two significant digits, the value to the same place; the unit moves with
// the size, so that no figure needs more than a few zeros.
test.each([
  [2.0034, 'V', 0.0231, '2.003 V', '± 0.023 V'],
  [2.0034, 'V', 0.41, '2.0 V', '± 0.4 V'],
  [0.0123, 'V', 0.00056, '12.3 mV', '± 0.6 mV'],
  [0.000021, 'V', 0.000003, '21 µV', '± 3 µV'],
  [-101.23, 'dBV', 0.21, '−101.2 dBV', '± 0.2 dB'],
  [-101.23, 'dBV(A)', 0.21, '−101.2 dBV(A)', '± 0.2 dB'],
  [0.123, 'dB', 0.04, '+0.12 dB', '± 0.04 dB'],
  [-78.523, 'dB', 0.17, '−78.5 dB', '± 0.2 dB'],
  [-0.001, 'dB', 0.04, '0.00 dB', '± 0.04 dB'],
  [0.00412, '%', 0.00038, '0.0041 %', '± 0.0004 %'],
  [0.0000042, 's', 0.0000061, '+0.004 ms', '± 0.006 ms'],
  [0.012, 's', 0.00002, '+12.000 ms', '± 0.020 ms'],
  [31.42, 'ppm', 0.7, '+31.4 ppm', '± 0.7 ppm'],
  [-99.87, 'dBV(C)', 0.12, '−99.9 dBV(C)', '± 0.1 dB'],
  [-2.31, 'dBFS', 0.12, '−2.3 dBFS', '± 0.1 dB'],
  [3713.4407, 'Hz', 0.034, '3713.44 Hz', '± 0.03 Hz'],
  [9000.1385, 'Hz', 2.95, '9000 Hz', '± 3 Hz'],
  [0.00044, '%', 0.00002, '0.00044 %', '± 0.00002 %'],
  [24, 'dB/octave', 0.2, '24.0 dB/octave', '± 0.2 dB/octave'],
] as const)('%d %s with U %d reads "%s" "%s"', (value, unit, u, words, uncertainty) => {
  expect(valueInWords(figure(value, unit, u))).toBe(words)
  expect(uncertaintyInWords(figure(value, unit, u))).toBe(uncertainty)
})

describe('an uncertainty', () => {
  test('that is smaller than the last digit shown is not rounded down to nothing', () => {
    expect(uncertaintyInWords(figure(0.0041, '%', 0.0000001))).toBe('± 0.0001 %')
  })

  test('that is not known is a dash, and the value has the usual digits of its unit', () => {
    expect(uncertaintyInWords(figure(2.0034, 'V', null))).toBe('–')
    expect(valueInWords(figure(2.0034, 'V', null))).toBe('2.00 V')
  })
})

test('a figure without a value says so, and a bound says that it is one', () => {
  expect(valueInWords(figure(null, 'V', null))).toBe('not measured')
  expect(valueInWords(figure(-81.4, 'dB', 1.1, true))).toBe('at most −81.4 dB')
})

test('polarity is a word', () => {
  expect(valueInWords({ ...figure(1, '', null), quantity: 'polarity' })).toBe('normal')
  expect(valueInWords({ ...figure(-1, '', null), quantity: 'polarity' })).toBe('inverted')
})

test('a method is a name and a version, also where the name holds a stroke', () => {
  expect(methodInWords('response from sweep, 1/12 octave/3')).toEqual({
    name: 'response from sweep, 1/12 octave',
    version: '3',
  })
  expect(methodInWords('by hand')).toEqual({ name: 'by hand', version: 'not given' })
})

test.each([
  ['2026-04-01T14:30:05.000Z', '2026-04-01 14:30 UTC'],
  ['2026-04-01T14:30:05-07:00', '2026-04-01 14:30 UTC−07:00'],
  ['2026-04-01T14:30+01:00', '2026-04-01 14:30 UTC+01:00'],
  ['yesterday', 'yesterday'],
])('the time %s reads "%s"', (iso, words) => {
  expect(timeInWords(iso)).toBe(words)
})

// A THD of 0.0004 % is no distortion of 0.000 %.
test.each([
  [0.0004, '0.00040 %'],
  [0.000_037, '0.000037 %'],
  [0, '0.0000 %'],
])('a distortion of %d % without an uncertainty reads "%s"', (value, words) => {
  expect(valueInWords(figure(value, '%', null))).toBe(words)
})

describe('a bound', () => {
  const bound = { ...figure(0, 'dBFS', 0), isAtLeast: true }

  test('says at most or at least, in words and as a mark', () => {
    expect(valueInWords(bound)).toBe('at least 0.0 dBFS')
    expect(boundMark(bound)).toBe('≥')
    expect(boundMark(figure(1, 'V', null, true))).toBe('≤')
    expect(boundMark(figure(1, 'V', null))).toBe('')
  })

  test('with an uncertainty of nothing has none', () => {
    expect(uncertaintyInWords(bound)).toBe('–')
  })
})

test('a range has no sign, a difference has one', () => {
  expect(valueInWords({ ...figure(98.7, 'dB', 0.1), quantity: 'dynamic range' })).toBe('98.7 dB')
  expect(valueInWords({ ...figure(85.3, 'dB', 0.1), quantity: 'sinad' })).toBe('85.3 dB')
  expect(valueInWords({ ...figure(0.000_094, 's', 0.000_015), quantity: 'delay spread' })).toBe('0.094 ms')
  expect(valueInWords({ ...figure(4.5, 'dB', 0.1), quantity: 'loudness' })).toBe('+4.50 dB')
})

test('the Q of a section has no unit, and decimals', () => {
  expect(digitsFor(1.1304, 0.012, 'Q')).toMatchObject({ value: '1.130', u: '0.012', unit: '' })
})

// Two digits, as a budget has them (JCGM 100:2008, 7.2.6).
test.each([
  [0.012, 'V', '12 mV'],
  [0.000_044, 'V', '44 µV'],
  [0.0023, 'V', '2.3 mV'],
  [0.05, 'dBV(A)', '0.050 dB'],
  [0.000_25, 'dB', '0.00025 dB'],
  [5.9e-7, 's', '0.59 µs'],
  [0.000_12, 's', '0.12 ms'],
  [0.000_0058, '%', '0.0000058 %'],
  [1e-12, 'dB', '0 dB'],
] as const)('a standard uncertainty of %d %s reads "%s"', (u, unit, words) => {
  expect(standardInWords(u, unit)).toBe(words)
})

test('quantities are named as people name them', () => {
  expect(quantityInWords('noise 468, unity at 2 kHz')).toBe('Noise, ITU-R 468 with unity at 2 kHz')
  expect(quantityInWords('level change to volume 20')).toBe('Level change to volume 20')
})
