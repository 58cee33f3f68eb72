/**
 * One wire from samples to figures, and what must not change when the same thing is said in another way.
 *
 * Doubling is exact in binary floating point, so "nothing else moves" can be asked for to the last bit.
 */
import { describe, expect, test } from 'vitest'
import { analyseInput } from '../../src/measure/analyse.js'
import type { NoiseReading, Transfer } from '../../src/measure/analysis.js'
import { gridIndex } from '../../src/measure/grid.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import { locate } from '../../src/measure/locate.js'
import { sweepReference } from '../../src/measure/transfer.js'
import { sectionsOf, TONE_HZ, TONE_PEAK_FS } from '../../src/stimulus/layout.js'
import { hiss } from '../kit/random.js'
import { audioOf, clipped, delayed, mixed, placeOf, playTrack, scaled, shaped, summed } from '../kit/track.js'

const RATE_HZ = 48_000
const played = playTrack({ leadInS: 0.5, tailS: 0.5, ppm: 60 })
const located = placeOf(played)
const reference = sweepReference(located)
const noise = hiss(played.left.length, 1e-5, 1)
const analysed = (samples: Float64Array): InputAnalysis => analyseInput(Float32Array.from(samples), located, reference)

const clean = summed(mixed(played, 0.2, 0.05), noise)
const base = analysed(clean)

describe('a wire of gain 0.2 from the left and 0.05 from the right', () => {
  test('reads as that in every figure', () => {
    const { transfer, tones, left, right, idle, present, clippedSampleCount, peakFs } = base
    // Noise of 1e-5 stands 86 dB below a gain of 1 at 20 kHz, so it is 5e-5 and less of it here.
    for (const freqHz of [40, 997, 10_000]) {
      const i = gridIndex(freqHz)
      expect(Math.hypot(transfer.leftRe[i], transfer.leftIm[i])).toBeCloseTo(0.2, 3)
      expect(Math.hypot(transfer.rightRe[i], transfer.rightIm[i])).toBeCloseTo(0.05, 3)
    }
    expect(tones.map(({ freqHz }) => freqHz)).toEqual([...TONE_HZ])
    // Tones are alike on both sides: 0.25 of -3 dBFS. The window is flat to 0.0021 dB.
    for (const { peakFs: toneFs } of tones)
      expect(Math.abs(20 * Math.log10(toneFs / 0.25 / TONE_PEAK_FS))).toBeLessThan(0.0022)
    expect([left?.sign, right?.sign]).toEqual([1, 1])
    expect(Math.abs(left!.delayS)).toBeLessThan(1e-6)
    // White noise of this rms in 20 Hz to 20 kHz, four times its relative uncertainty.
    const truth = 1e-5 * Math.SQRT2 * Math.sqrt(19_980 / 24_000)
    for (const reading of [idle, present]) {
      expect(Math.abs(reading.unweightedFs / truth - 1)).toBeLessThan(4 * reading.relativeU + 0.01)
      expect(reading.hum).toBeNull()
      expect(reading.lines).toEqual([])
    }
    expect(clippedSampleCount).toBe(0)
    expect(peakFs).toBeCloseTo(0.25 * TONE_PEAK_FS, 3)
  })
})

