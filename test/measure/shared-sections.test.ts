/** Sections of several outputs told apart: common to all, or of one alone. Curves are closed forms with 0.002 dB of noise. */
import { describe, expect, test } from 'vitest'
import type { EqSection } from '../../src/dsp/cookbook.js'
import { findEqualiser } from '../../src/measure/equaliser.js'
import { type OutputSections, sharedSections } from '../../src/measure/shared-sections.js'
import { butterworth, type Filter } from '../kit/biquad.js'
import { curveOf } from '../kit/curves.js'

const RATE_HZ = 48_000
const bass: EqSection = { kind: 'low_shelf', gainDb: 6, freqHz: 100, q: 0.7 }
const treble: EqSection = { kind: 'high_shelf', gainDb: 4, freqHz: 8000, q: 0.7 }
const own: EqSection = { kind: 'peaking', gainDb: -5, freqHz: 900, q: 2 }

interface Band {
  readonly filter: Filter
  readonly lowHz: number | null
  readonly highHz: number | null
}
const FULL: Band = { filter: [], lowHz: null, highHz: null }
const SUB: Band = { filter: butterworth('low', 4, 80, RATE_HZ), lowHz: null, highHz: 80 }
const TWEETER: Band = { filter: butterworth('high', 4, 3000, RATE_HZ), lowHz: 3000, highHz: null }

function output(outputNumber: number, sections: readonly EqSection[], { filter, lowHz, highHz }: Band): OutputSections {
  const curve = curveOf({ sections, filter, seed: outputNumber })
  const band = { lowHz, highHz }
  return { outputNumber, curve, band, equaliser: findEqualiser(curve, band)! }
}

test('a tone control in front of all outputs is one section of all, factory equalisation one of its own', () => {
  const shared = sharedSections([
    output(1, [bass, own], FULL),
    output(2, [bass], FULL),
    output(3, [bass], FULL),
    output(4, [bass], FULL),
  ])
  expect(shared.map(({ outputNumbers, lackingNumbers }) => [outputNumbers, lackingNumbers])).toEqual([
    [[1, 2, 3, 4], []],
    [[1], [2, 3, 4]],
  ])
  const { gainDb, freqHz, q, kind } = shared[0].section
  expect(kind).toBe('low_shelf')
  expect([Math.abs(gainDb - 6) < 0.05, Math.abs(freqHz - 100) < 0.5, Math.abs(q - 0.7) < 0.01]).toEqual([
    true,
    true,
    true,
  ])
})

describe('outputs with a band of their own', () => {
  test('show what of a shared section reaches into their band, and are silent about the rest', () => {
    const sections = [bass, treble]
    const shared = sharedSections([
      output(1, sections, FULL),
      output(2, sections, FULL),
      output(5, sections, SUB),
      output(6, sections, TWEETER),
    ])
    const [low, high] = [
      shared.find(({ section }) => section.freqHz < 200)!,
      shared.find(({ section }) => section.freqHz > 5000)!,
    ]
    // The shelf at 100 Hz changes by 3 dB over the subwoofer's band, though its middle lies above it.
    expect(low.outputNumbers).toEqual([1, 2, 5])
    expect(low.unseenNumbers).toEqual([6])
    expect(high.outputNumbers).toEqual([1, 2, 6])
    expect(high.unseenNumbers).toEqual([5])
  })

  test('that would show it and do not, lack it', () => {
    const shared = sharedSections([output(1, [bass], FULL), output(2, [bass], FULL), output(5, [], SUB)])
    expect(shared).toHaveLength(1)
    expect(shared[0].outputNumbers).toEqual([1, 2])
    expect(shared[0].lackingNumbers).toEqual([5])
  })
})

test('sections that differ by more than their uncertainty are two', () => {
  const other = { ...bass, gainDb: 5 }
  const shared = sharedSections([output(1, [bass], FULL), output(2, [other], FULL)])
  expect(shared.map(({ outputNumbers }) => outputNumbers)).toEqual([[1], [2]])
})

test('a pair with the same factory section has it together, and the third output lacks it', () => {
  const shared = sharedSections([output(1, [own], FULL), output(2, [own], FULL), output(3, [], FULL)])
  expect(shared.map(({ outputNumbers, lackingNumbers }) => [outputNumbers, lackingNumbers])).toEqual([[[1, 2], [3]]])
})

test('outputs that nothing explains take no part', () => {
  const comb = output(3, [], FULL)
  const levelDb = comb.curve.levelDb.map(
    (level, i) => level + 10 * Math.log10(1.3 + Math.cos(2 * Math.PI * comb.curve.freqHz[i] * 7e-4)),
  )
  const curve = { ...comb.curve, levelDb }
  const unexplained = { ...comb, curve, equaliser: findEqualiser(curve, comb.band)! }
  const shared = sharedSections([output(1, [bass], FULL), output(2, [bass], FULL), unexplained])
  expect(
    shared.map(({ outputNumbers, lackingNumbers, unseenNumbers }) => [outputNumbers, lackingNumbers, unseenNumbers]),
  ).toEqual([[[1, 2], [], []]])
})
