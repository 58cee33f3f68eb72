/** Modulation and difference-frequency distortion of curves whose products are known in closed form. */
import { describe, expect, test } from 'vitest'
import { readDifferenceTones, readModulation } from '../../src/measure/intermodulation.js'
import type { Reading } from '../../src/measure/line-power.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { hiss, uniformFrom, whiteNoise } from '../kit/random.js'
import { mixed, placeOf, playTrack, shaped, sines, summed } from '../kit/track.js'

/** Seeds far from each other: streams of the kit's generator whose seeds are alike may be one stream, a little shifted. */
function seedsFrom(seed: number): () => number {
  const uniform = uniformFrom(seed)
  return () => Math.floor(2 ** 32 * uniform())
}

/** Noise of uniform values: a narrow band of it is as normal as that of normal ones, and it is quickly made. */
function inHiss(clean: Float64Array, rms: number, seed: number): Float32Array {
  const noise = hiss(clean.length, rms, seed)
  const out = new Float32Array(clean.length)
  for (let n = 0; n < out.length; n++) out[n] = clean[n] + noise[n]
  return out
}

const RATE_HZ = 48_000
const COUNT = 0.8 * RATE_HZ
const [MODULATION, DIFFERENCE] = sectionsOf()
  .filter(({ kind }) => kind === 'two_tone')
  .map(({ tones }) => [tones[0], tones[1]] as const)

type Tones = readonly [{ freqHz: number; peak: number }, { freqHz: number; peak: number }]
const playedAs = (tones: Tones) =>
  tones.map(({ freqHz, peak }) => ({ freqHz, peakFs: peak })) as unknown as Parameters<typeof readModulation>[2]

/** Lines stand 60 Hz and more apart, their skirts below -92 dB; the block filter's closed form is good to 0.1 % at its edge. */
const EXACT = 2e-4

/** y = x + a2 x² + a3 x³ of two tones: what lies at the difference and third-order places, and the tones themselves. */
function differenceOf(peak: number, a2: number, a3: number): Tones[number][] {
  const tone = peak + 2.25 * a3 * peak ** 3
  return [
    { freqHz: 19_000, peak: tone },
    { freqHz: 20_000, peak: tone },
    { freqHz: 1000, peak: a2 * peak ** 2 },
    { freqHz: 18_000, peak: 0.75 * a3 * peak ** 3 },
    { freqHz: 21_000, peak: 0.75 * a3 * peak ** 3 },
  ]
}

describe('modulation distortion', () => {
  // Truth: sidebands a2 A1 A2 and 3/4 a3 A1² A2 on a carrier A2 + a3 (3/4 A2³ + 3/2 A1² A2).
  test('of a polynomial is its closed form', () => {
    const tones: Tones = [
      { freqHz: 60, peak: 0.8 },
      { freqHz: 7000, peak: 0.2 },
    ]
    const samples = Float32Array.from(shaped(sines(COUNT, RATE_HZ, tones), 0.01, 0.005))
    const { second, third, rms, tonePeakFs } = readModulation(samples, RATE_HZ, playedAs(tones))!
    expect(Math.abs(100 * second.value - 1.5921190109) / 1.5921190109).toBeLessThan(EXACT)
    expect(Math.abs(100 * third.value - 0.4776357033) / 0.4776357033).toBeLessThan(EXACT)
    expect(Math.abs(100 * rms.value - 1.1753677744) / 1.1753677744).toBeLessThan(EXACT)
    expect(tonePeakFs[1]).toBeCloseTo(0.20099, 5)
  })

  // Truth: IEC 60268-3's arithmetic sums, as another program's test of that standard has them.
  test('of sidebands of 0.02 and 0.01 on a carrier of 0.25 is 0.16 and 0.08', () => {
    const lines = [60, -60, 120, -120].map((away) => ({
      freqHz: 7000 + away,
      peak: Math.abs(away) === 60 ? 0.02 : 0.01,
    }))
    const tones: Tones = [
      { freqHz: 60, peak: 1 },
      { freqHz: 7000, peak: 0.25 },
    ]
    const samples = Float32Array.from(sines(COUNT, RATE_HZ, [...tones, ...lines]))
    const { second, third } = readModulation(samples, RATE_HZ, playedAs(tones))!
    expect(second.value).toBeCloseTo(0.16, 4)
    expect(third.value).toBeCloseTo(0.08, 4)
  })

  test.each([44_100, 96_000])('is the same at %d Hz and with a clock that is off', (rateHz) => {
    const samplesPerS = rateHz * (1 + 300e-6)
    const tones: Tones = [
      { freqHz: 60, peak: 0.8 },
      { freqHz: 7000, peak: 0.2 },
    ]
    const samples = shaped(sines(Math.round(0.8 * rateHz), samplesPerS, tones), 0.01, 0.005)
    const { rms } = readModulation(Float32Array.from(samples), samplesPerS, playedAs(tones))!
    expect(Math.abs(100 * rms.value - 1.1753677744) / 1.1753677744).toBeLessThan(EXACT)
  })
})

