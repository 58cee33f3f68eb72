/**
 * Equalisation found, against sections whose response is known in closed form (W3C Audio EQ Cookbook coefficients on the
 * unit circle, evaluated in test/kit by another road than the fit's).
 *
 * Each point of a curve has 0.002 dB of noise where the curve is highest: the sweep at 80 dB of signal over noise leaves
 * 0.0001 dB at the bottom and 0.003 dB at the top of the band.
 */
import { describe, expect, test } from 'vitest'
import type { EqSection } from '../../src/dsp/cookbook.js'
import { type Equaliser, type FoundSection, findEqualiser, undoCoefficients } from '../../src/measure/equaliser.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { magnitudeDb } from '../kit/biquad.js'
import { biquadOf, curveOf, randomSections } from '../kit/curves.js'

const FULL_RANGE = { lowHz: null, highHz: null } as const
/** What a tuner needs to be told: no knob is finer. */
const TARGET = { gainDb: 0.1, freqShare: 0.01, qShare: 0.05 } as const

const found = (sections: readonly EqSection[], seed = 1): Equaliser =>
  findEqualiser(curveOf({ sections, seed }), FULL_RANGE)!

/** Largest error of any parameter, in targets or in others; infinite where number or kinds differ. */
function errorIn(
  truth: readonly EqSection[],
  { sections }: Equaliser,
  unitsOf: (one: FoundSection) => readonly [number, number, number],
): number {
  if (sections.length !== truth.length) return Number.POSITIVE_INFINITY
  const sorted = [...truth].sort((a, b) => a.freqHz - b.freqHz)
  return Math.max(
    ...sorted.map((one, k) => {
      const { kind, gainDb, freqHz, q } = sections[k]
      if (kind !== one.kind) return Number.POSITIVE_INFINITY
      const [gainUnit, freqUnit, qUnit] = unitsOf(sections[k])
      return Math.max(
        Math.abs(gainDb - one.gainDb) / gainUnit,
        Math.abs(freqHz - one.freqHz) / freqUnit,
        Math.abs(q - one.q) / qUnit,
      )
    }),
  )
}

const errorInTargets = (truth: readonly EqSection[], equaliser: Equaliser): number =>
  errorIn(truth, equaliser, ({ freqHz, q }) => [TARGET.gainDb, TARGET.freqShare * freqHz, TARGET.qShare * q])
const errorInU = (truth: readonly EqSection[], equaliser: Equaliser): number =>
  errorIn(truth, equaliser, ({ gainDbU, freqHzU, qU }) => [gainDbU, freqHzU, qU])

/** How far the found sections together are from the true ones together, level aside: largest distance from the mean. */
function curveErrorDb(truth: readonly EqSection[], { sections }: Equaliser): number {
  const [a, b] = [truth.map(biquadOf), sections.map(biquadOf)]
  const off = [...GRID_HZ]
    .filter((hz) => hz > 20 && hz < 19_000)
    .map((hz) => magnitudeDb(a, hz, 48_000) - magnitudeDb(b, hz, 48_000))
  const mean = off.reduce((sum, value) => sum + value, 0) / off.length
  return Math.max(...off.map((value) => Math.abs(value - mean)))
}

const peak = (gainDb: number, freqHz: number, q: number): EqSection => ({ kind: 'peaking', gainDb, freqHz, q })
const low = (gainDb: number, freqHz: number, q: number): EqSection => ({ kind: 'low_shelf', gainDb, freqHz, q })
const high = (gainDb: number, freqHz: number, q: number): EqSection => ({ kind: 'high_shelf', gainDb, freqHz, q })

