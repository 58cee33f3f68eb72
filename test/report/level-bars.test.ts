import { describe, expect, test } from 'vitest'
import { levelLine, levelScreen, type ShownLevel } from '../../src/report/level-bars.js'
import { widthOf } from '../../src/report/text.js'
import { rigOf } from '../stages/rig-card.js'

const inputsOf = (count: number) =>
  rigOf(`{ count: ${count}, full_scale_vrms: 4, level_uncertainty_db: 0.1 }`, '').inputs
const level = (levelFs: number, heldPeakFs = levelFs, clippedCount = 0): ShownLevel => ({
  levelFs,
  heldPeakFs,
  clippedCount,
})
const screen = (levels: readonly ShownLevel[], columnCount = 80, rowCount = 24): string[] =>
  levelScreen(levels, inputsOf(levels.length), { title: 'Bay 2 · card', foot: 'q ends', columnCount, rowCount })
const many = Array.from({ length: 32 }, (_, k) => level(10 ** (-k / 8), 10 ** (-k / 16), k % 5 === 0 ? 3 : 0))

describe('the levels on a screen', () => {
  test('show each input with bar, dBFS and volts at the lead', () => {
    const lines = screen([level(0.5), level(0.01, 0.1), level(0)])
    expect(lines[0]).toBe('Bay 2 · card')
    // Truth: 0.5 of a full scale of 4 V is 2 V and -6.0 dBFS; 0.01 is 40 mV and -40 dBFS, in the middle of 80 dB.
    expect(lines[2]).toMatch(/^ 1 \[=+\| +\] {3}−6\.0 {2}2\.00 V$/)
    expect(lines[3]).toMatch(/^ 2 \[=+ +\| +\] {2}−40\.0 {3}40 mV$/)
    expect(lines[3].indexOf('=')).toBe(4)
    const bar = /\[(.*)\]/.exec(lines[3])![1]
    expect(bar.lastIndexOf('=') + 1).toBe(Math.round(bar.length / 2))
    expect(lines[4]).toMatch(/^ 3 \[ +\] {2}zeros/)
    expect(lines.at(-1)).toBe('q ends')
  })

  test('say clipping as a word', () => {
    const lines = screen([level(0.9, 1, 12), level(0.9)])
    expect(lines[2]).toMatch(/ CLIP$/)
    expect(lines[3]).not.toContain('CLIP')
  })

  test('find room for 32 inputs on 80 columns and 24 lines', () => {
    const lines = screen(many)
    expect(lines.length).toBeLessThanOrEqual(24)
    expect(Math.max(...lines.map(widthOf))).toBeLessThan(80)
    for (let number = 1; number <= 32; number++)
      expect(lines.join('\n')).toMatch(new RegExp(`(^|  )${number < 10 ? ' ' : ''}${number} \\[`, 'm'))
    expect(lines.join('\n').match(/CLIP/g)).toHaveLength(7)
  })

  test.each([
    [59, 40],
    [40, 40],
    [26, 40],
    [120, 60],
    [200, 10],
  ])('are no wider than %i columns and no taller than %i lines', (columnCount, rowCount) => {
    const lines = screen(many, columnCount, rowCount)
    expect(Math.max(...lines.map(widthOf))).toBeLessThan(columnCount)
    expect(lines.length).toBeLessThanOrEqual(rowCount)
    expect(lines.join('\n')).toContain('CLIP')
  })

  test('count the inputs that find no room', () => {
    const lines = screen(many, 50, 20)
    expect(lines.at(-2)).toBe('and 16 more: make the window taller or wider')
    expect(lines.length).toBeLessThanOrEqual(20)
  })

  test('keep escape sequences of a name away from the terminal', () => {
    const options = { title: 'a\x1b[2Jb', foot: '', columnCount: 80, rowCount: 24 }
    expect(levelScreen([level(1)], inputsOf(1), options)[0]).toBe('ab')
  })
})

test('the levels on a pipe are one line with all inputs', () => {
  expect(levelLine([level(0.5), level(0), level(0.9, 1, 4)], inputsOf(3), 3.02)).toBe(
    '3 s  input 1: −6.0 dBFS 2.00 V  input 2: zeros  input 3: −0.9 dBFS 3.60 V CLIP',
  )
})