describe('difference-frequency distortion', () => {
  // Truth: closed form; d2 and d3 over the sum of the tones as measured.
  test('of a polynomial is its closed form', () => {
    const lines = differenceOf(0.5, 0.01, 0.005)
    const tones: Tones = [
      { freqHz: 19_000, peak: 0.5 },
      { freqHz: 20_000, peak: 0.5 },
    ]
    const samples = Float32Array.from(sines(COUNT, RATE_HZ, lines))
    const { second, third, rms } = readDifferenceTones(samples, RATE_HZ, playedAs(tones))!
    expect(Math.abs(100 * second.value - 0.249298847) / 0.249298847).toBeLessThan(EXACT)
    expect(Math.abs(100 * third.value - 0.0934870676) / 0.0934870676).toBeLessThan(EXACT)
    expect(Math.abs(100 * rms.value - 0.257914387) / 0.257914387).toBeLessThan(EXACT)
  })

  // Truth: the same curve, but all of its products; at 48 kHz those above 24 kHz fold to 8 to 12 kHz and 6 kHz.
  test('does not count what folds back', () => {
    const tones: Tones = [
      { freqHz: 19_000, peak: 0.5 },
      { freqHz: 20_000, peak: 0.5 },
    ]
    const samples = Float32Array.from(shaped(sines(COUNT, RATE_HZ, tones), 0.01, 0.005))
    const { rms } = readDifferenceTones(samples, RATE_HZ, playedAs(tones))!
    expect(Math.abs(100 * rms.value - 0.257914387) / 0.257914387).toBeLessThan(EXACT)
  })

  // Truth: products 0.03, and 0.02 twice, on tones of 0.5 each (as above).
  test('of products of 0.03 and 0.02 on tones of 0.5 is 0.03 and 0.04', () => {
    const lines = [
      { freqHz: 1000, peak: 0.03 },
      { freqHz: 18_000, peak: 0.02 },
      { freqHz: 21_000, peak: 0.02 },
    ]
    const tones: Tones = [
      { freqHz: 19_000, peak: 0.5 },
      { freqHz: 20_000, peak: 0.5 },
    ]
    const samples = Float32Array.from(sines(COUNT, RATE_HZ, [...tones, ...lines]))
    const { second, third } = readDifferenceTones(samples, RATE_HZ, playedAs(tones))!
    expect(second.value).toBeCloseTo(0.03, 5)
    expect(third.value).toBeCloseTo(0.04, 5)
  })
})

test('an output that does not carry both tones has neither figure', () => {
  const noise = whiteNoise(COUNT, 1e-5, 1)
  const low = Float32Array.from(summed(sines(COUNT, RATE_HZ, [{ freqHz: 60, peak: 0.5 }]), noise))
  expect(readModulation(low, RATE_HZ, MODULATION)).toBeNull()
  expect(readDifferenceTones(low, RATE_HZ, DIFFERENCE)).toBeNull()
  expect(readModulation(new Float32Array(COUNT), RATE_HZ, MODULATION)).toBeNull()
})

