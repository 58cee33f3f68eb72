import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { LINE_CHARACTER_COUNT_MAX, LineAssembler } from '../../src/instruments/line-assembler.js'

const bytes = (text: string, encoding: BufferEncoding = 'latin1'): Uint8Array => Buffer.from(text, encoding)

describe('lines', () => {
  // Truth: the lines that were joined.
  test('come back from any line end and in any pieces', () => {
    const line = fc.stringMatching(/^[!-~]([ -~]{0,20}[!-~])?$/)
    const lineEnd = fc.constantFrom('\n', '\r', '\r\n')
    fc.assert(
      fc.property(
        fc.array(line, { maxLength: 5 }),
        lineEnd,
        fc.integer({ min: 1, max: 7 }),
        (lines, end, pieceLength) => {
          const assembler = new LineAssembler()
          assembler.startOver(true)
          const all = bytes(lines.map((text) => text + end).join(''))
          const found: string[] = []
          for (let from = 0; from < all.length; from += pieceLength) {
            found.push(...assembler.push(all.subarray(from, from + pieceLength)))
          }
          expect(found).toEqual(lines)
          expect(assembler.half).toBe('')
        },
      ),
      { seed: 4, numRuns: 500 },
    )
  })

  test('may hold the signs of ohm and micro as one byte or as UTF-8', () => {
    const assembler = new LineAssembler()
    assembler.startOver(true)
    expect(assembler.push(bytes('1 \xb5A\n'))).toEqual(['1 µA'])
    expect(assembler.push(bytes('1 µA\n4.7 kΩ\n', 'utf8'))).toEqual(['1 µA', '4.7 kΩ'])
  })

  test('are free of flow control', () => {
    const assembler = new LineAssembler()
    assembler.startOver(true)
    expect(assembler.push(bytes('\x11\x131.5\0\r\n'))).toEqual(['1.5'])
  })

  test('that were cut by listening too late are left out, so that 12.34 is not read as 2.34', () => {
    const assembler = new LineAssembler()
    assembler.startOver(false)
    expect(assembler.push(bytes('2.34\n+12.35\n+1'))).toEqual(['+12.35'])
    assembler.startOver(false)
    expect(assembler.push(bytes('2.36\n+12.37\n'))).toEqual(['+12.37'])
    assembler.startOver(false)
    expect(assembler.push(bytes('+12.38\n'))).toEqual(['+12.38'])
  })

  test('that answer a question are told from what stood there before it', () => {
    const assembler = new LineAssembler()
    assembler.startOver(true)
    assembler.push(bytes('> '))
    assembler.startOver(true)
    expect(assembler.push(bytes('1.5\n'))).toEqual(['1.5'])
  })

  test('that do not end fill no memory', () => {
    const assembler = new LineAssembler()
    assembler.startOver(true)
    for (let n = 0; n < 1000; n++) expect(assembler.push(bytes('x'.repeat(1000)))).toEqual([])
    expect(assembler.half).toHaveLength(LINE_CHARACTER_COUNT_MAX)
  })
})
