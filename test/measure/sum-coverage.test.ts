/**
 * Whether the uncertainties of an electrical sum's delay and gain are true: over 300 seeded takes of noise at 80 dB, value ± 2 u
 * has to hold the truth in 94 to 97 % of cases. Allowed: that, plus and minus three binomial standard deviations of 300.
 */

import { expect, test } from 'vitest'
import { electricalSum, type SumPart } from '../../src/measure/electrical-sum.js'
import { butterworth, type Filter, linkwitzRiley } from '../kit/biquad.js'
import { noiseTransfers, swapped, wireWith } from '../kit/grid-noise.js'
import { isLong } from '../long.js'

const RATE_HZ = 48_000
const COUNT = isLong ? 300 : 150
const POOL = noiseTransfers(COUNT, 101)
/** Three octaves about the crossover: what lies outside tells nothing of delay, and little of gain. */
const BAND = { bandHz: [1000, 9000] } as const

const part = (noise: (typeof POOL)[number] | null, filter: Filter, delayS: number, gain: number): SumPart => ({
  outputNumber: 1,
  transfer: { ...wireWith(noise, { filter, delayS, left: gain }, -80), centreS: 0.01 },
  gainVrms: 1,
  leftGain: 1,
  rightGain: 0,
})

const halves = (make: (kind: 'low' | 'high') => Filter): [Filter, Filter] => [make('low'), make('high')]

test.each([
  { name: 'Linkwitz-Riley', isFlat: true, filters: halves((kind) => linkwitzRiley(kind, 4, 3000, RATE_HZ)) },
  { name: 'Butterworth', isFlat: false, filters: halves((kind) => butterworth(kind, 4, 3000, RATE_HZ)) },
])('delay and gain of $name halves cover the truth', ({ isFlat, filters: [lower, upper] }) => {
  const summed = (noise: (typeof POOL)[number] | null): ReturnType<typeof electricalSum> =>
    electricalSum([part(noise, lower, 0.01, 1), part(noise && swapped(noise), upper, 0.0103, -0.7)], BAND)
  // Truth: the closed form where the sum can be flat; elsewhere what comes out without noise.
  const { settings, isInPhase } = summed(null)
  expect(isInPhase).toBe(isFlat)
  if (isFlat) {
    expect(Math.abs(settings[0].extraDelayS! + 0.0003)).toBeLessThan(1e-12)
    expect(Math.abs(settings[0].gainDb + 20 * Math.log10(0.7))).toBeLessThan(1e-9)
  }
  let [delays, gains] = [0, 0]
  for (const noise of POOL) {
    const [{ extraDelayS, extraDelayU, gainDb, gainU }] = summed(noise).settings
    if (Math.abs(extraDelayS! - settings[0].extraDelayS!) <= 2 * extraDelayU) delays++
    if (Math.abs(gainDb - settings[0].gainDb) <= 2 * gainU) gains++
  }
  for (const inside of [delays, gains]) {
    expect(inside / COUNT).toBeGreaterThan(0.94 - 3 * Math.sqrt((0.94 * 0.06) / COUNT))
    expect(inside / COUNT).toBeLessThan(0.97 + 3 * Math.sqrt((0.97 * 0.03) / COUNT))
  }
})
