import { beforeAll, describe, expect, test } from 'vitest'
import type { Calibration, Feed } from '../../src/rig/calibration.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Bench } from '../../src/rig/roles.js'
import { measureLimits } from '../../src/stages/rig-limits.js'
import { cardOf, GO_ON, hearing, MADE, rigOf } from './rig-card.js'

type Limits = { readonly [Part in 'shorted' | 'looped']: NonNullable<Calibration[Part]> }
const measure = async (bench: Bench, rig: Rig, feed: Feed): Promise<Limits> => {
  const { shorted, looped } = await measureLimits(bench, { rig, feed, made: MADE }, () => {}, GO_ON)
  return { shorted: shorted!, looped: looped! }
}
const RIG = rigOf()

// Truth: what was planted in the card.
describe('a card with faults', () => {
  const FAULTS =
    'noise_dbfs: -95, hum: { freq_hz: 50, level_dbv: -85 }, low_hz: 4, leak_db: -80, distortion: { second_pct: 0.02 }, inputs: { 2: { gain_db: 0.4, delay_us: 12 }, 3: { inverted: true } }'
  let limits: Limits
  let wired: string[]
  beforeAll(async () => {
    const heard = hearing(cardOf(RIG, FAULTS))
    wired = heard.wired
    limits = await measure(heard.bench, RIG, 'both')
  }, 60_000)

  test('is wired shorted, then all in parallel, then one input after the other', () => {
    expect(wired).toEqual(['shorted', '1,2,3 meter null', '1 meter null', '2 meter null', '3 meter null'])
  })

  test('has its noise, hum included', () => {
    // -95 dBFS of hiss, and -85 dBV of hum on 4 V (12.04 dBV): -97.04 dBFS. Together -92.89 dBFS. Input 2 reads 0.4 dB more of
    // the hum only: its noise is made behind its gain.
    const sum = (humDbfs: number): number => 10 * Math.log10(10 ** -9.5 + 10 ** (humDbfs / 10))
    const expected = [sum(-97.04), sum(-96.64), sum(-97.04)]
    limits.shorted.inputs.forEach(({ noiseDbfs, noiseU, humDbfs, isHumAtMost }, k) => {
      // Three times U of hiss that makes half of it: 3 inputs and two figures are tried.
      expect(Math.abs(noiseDbfs - expected[k])).toBeLessThan(1.5 * Math.max(noiseU, 0.05))
      expect(Math.abs(humDbfs - (k === 1 ? -96.64 : -97.04))).toBeLessThan(0.2)
      expect(isHumAtMost).toBe(false)
    })
  })

  test('has the spectrum of white noise in third octaves', () => {
    // Closed form: a band about f of white noise from 0 to 20 kHz holds 0.2316 f / 19 980 of it; far from the hum lines.
    const [{ bandHz, bandDbfs }] = limits.shorted.inputs
    expect(bandHz).toHaveLength(31)
    bandHz.forEach((freqHz, i) => {
      if (freqHz < 900) return
      // At 1 kHz some 230 Hz over 7 s: an rms spreads by 1 / √(4 × 230 × 7), 0.11 dB; three times that, less above.
      expect(Math.abs(bandDbfs[i] - (-95 + 10 * Math.log10((0.2307 * freqHz) / 19_980)))).toBeLessThan(0.35)
    })
  })

  test('has its distortion at the level of the loop', () => {
    // 2 V rms of 4 V, at -3 dBFS tones and scaled to 0.9 of full scale at most: 0.02 % falls with the level, dB for dB.
    for (const { thd, levelDbfs, matchDb } of limits.looped.inputs) {
      // The gain of an input stands in front of its curve.
      const ratio = 2e-4 * 10 ** (levelDbfs / 20)
      expect(matchDb).toBeLessThan(0.41)
      for (const tone of thd) {
        expect(tone.isAtMost).toBe(false)
        expect(Math.abs(tone.ratio - ratio)).toBeLessThan(Math.max(tone.u, 0.01 * ratio))
      }
    }
  })

  test('has its intermodulation', () => {
    // y = x + a2 x²: second harmonic ratio at full scale a2 / 2, so a2 = 4e-4 per full scale. Sidebands of 60 Hz and 7 kHz
    // are a2 A1 A2 each, over A2: √2 a2 A1; A1 is 0.56 of what 0 dBFS gives at the input, here half of full scale.
    const [{ intermodulation, levelDbfs }] = limits.looped.inputs
    const fullFs = 10 ** ((levelDbfs + 3) / 20)
    const smpte = intermodulation.find(({ kind }) => kind === 'smpte')!
    expect(Math.abs(smpte.ratio / (Math.SQRT2 * 4e-4 * 0.56 * fullFs) - 1)).toBeLessThan(0.02)
    expect(intermodulation.map(({ kind }) => kind)).toEqual(['smpte', 'difference'])
  })

  test('has its response', () => {
    for (const { response, responseU } of limits.looped.inputs) {
      for (const { freqHz, deviationDb } of response) {
        const expected = -10 * Math.log10(1 + (4 / freqHz) ** 2)
        expect(Math.abs(deviationDb - expected)).toBeLessThan(Math.max(responseU, 0.01))
      }
    }
  })

  test('has its match, polarity and delay', () => {
    const [first, second, third] = limits.looped.inputs
    // What leaks in from two others at -80 dB adds 2e-4: up to 0.0035 dB with either sign.
    expect(Math.abs(second.matchDb - 0.4)).toBeLessThan(0.005)
    expect([first.polarity, second.polarity, third.polarity]).toEqual([1, 1, -1])
    expect(Math.abs(second.delayS! - 12e-6)).toBeLessThan(Math.max(second.delayU!, 0.3e-6))
    expect(Math.abs(first.delayS!)).toBeLessThan(0.3e-6)
  })

  test('has its crosstalk', () => {
    for (const { inputNumber, crosstalk } of limits.looped.inputs) {
      // The worst of six readings: it is more than each, by up to about its U.
      const expected = -80 + (inputNumber === 2 ? 0.4 : 0)
      expect(crosstalk!.isAtMost).toBe(false)
      expect(Math.abs(crosstalk!.db - expected)).toBeLessThan(1.5 * crosstalk!.u + 0.4)
      expect(crosstalk!.fromInput).not.toBe(inputNumber)
    }
  })
})

