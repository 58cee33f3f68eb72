import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { broken, clean, cut, padded, widthOf, wrapped } from '../../src/report/text.js'

const ESC = '\u001b'

describe('clean', () => {
  test.each([
    ['a colour', `${ESC}[31mred${ESC}[0m`, 'red'],
    ['a window title', `${ESC}]0;owned\u0007rear left`, 'rear left'],
    ['a cursor that moves up', `rear${ESC}[2A left`, 'rear left'],
    ['a line break', 'rear\r\nleft', 'rear left'],
    ['a tab and a bell', 'rear\t\u0007left', 'rear left'],
    ['an eight-bit control', 'rear\u009b31mleft', 'rear 31mleft'],
    ['a turn of the direction of writing', 'rear \u202etfel\u202c', 'rear tfel'],
    ['half a surrogate pair', 'rear \ud83d left', 'rear \ufffd left'],
  ])('takes %s out', (_what, dirty, plainText) => {
    expect(clean(dirty)).toBe(plainText)
  })

  test('leaves letters of any script alone', () => {
    for (const name of ['Zentral-Lautsprecher größer', 'フロント左', 'передний левый', 'קדמי', '🔈 left']) {
      expect(clean(name)).toBe(name)
    }
  })

  test('leaves no control character, whatever the text', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary' }), (text) => {
        expect(clean(text)).not.toMatch(/[\u0000-\u001f\u007f-\u009f\u202a-\u202e]/)
      }),
    )
  })
})

describe('widthOf', () => {
  // Truth: Unicode Standard Annex 11, East Asian Width: W and F take two columns; combining marks (gc = M) take none.
  test.each([
    ['rear left', 9],
    ['フロント', 8],
    ['ﾌﾛﾝﾄ', 4],
    ['e\u0301', 1],
    ['−±µ–…', 5],
    ['', 0],
  ])('"%s" takes %d columns', (line, columns) => {
    expect(widthOf(line)).toBe(columns)
  })
})

describe('cut', () => {
  test('leaves a line alone that fits, and ends one that does not with an ellipsis', () => {
    expect(cut('rear left', 9)).toBe('rear left')
    expect(cut('rear left', 8)).toBe('rear le…')
    expect(cut('rear left', 6)).toBe('rear…')
  })

  test('never cuts a wide character in two', () => {
    expect(cut('フロント', 6)).toBe('フロ…')
    expect(widthOf(cut('フロント', 6))).toBeLessThanOrEqual(6)
  })
})

test('padded fills with spaces by columns, not by characters', () => {
  expect(padded('左', 4)).toBe('左  ')
  expect(padded('−1', 4, 'right')).toBe('  −1')
  expect(padded('longer', 4)).toBe('longer')
})

describe('wrapped', () => {
  test('breaks between words', () => {
    expect(wrapped('swap plus and minus at the plug', 12)).toEqual(['swap plus', 'and minus at', 'the plug'])
  })

  test('breaks inside a word only where the word is longer than a line', () => {
    expect(wrapped('see 0123456789abcdef now', 10)).toEqual(['see', '0123456789', 'abcdef now'])
  })

  test('keeps a number and its unit in one line', () => {
    expect(wrapped('it is within ± 0.3 dB at 997 Hz', 17)).toEqual(['it is within', '± 0.3 dB at', '997 Hz'])
  })

  test('never makes a line wider than asked for, and loses nothing but spaces', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme', maxLength: 200 }), fc.integer({ min: 2, max: 60 }), (text, columns) => {
        const one = clean(text)
        const lines = wrapped(one, columns)
        for (const line of lines) expect(widthOf(line)).toBeLessThanOrEqual(columns)
        const bare = (what: string): string => what.replace(/[ \u00a0]/g, '')
        expect(bare(lines.join(''))).toBe(bare(one))
      }),
    )
  })
})

test('broken gives back the whole path when its lines are joined', () => {
  const path = 'captures/ein sehr langer ordner/run-20260401-143005/report.html'
  const lines = broken(path, 20)
  expect(lines.join('')).toBe(path)
  for (const line of lines) expect(widthOf(line)).toBeLessThanOrEqual(20)
})
