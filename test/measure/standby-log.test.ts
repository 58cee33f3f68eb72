import { expect, test } from 'vitest'
import {
  cleaned,
  daysToFlat,
  edgeOf,
  type LogPoint,
  median,
  resolutionOf,
  settledLevel,
} from '../../src/measure/standby-log.js'
import { normalFrom, uniformFrom } from '../kit/random.js'

const every = (intervalS: number, endS: number, at: (timeS: number) => number | null): LogPoint[] =>
  Array.from({ length: Math.floor(endS / intervalS) + 1 }, (_, i) => ({ atS: i * intervalS, value: at(i * intervalS) }))
const REMOTE = { highMin: 7, lowMax: 2 }

// Truth: 50 mA for 30 days are 36 Ah (50e-3 × 30 × 24); 70 Ah, half of it usable, at 20.4 mA: 35 / 0.0204 / 24.
test('a battery lasts its usable charge over what is drawn', () => {
  expect(daysToFlat(36, 1, 0.05)).toBeCloseTo(30, 12)
  expect(daysToFlat(70, 0.5, 0.0204)).toBeCloseTo(71.4869, 4)
  expect(() => daysToFlat(70, 0.5, 0)).toThrow('draws no battery flat')
})

// Truth: the edge is set; polled every T its error is even over T, u = T / sqrt 12 (GUM 4.3.7). Of an even error 100 % lie
// within 2 u = 0.577 T, because they end at 0.5 T; the root mean square is what u says, and 2000 of them tell it to 2 %.
test('an edge lies where it is set, with the uncertainty of the time between readings', () => {
  const uniform = uniformFrom(7)
  const errors = Array.from({ length: 2000 }, () => {
    const trueS = 10 + uniform()
    const edge = edgeOf(
      every(1, 30, (t) => (t < trueS ? 12 : 0.1)),
      'low',
      REMOTE,
    )!
    expect(edge.u).toBeCloseTo(1 / Math.sqrt(12), 12)
    return (edge.atS - trueS) ** 2
  })
  expect(Math.sqrt(errors.reduce((a, b) => a + b) / errors.length) * Math.sqrt(12)).toBeCloseTo(1, 1)
})

test('a line that dips once, or stays between the thresholds, has not fallen', () => {
  const dips = every(1, 30, (t) => (t === 5 ? 0 : t >= 10 && t < 20 ? 4 : t < 10 ? 12 : 0))
  expect(edgeOf(dips, 'low', REMOTE)).toEqual({ atS: 19.5, u: 1 / Math.sqrt(12) })
  expect(
    edgeOf(
      every(1, 30, () => 12),
      'low',
      REMOTE,
    ),
  ).toBeNull()
  expect(
    edgeOf(
      every(1, 30, () => 0),
      'low',
      REMOTE,
    ),
  ).toEqual({ atS: 0, u: 0 })
})

const asleep = (t: number): number => (t < 45 ? 0.35 : t < 65 ? 0.12 : t < 90 ? 0.03 : 0.0004)

test('overloads, wild readings at a range change and gaps are counted and not averaged in', () => {
  const log = every(1, 240, (t) => (t === 45 ? 1.2 : t === 65 || t === 150 ? null : t === 90 ? 0.3 : asleep(t))).filter(
    ({ atS }) => atS <= 180 || atS >= 200,
  )
  const clean = cleaned(log, 5e-6)
  expect(clean.jumpCount).toBe(4)
  expect(clean.gaps).toEqual([{ fromS: 180, toS: 200 }])
  const settled = settledLevel(clean.points, 5e-6)!
  expect(settled.level).toBe(0.0004)
  expect(settled.fromS).toBe(91)
})

test('what still falls, or has just begun, has not settled', () => {
  expect(
    settledLevel(
      cleaned(
        every(1, 200, (t) => 0.05 * Math.exp(-t / 60)),
        5e-6,
      ).points,
      5e-6,
    ),
  ).toBeNull()
  expect(
    settledLevel(
      cleaned(
        every(1, 40, () => 0.0004),
        5e-6,
      ).points,
      5e-6,
    ),
  ).toBeNull()
})

// Truth: the level of the seeded noise. Of 1000 logs 94 to 97 % within 2 u, with sqrt(0.05 × 0.95 / 1000) = 0.7 % for chance.
test('the settled level covers the truth as often as its uncertainty says', () => {
  const normal = normalFrom(3)
  const isCovered = Array.from({ length: 1000 }, () => {
    const log = every(1, 240, (t) => asleep(t) * (1 + 0.02 * normal()))
    const settled = settledLevel(cleaned(log, 5e-6).points, 5e-6)!
    return Math.abs(settled.level - 0.0004) <= 2 * Math.hypot(settled.spreadU, settled.driftU)
  })
  const share = isCovered.filter(Boolean).length / isCovered.length
  expect(share).toBeGreaterThan(0.933)
  expect(share).toBeLessThan(0.977)
})

test('the resolution of a meter shows in the digits of its readings', () => {
  expect([resolutionOf([0.35, 0.12, 0]), resolutionOf([0.0004012, 0.0004013])]).toEqual([0.01, 1e-7])
  expect([resolutionOf([0, 0]), resolutionOf([Math.PI / 1e4])]).toEqual([null, 0])
})

test('a median of an even count is the mean of the two in the middle', () => {
  expect([median([3, 1, 2]), median([4, 1, 3, 2])]).toEqual([2, 2.5])
})
