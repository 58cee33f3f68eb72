import { expect, test } from 'vitest'
import { progressLine } from '../../src/report/progress.js'
import { widthOf } from '../../src/report/text.js'

const playing = { step: 'playing and capturing', detail: 'all outputs', doneS: 12.4, totalS: 44 }

test('tells step, patch, and how many seconds are left', () => {
  const line = progressLine(playing, { columnCount: 80, isLive: true })
  expect(line).toContain('playing and capturing: all outputs')
  expect(line).toContain('32 s left')
})

// Truth: 11 of 44 s is a quarter, so a quarter of the bar is full.
test('shows a bar that is filled by the share that is done', () => {
  const bar = (doneS: number): string => {
    const line = progressLine({ ...playing, doneS }, { columnCount: 80, isLive: true })
    return /\[([= ]*)\]/.exec(line)![1]
  }
  const full = bar(44).length
  expect(bar(11).trimEnd()).toHaveLength(full / 4)
  expect(bar(0).trimEnd()).toBe('')
  expect(bar(44)).toBe('='.repeat(full))
  expect(bar(99)).toBe('='.repeat(full))
})

test('leaves out what is not known', () => {
  expect(progressLine({ ...playing, totalS: null }, { columnCount: 80, isLive: true })).toContain('12 s')
  const measuring = { step: 'measuring', detail: '', doneS: null, totalS: null }
  expect(progressLine(measuring, { columnCount: 80, isLive: false })).toBe('measuring')
  expect(progressLine(measuring, { columnCount: 80, isLive: true })).toMatch(/^measuring/)
})

test('a line that is not rewritten tells no seconds, so that a log has one line for each step', () => {
  const at = (doneS: number): string => progressLine({ ...playing, doneS }, { columnCount: 80, isLive: false })
  expect(at(1)).toBe(at(40))
})

test.each([20, 40, 80, 200])('stays below %d columns, since a full line would wrap', (columnCount) => {
  for (const detail of [
    '',
    'front',
    'a patch with a name that is longer than any line can be '.repeat(4),
    'フロント左'.repeat(30),
  ]) {
    const line = progressLine({ ...playing, detail }, { columnCount, isLive: true })
    expect(widthOf(line)).toBeLessThanOrEqual(Math.max(20, columnCount - 1))
  }
})

test('what a file name holds cannot steer the terminal', () => {
  const line = progressLine({ ...playing, detail: 'a\u001b[2Jb\nc' }, { columnCount: 80, isLive: true })
  expect(line).toContain('ab c')
  expect(line).not.toMatch(/[\u0000-\u001f]/)
})
