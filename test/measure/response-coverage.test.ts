/**
 * Whether the stated uncertainties of what is read from responses are true: over 300 seeded takes of noise, value ± 2 u has to
 * hold the truth in 94 to 97 % of cases (a normal error: 95.4 %). The noise comes through the window and the transform that real
 * responses come through, and its level is the one that was read from their quiet stretch.
 *
 * Allowed: 94 to 97 %, plus and minus three binomial standard deviations of as many independent cases as there are.
 */
import { describe, expect, test } from 'vitest'
import { crosstalkCurve } from '../../src/measure/crosstalk.js'
import { fullBandLevel } from '../../src/measure/full-band.js'
import { groupDelayOf } from '../../src/measure/group-delay.js'
import { heardOf } from '../../src/measure/heard.js'
import { smoothed } from '../../src/measure/smoothing.js'
import { volumeChanges } from '../../src/measure/volume.js'
import { noiseTransfers, swapped, wireWith } from '../kit/grid-noise.js'
import { half } from '../long.js'

const HALF = noiseTransfers(150, 91)
/** Left and right noise of one take are independent: each take serves twice. */
const POOL = [...HALF, ...HALF.map(swapped)]
const DELAY_S = 0.0103

class Coverage {
  private inside = 0
  private total = 0

  add(value: number, truth: number, u: number): void {
    this.total++
    if (Math.abs(value - truth) <= 2 * u) this.inside++
  }

  /** @param independent share of the cases that are independent of each other */
  check(independent = 1): void {
    const count = this.total * independent
    const share = this.inside / this.total
    expect(share).toBeGreaterThan(0.94 - 3 * Math.sqrt((0.94 * 0.06) / count))
    expect(share).toBeLessThan(0.97 + 3 * Math.sqrt((0.97 * 0.03) / count))
  }
}

describe.each(half([-80, -60, -40]))('with noise at %d dB', (errorDb) => {
  const responses = POOL.map((noise) => heardOf(wireWith(noise, { delayS: DELAY_S }, errorDb), 1, 0))

  test.each([1, 3, 12, 48] as const)('smoothing over 1/%d octave covers the truth', (fraction) => {
    const [all, low] = [new Coverage(), new Coverage()]
    for (const response of responses) {
      const { freqHz, power, powerU } = smoothed(response, fraction)
      freqHz.forEach((hz, n) => {
        all.add(power[n], 1, powerU[n])
        if (hz < 150) low.add(power[n], 1, powerU[n])
      })
    }
    // Bands do not overlap, but take their edge points from each other, and low down narrow ones share their noise.
    all.check(fraction < 12 ? 0.5 : 0.1)
    low.check(fraction < 12 ? 0.3 : 0.05)
  })

  test('full-band levels cover the truth', () => {
    const [pink, white] = [new Coverage(), new Coverage()]
    for (const response of responses) {
      const { pinkGain, pinkGainU, whiteGain, whiteGainU } = fullBandLevel(response, 20, 20_000)
      pink.add(pinkGain, 1, pinkGain * pinkGainU)
      white.add(whiteGain, 1, whiteGain * whiteGainU)
    }
    pink.check()
    white.check()
  })

  test('group delay covers the truth', () => {
    const [all, low] = [new Coverage(), new Coverage()]
    for (const response of responses) {
      const { freqHz, delayS, delayU } = groupDelayOf(response)
      freqHz.forEach((hz, n) => {
        if (n % 9 !== 0) return
        all.add(delayS[n], DELAY_S, delayU[n])
        if (hz < 150) low.add(delayS[n], DELAY_S, delayU[n])
      })
    }
    // Every ninth point: stretches that do not overlap; low down they share noise.
    all.check(0.8)
    low.check(0.3)
  })
})

test('crosstalk covers the truth where it says a value', () => {
  const coverage = new Coverage()
  for (const noise of POOL) {
    const wire = wireWith(noise, { left: 1, right: 0.01, delayS: DELAY_S }, -70)
    for (const { levelDb, levelDbU, isAtMost } of crosstalkCurve(wire, true)!.curve) {
      expect(isAtMost).toBe(false)
      coverage.add(levelDb, -40, levelDbU)
    }
  }
  coverage.check(0.5)
})

describe.each([-80, -60])('against volume with noise at %d dB', (errorDb) => {
  test('level and shape cover the truth, and no loudness curve is made up', () => {
    const [level, bass, treble] = [new Coverage(), new Coverage(), new Coverage()]
    let found = 0
    POOL.forEach((noise, n) => {
      const other = POOL[(n + 75) % POOL.length]
      const [change] = volumeChanges(
        [
          { setting: 'loud', response: heardOf(wireWith(noise, { delayS: DELAY_S }, errorDb), 1, 0) },
          { setting: 'quiet', response: heardOf(wireWith(other, { delayS: DELAY_S, left: 0.5 }, errorDb), 1, 0) },
        ],
        20,
        20_000,
      )
      level.add(change.levelChangeDb, 20 * Math.log10(0.5), change.levelChangeU)
      bass.add(change.bass!.liftDb, 0, change.bass!.liftU)
      treble.add(change.treble!.liftDb, 0, change.treble!.liftU)
      if (change.hasLoudness) found++
    })
    // Each noise serves in two of the pairs.
    level.check(0.5)
    bass.check(0.5)
    treble.check(0.5)
    expect(found).toBe(0)
  })
})
