import { describe, expect, test } from 'vitest'
import { methodInWords, timeInWords, uncertaintyInWords, valueInWords } from '../../src/report/format.js'
import type { Figure } from '../../src/verdict/result.js'

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
