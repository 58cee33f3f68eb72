import { describe, expect, test } from 'vitest'
import { type ElectricalSum, electricalSum, type SumPart } from '../../src/measure/electrical-sum.js'
import { butterworth, type Filter, linkwitzRiley } from '../kit/biquad.js'
import { noiseTransfers, swapped, type Wire, wireWith } from '../kit/grid-noise.js'

const RATE_HZ = 48_000
const POOL = noiseTransfers(20, 71)

const part = (
  outputNumber: number,
  wire: Wire,
  noise: (typeof POOL)[number] | null = null,
  errorDb = -80,
): SumPart => ({
  outputNumber,
  transfer: wireWith(noise, { delayS: 0.01, ...wire }, errorDb),
  gainVrms: 2,
  leftGain: 1,
  rightGain: 0,
})

const low = (freqHz: number): Filter => linkwitzRiley('low', 4, freqHz, RATE_HZ)
const high = (freqHz: number): Filter => linkwitzRiley('high', 4, freqHz, RATE_HZ)
const levelAt = (sum: ElectricalSum, freqHz: number): number =>
  sum.levelDbv[sum.freqHz.findIndex((hz) => hz >= freqHz - 1e-6)]

describe.each([80, 300, 1000, 3000, 6000])('a crossover at %d Hz', (freqHz) => {
  test('of Linkwitz-Riley filters sums flat as it stands', () => {
    const sum = electricalSum([part(1, { filter: low(freqHz) }), part(2, { filter: high(freqHz) })])
    // Closed form: fourth-order Linkwitz-Riley halves sum to an all-pass, and stay one through the bilinear transform.
    expect(sum.asItStands.rmsDb).toBeLessThan(1e-9)
    expect(Math.abs(sum.asItStands.worstDb)).toBeLessThan(1e-9)
    // 2 V for full scale.
    expect(levelAt(sum, 1000)).toBeCloseTo(20 * Math.log10(2), 9)
    expect(sum.isInPhase).toBe(true)
    const [tweeter] = sum.settings
    expect(tweeter.isTurned).toBe(false)
    expect(Math.abs(tweeter.extraDelayS!)).toBeLessThan(1e-9)
    expect(Math.abs(tweeter.gainDb)).toBeLessThan(1e-6)
    // With one half turned nothing is left at the crossover.
    expect(tweeter.turnedAlone.worstDb).toBeLessThan(-15)
    expect(Math.abs(tweeter.turnedAlone.worstHz / freqHz - 1)).toBeLessThan(0.015)
    expect(tweeter.rivalRmsDb).toBeGreaterThan(0.1)
  })

  test('of Butterworth filters sums to 3 dB at the crossover', () => {
    const [lower, upper] = (['low', 'high'] as const).map((kind) => butterworth(kind, 4, freqHz, RATE_HZ))
    const sum = electricalSum([part(1, { filter: lower }), part(2, { filter: upper })])
    // Closed form: two halves of -3 dB in phase, sqrt 2 of the plateau. The nearest grid point lies within 1/96 octave, where
    // |low| + |high| = (1 + x^4) / sqrt(1 + x^8) has fallen by 8 (ln x)^2, x = 2^(1/96): 0.0036 dB.
    const peak = Math.max(...sum.levelDbv)
    expect(Math.abs(peak - 20 * Math.log10(2) - 3.0103)).toBeLessThan(0.004)
    expect(Math.abs(sum.asItStands.worstHz / freqHz - 1)).toBeLessThan(0.015)
    // No setting makes it flat, but some make it less uneven than it stands.
    expect(sum.flattest.rmsDb).toBeLessThan(0.5 * sum.asItStands.rmsDb)
    expect(sum.isInPhase).toBe(false)
  })

  test('with the tweeter inverted is turned', () => {
    const sum = electricalSum([part(1, { filter: low(freqHz) }), part(2, { filter: high(freqHz), left: -1 })])
    expect(sum.settings[0].isTurned).toBe(true)
    expect(sum.settings[0].turnedAlone.rmsDb).toBeLessThan(1e-9)
    expect(Math.abs(sum.settings[0].extraDelayS!)).toBeLessThan(1e-9)
    expect(sum.flattest.rmsDb).toBeLessThan(1e-6)
  })
})

test('second-order Linkwitz-Riley halves want one of them turned', () => {
  // Closed form: (1 - x²) over the same denominator: an all-pass of the difference, a notch of the sum.
  const [lower, upper] = (['low', 'high'] as const).map((kind) => linkwitzRiley(kind, 2, 2000, RATE_HZ))
  const sum = electricalSum([part(1, { filter: lower }), part(2, { filter: upper })])
  expect(sum.asItStands.worstDb).toBeLessThan(-20)
  expect(sum.settings[0].isTurned).toBe(true)
  expect(sum.flattest.rmsDb).toBeLessThan(1e-6)
})