describe('a take that is twice as strong', () => {
  const doubled = analysed(scaled(clean, 2))

  test('has every level doubled, to the last bit', () => {
    const times = (values: Float64Array): Float64Array => values.map((value) => 2 * value)
    const { transfer } = base
    const truth: Transfer = {
      freqHz: transfer.freqHz,
      leftRe: times(transfer.leftRe),
      leftIm: times(transfer.leftIm),
      rightRe: times(transfer.rightRe),
      rightIm: times(transfer.rightIm),
      leftError: times(transfer.leftError),
      rightError: times(transfer.rightError),
      centreS: transfer.centreS,
    }
    expect(doubled.transfer).toEqual(truth)
    expect(doubled.tones.map(({ peakFs }) => peakFs)).toEqual(base.tones.map(({ peakFs }) => 2 * peakFs))
    const levels = ({ unweightedFs, aWeightedFs, bandFs, humFloorFs }: NoiseReading): number[] => [
      unweightedFs,
      aWeightedFs,
      humFloorFs,
      ...bandFs,
    ]
    // Square roots of sums of squares: the same within rounding.
    levels(doubled.idle).forEach((level, i) => {
      expect(level / levels(base.idle)[i]).toBeCloseTo(2, 12)
    })
    expect(doubled.peakFs).toBe(2 * base.peakFs)
  })

  test('has nothing else moved: polarity, delay, distortion, uncertainty', () => {
    for (const side of ['left', 'right'] as const) {
      const { delayS, delayU, sign, confidence, rival } = doubled[side]!
      // Logarithms of the magnitudes come in, whose last bit a factor of two may move.
      expect(sign).toBe(base[side]!.sign)
      expect(delayS).toBeCloseTo(base[side]!.delayS, 13)
      expect(delayU).toBeCloseTo(base[side]!.delayU, 13)
      expect(confidence).toBeCloseTo(base[side]!.confidence, 12)
      expect(rival).toBeCloseTo(base[side]!.rival, 12)
    }
    doubled.tones.forEach(({ thdRatio, thdNRatio, thdRatioFloor }, i) => {
      expect(thdRatio).toBeCloseTo(base.tones[i].thdRatio, 12)
      expect(thdNRatio).toBeCloseTo(base.tones[i].thdNRatio, 12)
      expect(thdRatioFloor).toBeCloseTo(base.tones[i].thdRatioFloor, 12)
    })
    expect(doubled.idle.relativeU).toBeCloseTo(base.idle.relativeU, 12)
  })

  test('is found at the same place and clock', () => {
    const found = locate(audioOf(RATE_HZ, clean), 'take')
    const again = locate(audioOf(RATE_HZ, scaled(clean, 2)), 'take')
    expect(again.startSample).toBe(found.startSample)
    expect(again.samplesPerS).toBeCloseTo(found.samplesPerS, 9)
  })
})

test('a take of opposite polarity has both signs turned and nothing else', () => {
  const turned = analysed(scaled(clean, -1))
  expect([turned.left!.sign, turned.right!.sign]).toEqual([-1, -1])
  expect(turned.left!.delayS).toBeCloseTo(base.left!.delayS, 9)
  expect(turned.tones).toEqual(base.tones)
  expect(turned.idle).toEqual(base.idle)
})

test('a wire that is 5 ms late reads 5 ms more delay and the same levels', () => {
  const late = analysed(summed(delayed(mixed(played, 0.2, 0.05), 240), noise))
  // 240 samples of the capture's clock, 60 ppm off the player's, by which delay is counted.
  expect(late.left!.delayS - base.left!.delayS).toBeCloseTo(240 / played.samplesPerS, 8)
  late.tones.forEach(({ peakFs }, i) => {
    // Noise moves an amplitude of 0.18 over 1.7 s by some 1e-6 of it.
    expect(peakFs / base.tones[i].peakFs).toBeCloseTo(1, 5)
  })
})

test('a source that is 6 dB stronger in front of a bent wire has its second order doubled, its third fourfold', () => {
  // Truth: y = x + a2 x^2 + a3 x^3 has the ratios a2 A / 2 and a3 A^2 / 4 (a3 so small that the fundamental stands).
  const [a2, a3] = [0.02, 0.02]
  const [weak, strong] = [0.2, 0.4].map((gain) => {
    const { peakFs, harmonicsFs } = analysed(shaped(mixed(played, gain / 2, gain / 2), a2, a3)).tones[0]
    return [harmonicsFs[0] / peakFs, harmonicsFs[1] / peakFs]
  })
  // Tolerance: twice the window's flatness, 5e-4, and what 3/4 a3 A^2 adds to the fundamental, 1e-3.
  expect(Math.abs(strong[0] / weak[0] / 2 - 1)).toBeLessThan(2e-3)
  expect(Math.abs(strong[1] / weak[1] / 4 - 1)).toBeLessThan(2e-3)
})

test('samples at full scale are counted where figures are read from, and not in the staircase', () => {
  // At a gain of 1.1 the tones of -3 dBFS stay clear of full scale; the staircase's last steps go over.
  const stairs = analysed(clipped(mixed(played, 0.55, 0.55), 1))
  expect(stairs.clippedSampleCount).toBe(0)
  const over = analysed(clipped(mixed(played, 0.75, 0.75), 1))
  // Truth: a sine of peak 1.5 x 0.708 stands above 1 for 1 - 2 asin(1 / 1.062) / pi of the time, 22 %, over 3 tones of
  // 2 s; sampling and fades take a part of a percent.
  const share = 1 - (2 * Math.asin(1 / (1.5 * TONE_PEAK_FS))) / Math.PI
  const toneS = sectionsOf()
    .filter(({ kind }) => kind === 'tone')
    .reduce((sum, { durationS }) => sum + durationS, 0)
  expect(Math.abs(over.clippedSampleCount / (share * toneS * RATE_HZ) - 1)).toBeLessThan(0.02)
  expect(over.peakFs).toBe(1)
})