describe('sections that are there', () => {
  test.each<[string, EqSection[]]>([
    ['a broad boost in the bass', [peak(4.1, 82, 1.1)]],
    ['a narrow cut', [peak(-9, 2400, 8)]],
    ['a peak at the bottom', [peak(6, 30, 2)]],
    ['a peak at the top', [peak(-5, 12_000, 1.4)]],
    ['both tone controls', [low(6, 90, 0.7), high(-4, 8000, 0.7)]],
    ['a shelf with a peak on its slope', [low(-7, 180, 0.8), peak(5, 260, 2)]],
    ['a cut inside a boost', [peak(8, 400, 0.6), peak(-6, 520, 3)]],
    ['four that overlap', [low(5, 70, 0.9), peak(-4, 160, 1.2), peak(3, 420, 0.9), high(6, 6000, 0.6)]],
    ['a small one beside a large one', [peak(11, 1000, 1), peak(1, 2100, 2.5)]],
  ])('%s: each is found within 0.1 dB of gain, a hundredth of frequency and a twentieth of Q', (_, sections) => {
    const equaliser = found(sections)
    expect(equaliser.isExplained).toBe(true)
    expect(errorInTargets(sections, equaliser)).toBeLessThan(1)
    // Five times the noise, of 490 points; the noise at the top of the curve is the smallest.
    expect(equaliser.residualDb.rms).toBeLessThan(0.02)
  })

  test('one to four sections at random, an octave apart and more, are all found in each of 60 cases', () => {
    // Seeds 1 to 60, none left out. Some cannot be had to the targets: a shelf of 2 dB and Q 0.4 at 44 Hz goes on below the
    // band, where a coupling capacitor is too; then the uncertainty must say so. 720 figures are compared: of as
    // many normal ones the largest is off by 3.4 u, and one by 4.5 u comes once in 200 such runs. Or two shelves
    // look like a shelf and a peak; then both must make one curve, to what the model is trusted to (0.02 dB).
    let overCount = 0
    for (let seed = 1; seed <= 60; seed++) {
      const sections = randomSections(seed, 1)
      const equaliser = found(sections, seed)
      if (errorInTargets(sections, equaliser) < 1) continue
      overCount++
      expect(equaliser.sections.length, `seed ${seed}`).toBeLessThanOrEqual(sections.length)
      const isHonest = errorInU(sections, equaliser) < 4.5 || curveErrorDb(sections, equaliser) < 0.02
      expect(isHonest, `seed ${seed}`).toBe(true)
    }
    expect(overCount).toBeLessThanOrEqual(3)
  })

  test('wherever sections lie on top of each other, what is listed undoes the curve to 0.1 dB', () => {
    // Truth: the curve itself. Here two sections may pass for one: so the sum is looked at, not the parts. Points deep
    // in a cut have their noise raised by as much (25 dB: 0.04 dB), hence 0.1 dB and not the noise at the top.
    let targetCount = 0
    for (let seed = 1; seed <= 40; seed++) {
      const sections = randomSections(seed, 0)
      const equaliser = found(sections, seed)
      expect(equaliser.isExplained, `seed ${seed}`).toBe(true)
      expect(equaliser.sections.length, `seed ${seed}`).toBeLessThanOrEqual(sections.length)
      expect(equaliser.residualDb.worst, `seed ${seed}`).toBeLessThan(0.1)
      if (errorInTargets(sections, equaliser) < 1) targetCount++
    }
    expect(targetCount).toBeGreaterThanOrEqual(36)
  })
})

describe('what is listed', () => {
  const sections = [low(4, 100, 0.7), peak(-6, 1500, 2)]
  const equaliser = found(sections)

  test('the undoing sections make the curve flat at their own rate', () => {
    // Truth: H times 1/H. Tolerance: the target of 0.1 dB for each of two sections; shapes fall off from there.
    const undo = undoCoefficients(equaliser.sections, 48_000).map(({ b, a }) => ({ b, a: [a[1], a[2]] as const }))
    const { freqHz, levelDb } = curveOf({ sections, couplingHz: 0, noiseDb: 0 })
    for (let i = 0; i < freqHz.length; i++) {
      if (freqHz[i] > 19_000) continue
      expect(Math.abs(levelDb[i] + 3 + magnitudeDb(undo, freqHz[i], 48_000))).toBeLessThan(0.02)
    }
  })

  test('a shelf is named by where it leaves the larger part of the band alone, since level is free', () => {
    // A high shelf at 100 Hz is a low one of the opposite gain and 4 dB of level (closed form).
    const turned = found([high(-4, 100, 0.7), peak(-6, 1500, 2)])
    expect(turned.sections.map(({ kind }) => kind)).toEqual(['low_shelf', 'peaking'])
    expect(turned.sections[0].gainDb).toBeCloseTo(4, 1)
    expect(turned.levelDb - equaliser.levelDb).toBeCloseTo(-4, 1)
  })

  test('a curve that few sections cannot follow is called unexplained, and nothing is listed', () => {
    const { freqHz, levelDb, uDb } = curveOf({})
    // A reflection 0.7 ms late: a comb of some twenty teeth.
    const comb = levelDb.map((level, i) => level + 10 * Math.log10(1.3 + Math.cos(2 * Math.PI * freqHz[i] * 7e-4)))
    const equaliser = findEqualiser({ freqHz, levelDb: comb, uDb, noiseWidthHz: 0 }, FULL_RANGE)!
    expect(equaliser.isExplained).toBe(false)
    expect(equaliser.sections).toEqual([])
    expect(equaliser.residualDb.worst).toBeGreaterThan(3)
  })

  test('less than an octave to be read gives nothing at all', () => {
    const { freqHz, levelDb } = curveOf({})
    const uDb = freqHz.map((hz) => (hz > 1000 && hz < 1500 ? 0.01 : 3))
    expect(findEqualiser({ freqHz, levelDb, uDb, noiseWidthHz: 0 }, FULL_RANGE)).toBeNull()
  })

  test('a cliff at the top, as a lossy source leaves it, is not equalisation', () => {
    const { freqHz, levelDb, uDb } = curveOf({ sections: [peak(5, 500, 1)] })
    const cut = levelDb.map((level, i) => (freqHz[i] > 15_500 ? level - 70 : level))
    const equaliser = findEqualiser({ freqHz, levelDb: cut, uDb, noiseWidthHz: 0 }, FULL_RANGE)!
    expect(errorInTargets([peak(5, 500, 1)], equaliser)).toBeLessThan(1)
    expect(equaliser.toHz).toBeLessThan(15_500)
  })
})
