/** Lines on a terminal are as long as it is wide; on a pipe they stay whole. */
import { afterEach, beforeEach, expect, test, vi } from 'vitest'
import { Screen } from '../../src/cli/screen.js'

const { isTTY, columns } = process.stderr
let written: string
beforeEach(() => {
  written = ''
  vi.spyOn(process.stderr, 'write').mockImplementation((text) => {
    written += text
    return true
  })
})
afterEach(() => {
  vi.restoreAllMocks()
  Object.assign(process.stderr, { isTTY, columns })
})

const LONG =
  '  input 1 ← output 1  front left high\npatch 1: input 3 hears the right side only, as output 4 front right low would'

test('a line longer than the terminal is broken between words, and the others stay as they are', () => {
  Object.assign(process.stderr, { isTTY: true, columns: 40 })
  new Screen().say(LONG)
  expect(written).toBe(
    '  input 1 ← output 1  front left high\npatch 1: input 3 hears the right side\nonly, as output 4 front right low would\n',
  )
})

test('a line on a pipe stays whole', () => {
  Object.assign(process.stderr, { isTTY: false, columns: undefined })
  new Screen().say(LONG)
  expect(written).toBe(`${LONG}\n`)
})
