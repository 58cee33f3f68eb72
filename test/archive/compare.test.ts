/** Comparing figures of two runs. Truth: closed forms of sqrt(Ua² + Ub²), and what a bound allows. */
import { expect, test } from 'vitest'
import { type Change, changeOf, compareResults } from '../../src/archive/compare.js'
import type { Figure } from '../../src/verdict/parts.js'
import { plainResult } from './sealed-runs.js'

const figure = (value: number | null, u: number | null = 0.3, more: Partial<Figure> = {}): Figure => ({
  quantity: 'noise',
  value,
  unit: 'dBV',
  u,
  budget: [],
  isAtMost: false,
  isAtLeast: false,
  freqHz: null,
  method: 'noise/1',
  ...more,
})
const atMost = { isAtMost: true } as const
const atLeast = { isAtLeast: true } as const

test.each<[string, Figure | null, Figure | null, Change]>([
  // 0.3 and 0.4 make 0.5.
  ['a difference just within both uncertainties', figure(-90), figure(-89.501, 0.4), 'same'],
  ['one just beyond them', figure(-90), figure(-89.499, 0.4), 'changed'],
  ['one downwards', figure(-90), figure(-90.501, 0.4), 'changed'],
  ['an uncertainty that is not known', figure(-90), figure(-80, null), 'not known'],
  ['the same value without any', figure(-90, null), figure(-90, null), 'same'],
  ['a value above what was at most', figure(-90, 0, atMost), figure(-89, 0.4), 'changed'],
  ['a value below what was at most', figure(-90, 0, atMost), figure(-99, 0.4), 'not known'],
  ['at most more than there was', figure(-90), figure(-80, 0, atMost), 'not known'],
  ['at most less than there was', figure(-90), figure(-99, 0, atMost), 'changed'],
  ['at least less than there was', figure(-90), figure(-99, 0, atLeast), 'not known'],
  ['at least more than there was', figure(-90), figure(-80, 0, atLeast), 'changed'],
  ['two bounds', figure(-90, 0, atMost), figure(-80, 0, atMost), 'not known'],
  ['another unit', figure(-90), figure(-90, 0.3, { unit: 'dBV(A)' }), 'not comparable'],
  [
    'a level at another reference',
    figure(1, 1, { quantity: 'level', freqHz: 1000 }),
    figure(1, 1, { quantity: 'level', freqHz: 40 }),
    'not comparable',
  ],
  ['one that could not be read', figure(-90), figure(null), 'only in a'],
  ['one that is new', null, figure(-90), 'only in b'],
  [
    'a polarity that turned',
    figure(1, null, { quantity: 'polarity' }),
    figure(-1, null, { quantity: 'polarity' }),
    'changed',
  ],
])('%s', (_says, a, b, change) => {
  expect(changeOf(a, b).change).toBe(change)
})

test('figures are paired by output and name, stages too, and a figure that a check repeats counts once', () => {
  const one = { ...figure(0.02, 0.001), quantity: 'standby current', unit: 'A' as const }
  const stage = {
    stage: 'standby' as const,
    verdict: 'pass' as const,
    summary: '',
    startedAt: '',
    endedAt: '',
    figures: [one],
    checks: [{ name: 'standby current', verdict: 'pass' as const, figure: one, expected: '', measured: '', why: '' }],
    findings: [],
    tables: [],
    plots: [],
    corrections: [],
    takes: [],
    notes: [],
    cautions: [],
  }
  const a = plainResult({}, { stages: [stage] })
  const b = plainResult({}, { stages: [{ ...stage, figures: [{ ...one, value: 0.03 }], checks: [] }] })
  const compared = compareResults(a, b)
  const count = a.outputs.flatMap(({ figures }) => figures).length + a.checks.filter((check) => check.figure).length + 1
  expect(compared).toHaveLength(count)
  expect(compared.filter(({ change }) => change === 'changed').map(({ at }) => at)).toEqual([
    { part: 'standby', outputNumber: null, label: '', name: 'standby current' },
  ])
})
