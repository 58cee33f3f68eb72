/** How a staircase leaves the straight line, from steps that are made up: what noise does to one of them is no departure. */
import { expect, test } from 'vitest'
import { cutFundamental, cutThd } from '../../src/measure/hard-clip.js'
import { departureOf, type StaircaseStep } from '../../src/measure/staircase-departure.js'
import { STAIRCASE_DBFS } from '../../src/stimulus/layout.js'

const LIMITS = { thdRatio: 0.01, compressionDb: 0.5 }
const db = (ratio: number): number => 20 * Math.log10(ratio)

/** A sine cut on both sides at a level: closed form. lineDb: the straight line is off by so much, and says so. */
function steps(cutDbfs: number, lineDb = 0, lineU = 0.001): StaircaseStep[] {
  return STAIRCASE_DBFS.map((sourceDbfs) => {
    const ratio = Math.min(1, 10 ** ((cutDbfs - sourceDbfs) / 20))
    const thd = cutThd(ratio, 'both sides', 9)
    const power = (order: number): number => (order % 2 === 1 ? (thd / order) ** 2 : 0)
    return {
      sourceDbfs,
      peakFs: 10 ** (sourceDbfs / 20) * cutFundamental(ratio, 'both sides'),
      peakFsU: 1e-6,
      gainDb: db(cutFundamental(ratio, 'both sides')) + lineDb,
      gainDbU: lineU,
      thd: { value: thd, u: 1e-4, isAtMost: thd === 0 },
      harmonicPowers: thd === 0 ? null : [2, 3, 4, 5, 6, 7, 8, 9].map(power),
      samplePeakFs: 0.5,
    }
  })
}

test('one low step that noise has pulled down leaves it clean, and hard clipping hard clipping', () => {
  for (const [cutDbfs, kind] of [
    [3, 'clean'],
    [-5.36, 'hard clipping'],
  ] as const) {
    const read = steps(cutDbfs)
    const pulled = read.map((step, k) => (k === 1 ? { ...step, gainDb: -0.15, gainDbU: 0.05 } : step))
    const [clean, noisy] = [read, pulled].map((some) => departureOf(some, 1, LIMITS))
    expect(noisy.kind).toBe(kind)
    expect(noisy.highestClean).toEqual(clean.highestClean)
    expect(noisy.compressionPoints).toEqual(clean.compressionPoints)
  }
})

// A line that is 0.014 dB off shifts the cut that every step tells, all the same way: more steps do not make it surer.
test('the level of a cut is no surer than the straight line that all steps are held against', () => {
  const truth = departureOf(steps(-4), 1, LIMITS).highestClean!
  for (const lineDb of [0.014, -0.014]) {
    const { sourceDbfs, sourceDbU } = departureOf(steps(-4, lineDb, 0.014), 1, LIMITS).highestClean!
    expect(Math.abs(sourceDbfs - truth.sourceDbfs)).toBeLessThan(2 * sourceDbU)
    expect(sourceDbU).toBeGreaterThan(0.7 * Math.abs(sourceDbfs - truth.sourceDbfs))
  }
})