test('a clean output is at most what its noise hides', () => {
  const played = playTrack({ fromS: sectionsOf().at(-3)!.startS })
  const { startSample, samplesPerS } = placeOf(played)
  const [first, second] = sectionsOf().filter(({ kind }) => kind === 'two_tone')
  const wire = mixed(played, 0.4, 0.4)
  const taken = Float32Array.from(summed(wire, whiteNoise(wire.length, 1e-4, 4)))
  const cut = (startS: number) =>
    taken.subarray(
      Math.round(startSample + (startS + 0.12) * samplesPerS),
      Math.round(startSample + (startS + 0.95) * samplesPerS),
    )
  for (const reading of [
    readModulation(cut(first.startS), samplesPerS, MODULATION)!,
    readDifferenceTones(cut(second.startS), samplesPerS, DIFFERENCE)!,
  ]) {
    expect(reading.rms.isAtMost).toBe(true)
    // Noise on a line: 2 sigma sqrt(1.14 / N) = 1.07e-6 rms; four of them and two deviations on tones of 0.11 and more.
    expect(reading.rms.value).toBeLessThan(6e-5)
  }
})

describe('in noise, over 300 seeded takes', () => {
  const share = (readings: readonly Reading[], truth: number): number =>
    readings.filter(({ value, u, isAtMost }) => (isAtMost ? truth <= value : Math.abs(value - truth) <= 2 * u)).length /
    readings.length
  const NOISE_RMS = 0.5e-3
  const [a2, a3] = [0.01, 0.005]

  // 95.4 % less three deviations of a binomial count of 300.
  test('modulation distortion covers the truth', () => {
    const [low, high] = [0.56, 0.14]
    const clean = shaped(
      sines(COUNT, RATE_HZ, [
        { freqHz: 60, peak: low },
        { freqHz: 7000, peak: high },
      ]),
      a2,
      a3,
    )
    const carrier = high + a3 * (0.75 * high ** 3 + 1.5 * low ** 2 * high)
    const [first, other] = [(a2 * low * high) / carrier, (0.75 * a3 * low ** 2 * high) / carrier]
    const seeds = seedsFrom(5)
    const all = Array.from(
      { length: 300 },
      () => readModulation(inHiss(clean, NOISE_RMS, seeds()), RATE_HZ, MODULATION)!,
    )
    expect(
      share(
        all.map(({ second }) => second),
        2 * first,
      ),
    ).toBeGreaterThan(0.918)
    expect(
      share(
        all.map(({ third }) => third),
        2 * other,
      ),
    ).toBeGreaterThan(0.918)
    expect(
      share(
        all.map(({ rms }) => rms),
        Math.SQRT2 * Math.hypot(first, other),
      ),
    ).toBeGreaterThan(0.918)
    // And does not by being wide: the bound of one line is sigma sqrt(2 / N); two of them, window's bandwidth 1.14.
    const bound = (Math.SQRT2 * NOISE_RMS * Math.sqrt((2 * 1.14) / COUNT)) / carrier
    expect(all.reduce((sum, { second }) => sum + second.u, 0) / 300 / bound).toBeLessThan(1.1)
  })

  test('difference-frequency distortion covers the truth', () => {
    const peak = 0.35
    const tone = peak + 2.25 * a3 * peak ** 3
    const clean = sines(COUNT, RATE_HZ, differenceOf(peak, a2, a3))
    const [first, other] = [(a2 * peak ** 2) / (2 * tone), (0.75 * a3 * peak ** 3) / (2 * tone)]
    const seeds = seedsFrom(5)
    const all = Array.from(
      { length: 300 },
      () => readDifferenceTones(inHiss(clean, NOISE_RMS, seeds()), RATE_HZ, DIFFERENCE)!,
    )
    expect(
      share(
        all.map(({ second }) => second),
        first,
      ),
    ).toBeGreaterThan(0.918)
    expect(
      share(
        all.map(({ third }) => third),
        2 * other,
      ),
    ).toBeGreaterThan(0.918)
    expect(
      share(
        all.map(({ rms }) => rms),
        Math.hypot(first, other, other),
      ),
    ).toBeGreaterThan(0.918)
  })
})
