import { describe, expect, test } from 'vitest'
import { fullScaleOf, type ReadingPoint, type VoltsReading } from '../../src/rig/full-scale.js'
import { normalFrom, uniformFrom } from '../kit/random.js'

const METER = { accuracyPct: 1, accuracyVrms: 0.005 }
const DB = 20 / Math.LN10
const reading = (meterVrms: number, peakFs: number, restRatio = 0): VoltsReading => ({ meterVrms, peakFs, restRatio })
const point = (freqHz: number, ...readings: readonly VoltsReading[]): ReadingPoint => ({ freqHz, readings })
const uOf = (found: ReturnType<typeof fullScaleOf>, source: string): number =>
  found.budget.find((part) => part.source === source)?.u ?? 0

// Closed form: 2 V rms where the capture shows half of full scale are 4 V rms for all of it.
test('full scale is the rms of the sine that would just reach it', () => {
  const found = fullScaleOf([point(997, reading(2, 0.5), reading(2, 0.5))], METER)
  expect(found.fullScaleVrms).toBeCloseTo(4, 12)
  expect(found.points[0]).toMatchObject({ freqHz: 997, meterVrms: 2, readingCount: 2, spreadDb: 0 })
  expect(found.points[0].levelDbfs).toBeCloseTo(-6.0206, 4)
})

// Closed form of each contribution; the meter's is the specification example "2.000 V AC, 1.0 % + 5 counts of 1 mV":
// a = 0.025 V, u = a / √3 = 0.0144338 V, of 2 V, in dB 8.68589 × 0.0072169 = 0.062686.
describe('the budget', () => {
  const low = point(997, reading(0.2, 0.05 * 10 ** (0.5 / 20)))
  const other = point(6300, reading(2, 0.5 * 10 ** (-0.05 / 20)))
  const spread = [0, 0.01, -0.01, 0.02, -0.02].map((db) => reading(2 * 10 ** (db / 20), 0.5, 0.01))
  const found = fullScaleOf([point(997, ...spread), low, other], METER)

  test('has the meter specification as a rectangular limit', () => {
    expect(uOf(found, 'meter specification')).toBeCloseTo(0.062686, 5)
  })

  test('has the spread of the readings, less for many of them', () => {
    // s² = 2 (0.01² + 0.02²) / 4; of the mean of five: √(2.5e-4 / 5).
    expect(uOf(found, 'repeatability')).toBeCloseTo(Math.sqrt(2.5e-4 / 5), 9)
    expect(found.budget.find(({ source }) => source === 'repeatability')!.dof).toBe(4)
  })

  test('has what other levels and frequencies differ by', () => {
    expect(uOf(found, 'linearity between levels')).toBeCloseTo(0.5 / Math.sqrt(3), 9)
    expect(uOf(found, 'response between frequencies')).toBeCloseTo(0.05 / Math.sqrt(3), 9)
  })

  test('has no difference that the scatter and the fixed part of the meter explain', () => {
    // 5 mV weigh 0.217 dB at 0.2 V and 0.022 dB at 2 V: the difference has u = 0.195 dB / √3 = 0.113 dB.
    const near = point(997, reading(0.2, 0.05 * 10 ** (0.2 / 20)))
    expect(uOf(fullScaleOf([point(997, ...spread), near], METER), 'linearity between levels')).toBe(0)
  })

  test('has what hum and noise add to the reading of the meter', () => {
    // A hundredth of the tone's rms beside it raises an rms reading by 10 lg(1 + 1e-4) dB.
    expect(uOf(found, 'hum and noise beside the tone')).toBeCloseTo((10 * Math.log10(1 + 1e-4)) / Math.sqrt(3), 9)
  })

  test('adds up to the expanded uncertainty', () => {
    const u = Math.hypot(...found.budget.map((part) => part.u))
    expect(found.expandedDb).toBeCloseTo(found.k * u, 12)
    // Nearly all from limits: two is the factor.
    expect(found.k).toBeCloseTo(2, 3)
  })

  test('leaves out what is not there', () => {
    const bare = fullScaleOf([point(997, reading(2, 0.5))], METER)
    expect(bare.budget.map(({ source }) => source)).toEqual(['meter specification'])
  })
})

