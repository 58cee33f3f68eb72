import { describe, expect, test } from 'vitest'
import { hasVinCheckDigit, vinCheckDigit, vinShapeProblem, vinWarning } from '../../src/job/vin.js'

describe('the check digit', () => {
  // Truth: published worked examples. Each holds its own check digit at position 9.
  test.each([
    ['1G4AH59H45G118341', '4', "the regulation's own sample, 49 CFR 565"],
    ['1J9RP1A36A1644345', '6', "the regulator's guide for new manufacturers"],
    ['1M8GDM9AXKP042788', 'X', 'the textbook example of an X'],
    ['11111111111111111', '1', 'the standard test of all ones'],
  ])('of %s is %s (%s)', (vin, digit) => {
    expect(vinCheckDigit(vin)).toBe(digit)
    expect(vin[8]).toBe(digit)
    expect(vinWarning(vin)).toBeNull()
  })

  // Truth: sums made by hand from the regulation's table and weights: 346, 430 and 385, modulo 11. Together the three
  // hold every character that a VIN may hold.
  test.each([
    ['ABCDEFGH5JKLMNPRS', '5'],
    ['STUVWXYZ1R1234567', '1'],
    ['12345678091234567', '0'],
  ])('of the synthetic %s is %s', (vin, digit) => {
    expect(vinCheckDigit(vin)).toBe(digit)
  })

  test('does not depend on what position 9 holds', () => {
    for (const held of '0123456789XA') {
      expect(vinCheckDigit(`1M8GDM9A${held}KP042788`)).toBe('X')
    }
  })

  // Closed form: a step of 1 at weight w moves the sum by w, and no weight is a multiple of 11.
  test.each(Array.from({ length: 17 }, (_, index) => index).filter((index) => index !== 8))(
    'changes with the digit at index %d',
    (index) => {
      const vin = '11111111111111111'
      const changed = `${vin.slice(0, index)}2${vin.slice(index + 1)}`
      expect(vinCheckDigit(changed)).not.toBe(vinCheckDigit(vin))
    },
  )

  test('is refused for a text of another shape', () => {
    expect(() => vinCheckDigit('123')).toThrow(new RangeError('vinCheckDigit: "123": it has 3 characters'))
  })
})

describe('a warning', () => {
  // Truth: 49 CFR 565's sample with its last but one digit changed: sum 408, modulo 11 is 1.
  test('names digit found and digit computed', () => {
    expect(vinWarning('1G4AH59H45G118331')).toBe(
      'VIN 1G4AH59H45G118331: its check digit (position 9) is 4 and should be 1. ' +
        'Compare it with the plate on the vehicle.',
    )
  })

  test('is given for North American numbers only', () => {
    for (const first of '12345') expect(hasVinCheckDigit(`${first}G4AH59H45G118331`)).toBe(true)
    for (const first of '06789AJKLSTVWYZ') expect(vinWarning(`${first}G4AH59H45G118331`)).toBeNull()
  })

  // A limit of the method: two characters of one value cannot be told apart (A and J are both 1).
  test('cannot be given when characters of equal value are exchanged', () => {
    expect(vinWarning('1M8GDM9JXKP042788')).toBeNull()
  })
})

test.each([
  ['1M8GDM9AXKP042788', null],
  ['1M8GDM9AXKP04278', 'it has 16 characters'],
  ['1M8GDM9AXKP0427881', 'it has 18 characters'],
  ['', 'it has 0 characters'],
  ['IM8GDM9AXKP042788', 'it holds the letter I, which no VIN uses'],
  ['1M8GDM9AXKPO42788', 'it holds the letter O, which no VIN uses'],
  ['1M8GDM9AXKPQ42788', 'it holds the letter Q, which no VIN uses'],
  ['1M8GDM9A-KP042788', 'it holds something else than letters and digits'],
  ['1M8GDM9AXKP04278ß', 'it holds something else than letters and digits'],
  ['00000000000000000', 'it is all zeros'],
])('the shape of "%s": %s', (vin, problem) => {
  expect(vinShapeProblem(vin)).toBe(problem)
})
