/** Spread and outliers. Truth: closed forms, and the same computed by numpy. */
import { spawnSync } from 'node:child_process'
import { expect, test } from 'vitest'
import { isOutlier, scoreOf, spreadOf } from '../../src/archive/spread.js'
import { TrendBuilder } from '../../src/archive/trends.js'
import { trendsPage } from '../../src/report/trends-page.js'
import { normalFrom } from '../kit/random.js'
import { HOSTILE } from '../report/hostile.js'
import { needsTool } from '../tools.js'
import { plainResult } from './sealed-runs.js'

test('the modified z-score of a small table is that of its closed form', () => {
  // Median 2.45; distances from it sorted: 0.05 0.05 0.15 0.15 0.15 0.15 0.35 0.35 5.75 5.85: MAD 0.15.
  const values = [2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3]
  const spread = spreadOf(values)
  expect(spread.median).toBeCloseTo(2.45, 12)
  expect(spread.spread).toBeCloseTo(0.15 / 0.6745, 12)
  expect(scoreOf(8.2, spread)).toBeCloseTo((0.6745 * 5.75) / 0.15, 9)
  expect(values.filter((value) => isOutlier(value, null, spread))).toEqual([8.2, 8.3])
  expect(isOutlier(8.2, 6, spread)).toBe(false)
})

test('with few vehicles none stands apart, and where all others are alike any other does', () => {
  expect(isOutlier(9, null, spreadOf([1, 1, 1, 9]))).toBe(false)
  const alike = spreadOf([1, 1, 1, 1, 1, 1.01])
  expect(isOutlier(1.01, null, alike)).toBe(true)
  expect(isOutlier(1.01, 0.02, alike)).toBe(false)
  expect(isOutlier(1, null, alike)).toBe(false)
})

test('numpy finds the same median and spread', (context) => {
  needsTool(context, 'scipy')
  const next = normalFrom(3)
  const sets = [5, 6, 101, 1000].map((count) => Array.from({ length: count }, () => 3 * next() - 90))
  const script = `
import json, sys, numpy as np
for x in json.load(sys.stdin):
    m = np.median(x); print(json.dumps([m, np.median(np.abs(np.array(x) - m)) / 0.6745]))`
  const { stdout } = spawnSync('/usr/bin/python3', ['-c', script], { input: JSON.stringify(sets), encoding: 'utf8' })
  const theirs = stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as [number, number])
  for (const [k, set] of sets.entries()) {
    const { median, spread } = spreadOf(set)
    // The same sums in the same order: rounding alone.
    expect(median).toBeCloseTo(theirs[k][0], 10)
    expect(spread).toBeCloseTo(theirs[k][1], 10)
  }
})

test('a vehicle that is 3 dB off on one output is said, on a page that nothing breaks out of', () => {
  const builder = new TrendBuilder()
  const next = normalFrom(7)
  for (let n = 0; n < 12; n++) {
    const result = plainResult()
    const outputs = result.outputs.map((output) => ({
      ...output,
      figures: output.figures.map((figure) =>
        figure.quantity !== 'level'
          ? figure
          : {
              ...figure,
              u: 0.01 * figure.value!,
              value: 2 * 10 ** ((0.05 * next() - (n === 4 && output.number === 2 ? 3 : 0)) / 20),
            },
      ),
    }))
    const finding = {
      kind: 'inverted' as const,
      verdict: 'fail' as const,
      outputs: [1],
      title: HOSTILE[0],
      because: '',
      next: '',
    }
    builder.add({ ...result, outputs, findings: n % 3 === 0 ? [finding, finding] : [] })
  }
  const trends = builder.trends()
  expect(trends.map(({ quantity, outputNumber }) => `${quantity} ${outputNumber}`).slice(0, 2)).toEqual([
    'level 1',
    'level 2',
  ])
  const apart = trends.flatMap(({ outputNumber, points }) =>
    points.filter((point) => point.isOutlier).map(({ vehicle }) => [outputNumber, vehicle]),
  )
  expect(apart).toEqual([[2, 4]])
  expect(builder.commonFindings()).toMatchObject([{ kind: 'inverted', outputs: [1], vehicleCount: 4 }])
  const page = trendsPage({
    title: HOSTILE[1],
    vehicles: Array.from({ length: 12 }, (_, n) => HOSTILE[n % HOSTILE.length]),
    trends,
    findings: builder.commonFindings(),
    rule: 'rule',
    notes: [HOSTILE[3]],
    program: 'linetrue',
  })
  expect(page).not.toMatch(/<script|<img|<svg onload|\u001b|\u202e/)
  expect(page).toMatch(/4 of 12 \(33\s%\)/)
  expect(page).toContain('; 1 stands apart')
})
