import { describe, expect, test } from 'vitest'
import type { RigInput } from '../../src/rig/rig.js'
import { dbv, vrms, vrmsFromDbv } from '../../src/units/level.js'
import { addLines, type CardSpec, captureInput } from '../../src/vehicle/card.js'
import { dB, fitTone, rmsOf } from './scene.js'

const COUNT = 480_000
const INPUT: RigInput = { fullScaleVrms: vrms(4), padDb: 0, levelUncertaintyDb: 0.1 }
const STILL: CardSpec = { sampleRateHz: 48_000, bits: 24, noiseDbfs: -200, levelErrorDb: 0 }
const sineOf = (peakV: number): Float32Array =>
  Float32Array.from({ length: COUNT }, (_, n) => peakV * Math.sin((2 * Math.PI * 997 * n) / 48_000))
const captured = (volts: Float32Array, card: Partial<CardSpec> = {}, input = INPUT): Float32Array => {
  captureInput(volts, null, input, { ...STILL, ...card }, 1)
  return volts
}

// Truth: ideal quantiser with TPDF dither, q² / 4 against a full-scale sine (Lipshitz, Wannamaker,
// Vanderkooy 1992): 93.3193 dB at 16 bits, 141.4841 dB at 24. The error's variance over 480 000 samples spreads by
// less than sqrt(2 / 480 000) of itself, 0.009 dB; five times that.
describe('whole steps with dither', () => {
  test.each([
    [16, 93.319299],
    [24, 141.484098],
  ] as const)('of %d bits leave a noise of -%d dBFS', (bits, snrDb) => {
    // Float32 holds a 24-bit step only below a half: its error there is a third of the tolerance.
    const silent = captured(new Float32Array(COUNT), { bits })
    expect(Math.abs(dB(rmsOf(silent) * Math.SQRT2) + snrDb)).toBeLessThan(0.045)
    // Rounded, not cut: no constant of half a step. The mean of errors of half a step each spreads by 0.5 / sqrt(COUNT).
    const meanSteps = (silent.reduce((sum, sample) => sum + sample, 0) / COUNT) * 2 ** (bits - 1)
    expect(Math.abs(meanSteps)).toBeLessThan((5 * 0.5) / Math.sqrt(COUNT))
  })

  test('of 16 bits leave the same noise under a full-scale sine', () => {
    const peakV = Math.SQRT2 * 4 * (1 - 2 / 32_768)
    const samples = captured(sineOf(peakV), { bits: 16 })
    const error = samples.map((sample, n) => sample - (1 - 2 / 32_768) * Math.sin((2 * Math.PI * 997 * n) / 48_000))
    expect(Math.abs(dB(rmsOf(error) * Math.SQRT2) + 93.319299)).toBeLessThan(0.045)
  })

  test.each([16, 24] as const)('are whole multiples of 2^-(bits - 1) at %d bits', (bits) => {
    for (const sample of captured(sineOf(3), { bits }).subarray(0, 1000)) {
      expect(Number.isInteger(sample * 2 ** (bits - 1))).toBe(true)
    }
  })
})

describe('full scale', () => {
  // Closed form: a sine of full_scale_vrms at the card peaks at 1; a pad of 20 dB lets ten times that through.
  test.each([
    [4, 0],
    [0.4, 20],
  ])('of %d V behind a pad of %d dB is reached by 4 V at the lead', (fullScaleVrms, padDb) => {
    const input = { ...INPUT, fullScaleVrms: vrms(fullScaleVrms), padDb }
    const samples = captured(sineOf(2 * Math.SQRT2), {}, input)
    expect(fitTone(samples, 997, 48_000).peak).toBeCloseTo(0.5, 6)
  })

  // Closed form: |sin| stays below 1/2 for (2 / pi) arcsin(1/2) = 1/3 of the time.
  test('stops a sine of twice its size for two thirds of the time', () => {
    const samples = captured(sineOf(8 * Math.SQRT2))
    const top = 1 - 2 ** -23
    expect(samples.reduce((max, sample) => Math.max(max, sample), 0)).toBe(top)
    expect(samples.reduce((min, sample) => Math.min(min, sample), 0)).toBe(-1)
    const stopped = samples.filter((sample) => sample >= top || sample <= -1).length
    expect(stopped / COUNT).toBeCloseTo(2 / 3, 3)
  })

  test('of 32-bit samples has no steps, but an end', () => {
    const samples = captured(sineOf(8 * Math.SQRT2), { bits: 32 })
    expect(samples.reduce((max, sample) => Math.max(max, sample), 0)).toBe(1)
    expect(samples.some((sample) => !Number.isInteger(sample * 2 ** 23))).toBe(true)
  })

  test('may be off from what the rig file says', () => {
    const peak = (levelErrorDb: number): number => fitTone(captured(sineOf(1), { levelErrorDb }), 997, 48_000).peak
    expect(dB(peak(0.5) / peak(0))).toBeCloseTo(0.5, 6)
  })
})