describe('a clean card', () => {
  let limits: Limits
  beforeAll(async () => {
    const rig = rigOf('{ count: 2, full_scale_vrms: 4, level_uncertainty_db: 0.1 }', '')
    limits = await measure(cardOf(rig), rig, 'each')
  }, 60_000)

  test('is told as "at most" where only noise is left', () => {
    for (const { isHumAtMost, humDbfs } of limits.shorted.inputs) {
      expect(isHumAtMost).toBe(true)
      expect(humDbfs).toBeLessThan(-125)
    }
    for (const { thd, crosstalk } of limits.looped.inputs) {
      expect(Math.max(...thd.map(({ ratio }) => ratio))).toBeLessThan(1e-6)
      expect(crosstalk).toMatchObject({ isAtMost: true })
      expect(crosstalk!.db).toBeLessThan(-115)
    }
  })

  test('fed one input after the other has no delay to tell', () => {
    expect(limits.looped.inputs.map(({ delayS }) => delayS)).toEqual([null, null])
    expect(limits.looped.inputs.every(({ matchDb }) => Math.abs(matchDb) < 0.001)).toBe(true)
    expect(limits.looped.feed).toBe('each')
  })
})

test('a player that would clip the card is turned down, and one input alone has no crosstalk', async () => {
  const rig = rigOf('{ count: 1, full_scale_vrms: 0.5, level_uncertainty_db: 0.1 }', '')
  const { looped } = await measure(cardOf(rig, 'loop_vrms: 8'), rig, 'both')
  expect(looped.inputs[0]).toMatchObject({ crosstalk: null, matchDb: 0 })
  // Full scale of the track comes to 0.9 at the card, the tones 3 dB below.
  expect(looped.inputs[0].levelDbfs).toBeCloseTo(20 * Math.log10(0.9) - 3, 1)
})