test('few readings of a good meter take a larger factor', () => {
  const spread = [0, 0.1, -0.1].map((db) => reading(2 * 10 ** (db / 20), 0.5))
  const { k, dof } = fullScaleOf([point(997, ...spread)], { accuracyPct: 0.01, accuracyVrms: 0 })
  // JCGM 100:2008, table G.2: 4.53 for two degrees of freedom.
  expect(Math.floor(dof)).toBe(2)
  expect(k).toBeCloseTo(4.53, 2)
})

test('a reading of nothing is a fault of the caller', () => {
  expect(() => fullScaleOf([point(997, reading(0, 0.5))], METER)).toThrow('fullScaleOf: 1 readings at 997 Hz')
})

/**
 * Seeded calibrations whose truth is drawn as the budget assumes it: the meter's error anywhere within its data sheet, the
 * same for all readings; readings that scatter normally; an input whose full scale differs a little with level and frequency.
 * The truth asked for is full scale at any level and frequency between the calibrated ones.
 */
function coverageOf(seedCount: number, meterPct: number, meterVrms: number, spreadDb: number, otherDb: number): number {
  let covered = 0
  for (let seed = 1; seed <= seedCount; seed++) {
    const [even, normal] = [uniformFrom(seed), normalFrom(seed + 1e6)]
    const within = (limit: number): number => limit * (2 * even() - 1)
    const fullScaleVrms = 1 + 7 * even()
    const [gain, offset] = [1 + within(meterPct / 100), within(meterVrms)]
    const [byLevelDb, byFreqDb] = [within(otherDb), within(otherDb)]
    const readings = (peakFs: number, offDb: number, count: number): VoltsReading[] =>
      Array.from({ length: count }, () => {
        const leadVrms = peakFs * fullScaleVrms * 10 ** (offDb / 20)
        return reading((gain * leadVrms + offset) * 10 ** ((spreadDb * normal()) / 20), peakFs)
      })
    const points = [
      point(997, ...readings(0.7, 0, 5)),
      point(997, ...readings(0.07, byLevelDb, 5)),
      point(60, ...readings(0.7, byFreqDb, 5)),
    ]
    const found = fullScaleOf(points, { accuracyPct: meterPct, accuracyVrms: meterVrms })
    const truthDb = DB * Math.log(fullScaleVrms) + even() * byLevelDb + even() * byFreqDb
    if (Math.abs(DB * Math.log(found.fullScaleVrms) - truthDb) <= found.expandedDb) covered++
  }
  return (100 * covered) / seedCount
}

// 95.45 % is aimed at; 2000 cases spread by √(0.95 × 0.05 / 2000) = 0.5 %.
test.each([
  ['meter, level and frequency count alike', 0.2, 0.0005, 0.01, 0.03],
  ['readings scatter little', 0.2, 0.0005, 0.005, 0.03],
  ['level and frequency count most', 0.1, 0.0002, 0.05, 0.05],
  ['level and frequency count most, and scatter less', 0.1, 0.0002, 0.03, 0.05],
])(
  'over 2000 seeded calibrations the interval covers the truth in 94 to 97 % where %s',
  (_, pct, fixed, spread, other) => {
    const coveredPct = coverageOf(2000, pct, fixed, spread, other)
    expect(coveredPct).toBeGreaterThanOrEqual(94)
    expect(coveredPct).toBeLessThanOrEqual(97)
  },
)

// Five readings of a meter that scatters say little of their own spread, and now and then pass for a difference between
// levels: the interval is on the safe side. A meter that counts most covers all, as twice a limit's u goes beyond the limit.
test.each([
  ['scatter counts most', 0.05, 0.0001, 0.05, 0, 98.9],
  ['the meter counts most', 0.5, 0.002, 0.005, 0, 100],
])('it covers more where %s', (_, pct, fixed, spread, other, most) => {
  const coveredPct = coverageOf(2000, pct, fixed, spread, other)
  expect(coveredPct).toBeGreaterThanOrEqual(95)
  expect(coveredPct).toBeLessThanOrEqual(most)
})