// Truth: white noise of a given rms in 19 980 Hz has sqrt(rate / 2 / 19 980) times that over the whole band.
// Its rms over 480 000 samples spreads by 1 / sqrt(2 × 480 000), 0.009 dB; five times that.
describe('noise', () => {
  const wideDb = (sampleRateHz: number): number => dB(Math.sqrt(sampleRateHz / 2 / 19_980))

  test.each([44_100, 48_000, 96_000])('of the card has its level in the audio band at %d Hz', (sampleRateHz) => {
    const samples = captured(new Float32Array(COUNT), { noiseDbfs: -80, sampleRateHz })
    expect(Math.abs(dB(rmsOf(samples) * Math.SQRT2) + 80 - wideDb(sampleRateHz))).toBeLessThan(0.045)
  })

  test('of the output on the lead is added in volts, in front of the pad', () => {
    const volts = new Float32Array(COUNT)
    const input = { ...INPUT, fullScaleVrms: vrms(0.4), padDb: 20 }
    captureInput(volts, { vrms: vrmsFromDbv(dbv(-60)), mute: null }, input, STILL, 1)
    expect(Math.abs(dB(rmsOf(volts) * Math.SQRT2 * 4) + 60 - wideDb(48_000))).toBeLessThan(0.045)
  })

  test('of a muted output is 30 dB lower', () => {
    const mute = Float32Array.from({ length: COUNT }, (_, n) => (n < COUNT / 2 ? 1 : 0))
    const volts = new Float32Array(COUNT)
    captureInput(volts, { vrms: vrmsFromDbv(dbv(-40)), mute }, INPUT, STILL, 1)
    const [open, shut] = [volts.subarray(0, COUNT / 2), volts.subarray(COUNT / 2)].map(rmsOf)
    // Two stretches of half the length: sqrt 2 × sqrt 2 times the spread.
    expect(Math.abs(dB(open / shut) - 30)).toBeLessThan(0.09)
  })

  test('of two inputs has nothing in common', () => {
    const [a, b] = [1, 2].map((seed) => {
      const volts = new Float32Array(COUNT)
      captureInput(volts, null, INPUT, { ...STILL, noiseDbfs: -60 }, seed)
      return volts
    })
    const together = a.reduce((sum, sample, n) => sum + sample * b[n], 0) / COUNT / (rmsOf(a) * rmsOf(b))
    expect(Math.abs(together)).toBeLessThan(5 / Math.sqrt(COUNT))
  })
})

// Closed form: a sine that is added has its own rms and nothing else. Tolerance: Float32 sums, 1e-7 of 0.1 V.
test('lines have the rms, frequency and phase that they are given', () => {
  const volts = new Float32Array(COUNT)
  addLines(volts, [{ freqHz: 120, rms: vrms(0.1), phaseRad: 0.5 }], 0.25, 48_001)
  const { peak, phaseRad } = fitTone(volts, 120, 48_001)
  expect(peak / Math.SQRT2).toBeCloseTo(0.1, 6)
  expect(phaseRad).toBeCloseTo(0.75, 6)
  expect(rmsOf(volts)).toBeCloseTo(0.1, 5)
})