describe('at 80 dB of signal over noise', () => {
  test.each([1000, 3000, 6000])('a tweeter at %d Hz that is 0.3 ms late and 3.1 dB low is found', (freqHz) => {
    for (const noise of POOL) {
      const woofer = part(1, { filter: low(freqHz) }, noise)
      const tweeter = part(2, { filter: high(freqHz), delayS: 0.0103, left: -0.7 }, swapped(noise))
      const [{ extraDelayS, gainDb, isTurned }] = electricalSum([woofer, tweeter]).settings
      expect(isTurned).toBe(true)
      // What is asked for: 1 us and 0.01 dB.
      expect(Math.abs(extraDelayS! + 0.0003)).toBeLessThan(1e-6)
      expect(Math.abs(gainDb + 20 * Math.log10(0.7))).toBeLessThan(0.01)
    }
  })

  test('a subwoofer that is 4 ms late is found, half a period of its crossover', () => {
    const front = part(1, { filter: high(80) }, POOL[0])
    const sub = part(2, { filter: low(80), delayS: 0.014 }, swapped(POOL[0]))
    const [{ extraDelayS, extraDelayU, isTurned }] = electricalSum([front, sub]).settings
    expect(isTurned).toBe(false)
    expect(Math.abs(extraDelayS! + 0.004)).toBeLessThan(4 * extraDelayU)
    expect(extraDelayU).toBeLessThan(1e-6)
  })

  test('three ways are set one by one, whatever their order', () => {
    // The mid carries the phase of the upper crossover too, the woofer does not: flat to 0.02 dB, not wholly.
    const ways = [
      part(1, { filter: low(200) }, POOL[0]),
      part(2, { filter: high(4000), delayS: 0.0102, left: -1 }, POOL[1]),
      part(3, { filter: [...high(200), ...low(4000)], delayS: 0.0105, left: 1.2 }, POOL[2]),
    ]
    const sum = electricalSum(ways)
    expect(sum.settings.map(({ outputNumber }) => outputNumber)).toEqual([2, 3])
    const [tweeter, mid] = sum.settings
    expect([tweeter.isTurned, mid.isTurned]).toEqual([true, false])
    expect(mid.gainDb).toBeCloseTo(-20 * Math.log10(1.2), 2)
    // Closed form: far above its lower corner the mid's high-pass still turns its phase by 2 sqrt 2 × 200 / 4000 rad, which at
    // 4 kHz is 5.6 us; the tweeter is to follow that, as far as it helps.
    expect(Math.abs(tweeter.extraDelayS! - mid.extraDelayS! - 0.0003)).toBeLessThan(5.7e-6)
    expect(sum.flattest.rmsDb).toBeLessThan(0.02)
  })
})

test('outputs that nowhere sound together get their gain, but no delay', () => {
  const sum = electricalSum([part(1, { filter: low(80) }), part(2, { filter: high(3000), left: 0.5 })])
  const [setting] = sum.settings
  expect(setting.extraDelayS).toBeNull()
  expect(setting.isTurned).toBe(false)
  // Closed form: twice the level. Both plateaus end at -3 dB points of like filters, but their flat parts differ in length.
  expect(Math.abs(setting.gainDb - 20 * Math.log10(2))).toBeLessThan(0.5)
})

test('the centre that each response was read about does not matter', () => {
  const at = (centreS: number): SumPart => {
    const tweeter = part(2, { filter: high(3000), delayS: 0.0103 })
    return { ...tweeter, transfer: { ...tweeter.transfer, centreS } }
  }
  const delays = [0.01, 0.0103, 0.0107].map(
    (centreS) => electricalSum([part(1, { filter: low(3000) }), at(centreS)]).settings[0].extraDelayS!,
  )
  for (const delayS of delays) expect(Math.abs(delayS + 0.0003)).toBeLessThan(1e-9)
})

test('a band that is given is the one that is looked at', () => {
  const sum = electricalSum([part(1, { filter: low(3000) }), part(2, { filter: high(3000) })], { bandHz: [500, 8000] })
  expect(Math.abs(sum.lowHz / 500 - 1)).toBeLessThan(0.008)
  expect(Math.abs(sum.highHz / 8000 - 1)).toBeLessThan(0.008)
})

test('one output alone, and a band without width, are refused', () => {
  expect(() => electricalSum([part(1, {})])).toThrow('electricalSum: 1 parts, want two or more')
  expect(() => electricalSum([part(1, {}), part(2, {})], { bandHz: [1000, 1050] })).toThrow(
    'electricalSum: 4 grid points, want a quarter octave',
  )
})
