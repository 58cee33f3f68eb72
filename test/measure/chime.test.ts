/** Chimes as closed forms in seeded noise: what they are is known, and what noise does is known in closed form too. */
import { describe, expect, test } from 'vitest'
import { findChime } from '../../src/measure/chime.js'
import { chimeSpectra, learnNoise, thresholdOf } from '../../src/measure/chime-spectra.js'
import { whiteNoise } from '../kit/random.js'

const RATE_HZ = 48_000
const LEARN_S = 1.5
const NOISE_DBFS = -80
const FADE_S = 0.008

/** Noise of -80 dBFS, 0 Hz to half the rate: 1 is a full-scale sine's rms. */
const noise = (lengthS: number, seed: number): Float32Array =>
  Float32Array.from(whiteNoise(lengthS * RATE_HZ, 10 ** (NOISE_DBFS / 20) / Math.SQRT2, seed))

/** Adds a burst that swells and dies in half a cosine of 8 ms; its edges count from half height. */
function addBurst(samples: Float32Array, atS: number, lengthS: number, freqHz: number, peakFs: number): void {
  const first = Math.round(atS * RATE_HZ)
  for (let i = 0; i < lengthS * RATE_HZ; i++) {
    const timeS = i / RATE_HZ
    const edge = Math.min(1, Math.min(timeS, lengthS - timeS) / FADE_S)
    samples[first + i] += peakFs * 0.5 * (1 - Math.cos(Math.PI * edge)) * Math.sin(2 * Math.PI * freqHz * timeS)
  }
}

function addSine(samples: Float32Array, freqHz: number, peakFs: number): void {
  for (let n = 0; n < samples.length; n++) samples[n] += peakFs * Math.sin((2 * Math.PI * freqHz * n) / RATE_HZ)
}

test('noise alone stands out as often as the threshold says', () => {
  // Truth: P(ratio > x) = (1 + x / K)^-K, set for one of 10,000 cells. Bins and windows that overlap go together by about two,
  // so the count of some 1000 scatters by sqrt(2 × 1000) = 45; three times that, and as much for K, which is cut from 69 windows.
  let [count, expected] = [0, 0]
  for (let seed = 0; seed < 12; seed++) {
    const spectra = chimeSpectra(noise(20, seed), RATE_HZ)
    const learned = learnNoise(spectra, LEARN_S)
    const threshold = thresholdOf(learned.worth, 1e4, 1)
    for (let t = Math.ceil(LEARN_S / spectra.hopS); t < spectra.windowCount; t++) {
      for (let b = 0; b < spectra.binCount; b++) {
        expected += 1e-4
        if (spectra.power[t * spectra.binCount + b] > threshold * learned.mean[b]) count++
      }
    }
  }
  expect(Math.abs(count / expected - 1)).toBeLessThan((6 * Math.sqrt(2 * expected)) / expected)
})

describe('what is no chime', () => {
  test('is noise, hum, a whistle that was there before, one click, and clicks that come at odd times', () => {
    const samples = noise(8, 1)
    addSine(samples, 60, 0.05)
    addSine(samples, 180, 0.02)
    addSine(samples, 1000, 0.001)
    expect(findChime([samples], RATE_HZ, LEARN_S, [1])).toBeNull()
    samples[3 * RATE_HZ] += 0.5
    expect(findChime([samples], RATE_HZ, LEARN_S, [1])).toBeNull()
    for (const atS of [3.2, 4.9, 5.3]) samples[atS * RATE_HZ] += 0.5
    expect(findChime([samples], RATE_HZ, LEARN_S, [1])).toBeNull()
  })
})

describe('a chime', () => {
  test('is found under hum that is 30 dB louder, on one input and not on the other', () => {
    const [one, other] = [noise(6, 2), noise(6, 3)]
    for (const samples of [one, other]) addSine(samples, 60, 0.1)
    for (let k = 0; k < 4; k++) addBurst(one, 2 + 0.5 * k, 0.2, 880, 0.003)
    const found = findChime([one, other], RATE_HZ, LEARN_S, [4, 2])!
    expect(found.loudest).toBe(0)
    expect(found.inputs.map(({ isHeard }) => isHeard)).toEqual([true, false])
    expect(Math.abs(found.inputs[0].vrms / (4 * 0.003) - 1)).toBeLessThan(2 * found.inputs[0].relativeU)
    // Not heard: at most what noise may hide, about 2 Vrms at -80 dBFS in so narrow a band.
    expect(found.inputs[1].vrms).toBeLessThan(2 * 10 ** (NOISE_DBFS / 20))
    expect(found.onsetS).toHaveLength(4)
    expect(Math.abs(found.ratePerS! - 2)).toBeLessThan(0.05)
    expect(Math.abs(found.freqHz - 880)).toBeLessThan(2 * found.freqU)
    // From half height to half height.
    expect(Math.abs(found.endS - found.startS - (1.7 - FADE_S))).toBeLessThan(2 * Math.SQRT2 * found.timeU)
    expect(found.isCutOff).toBe(false)
  })

  test('may be ticks, when they come regularly', () => {
    const samples = noise(6, 4)
    for (let k = 0; k < 5; k++) addBurst(samples, 2.1 + 0.7 * k, 0.018, 1500, 0.1)
    const found = findChime([samples], RATE_HZ, LEARN_S, [1])!
    expect(found.onsetS).toHaveLength(5)
    expect(Math.abs(found.ratePerS! - 1 / 0.7)).toBeLessThan(0.02)
  })

  test('that lasts to the end is said to be cut off', () => {
    const samples = noise(4, 5)
    addBurst(samples, 3, 1, 700, 0.01)
    expect(findChime([samples], RATE_HZ, LEARN_S, [1])!.isCutOff).toBe(true)
  })

  // Bursts whose place, pitch and noise change from trial to trial. With 60 trials 95 % scatter by 3 %: 88 % is two and a half of
  // that below.
  test.each([-70, -82])('of %d dBFS has its level within its uncertainty', (levelDbfs) => {
    const peakFs = 10 ** (levelDbfs / 20)
    let inside = 0
    let squares = 0
    for (let trial = 0; trial < 60; trial++) {
      const samples = noise(3.2, 100 + trial)
      for (let k = 0; k < 3; k++) addBurst(samples, 1.9 + 0.0031 * trial + 0.4 * k, 0.16, 900 + 1.7 * trial, peakFs)
      const { vrms, relativeU } = findChime([samples], RATE_HZ, LEARN_S, [1])!.inputs[0]
      const z = (vrms / peakFs - 1) / relativeU
      squares += z * z
      if (Math.abs(z) < 2) inside++
    }
    expect(inside / 60).toBeGreaterThan(0.88)
    // Nor is it said much too wide: the rms of 60 scatters by a tenth.
    expect(Math.sqrt(squares / 60)).toBeGreaterThan(0.6)
  })
})
