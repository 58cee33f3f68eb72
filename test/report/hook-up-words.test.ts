import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import type { LeadVerdict } from '../../src/measure/lead-probe-fit.js'
import { hookUpTable, leadsWords, leadWords } from '../../src/report/hook-up-words.js'

const { outputs } = parseJob(
  readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'),
  'job.yaml',
)
const LOW = { sides: ['left'], bands: ['lows', 'mids'] } as const
const verdict = (change: Partial<LeadVerdict>): LeadVerdict => ({
  inputNumber: 2,
  outputNumber: 3,
  kind: 'other',
  mayBe: [4],
  hears: { sides: ['right'], bands: ['lows', 'mids'] },
  expected: LOW,
  offDb: 0,
  ...change,
})

test('a hook-up is a table: leads that move, then those that stay', () => {
  const steps = [
    { inputNumber: 1, outputNumber: 9, stays: false },
    { inputNumber: 12, outputNumber: 10, stays: false },
    { inputNumber: 3, outputNumber: 3, stays: true },
  ]
  expect(hookUpTable(steps, outputs).split('\n')).toEqual([
    '  input  1 ← output  9  subwoofer left',
    '  input 12 ← output 10  subwoofer right',
    '  input  3 ← output  3  front left low  (stays)',
  ])
})

test('what a terminal would obey in a label is not in the table', () => {
  const named = outputs.map((spec) => ({ ...spec, label: 'a\x1b[31mb' }))
  expect(hookUpTable([{ inputNumber: 1, outputNumber: 1, stays: false }], named)).not.toContain('\x1b')
})

describe('a lead in words', () => {
  test.each([
    [
      {},
      'input 2 hears the right side only, as output 4 front right low would; expected output 3 front left low: move the lead or confirm',
    ],
    [
      { mayBe: [1], hears: { sides: ['left'], bands: ['highs'] } },
      'input 2 hears highs only, as output 1 front left high would; expected output 3 front left low: move the lead or confirm',
    ],
    [
      { mayBe: [7, 8], hears: { sides: ['left', 'right'], bands: ['mids', 'highs'] } },
      'input 2 hears both sides, mids and highs only, as output 7 centre or output 8 rear fill would; expected output 3 front left low: move the lead or confirm',
    ],
    [
      { mayBe: [5], hears: LOW, offDb: -6.2 },
      'input 2 hears its sides and bands 6 dB too quiet, as output 5 rear left would; expected output 3 front left low: move the lead or confirm',
    ],
    [
      { kind: 'silent' },
      'input 2 hears nothing: lead off, output dead, or amplifier asleep; expected output 3 front left low',
    ],
    [{ kind: 'unsure' }, 'input 2: not sure, noise hides whether it is on output 3 front left low'],
    [
      { kind: 'unlike', hears: { sides: ['left', 'right'], bands: ['lows', 'mids'] } },
      'input 2 hears both sides, as no output of the map would; expected output 3 front left low',
    ],
    [{ kind: 'agrees' }, null],
  ] as const)('%j', (change, words) => {
    expect(leadWords(verdict(change as Partial<LeadVerdict>), outputs)).toBe(words)
  })

  test('that is exchanged with another is said of both, once', () => {
    const other = verdict({ inputNumber: 5, outputNumber: 4, mayBe: [3] })
    expect(leadsWords([verdict({}), other], outputs).at(-1)).toBe('the leads of inputs 2 and 5 look exchanged')
    expect(leadsWords([verdict({}), other], outputs)).toHaveLength(3)
  })

  test('is no word where all are right', () => {
    expect(leadsWords([verdict({ kind: 'agrees' })], outputs)).toEqual([])
  })
})
