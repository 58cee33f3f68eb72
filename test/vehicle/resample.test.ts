import { describe, expect, test } from 'vitest'
import { resample, shift } from '../../src/vehicle/resample.js'

/** -110 dB of the peak. */
const ERROR_MAX = 10 ** (-110 / 20)

const sineAt = (freqHz: number, rateHz: number, at: number): number =>
  Math.sin((2 * Math.PI * freqHz * at) / rateHz + 1)
const sine = (freqHz: number, rateHz: number, count: number): Float32Array =>
  Float32Array.from({ length: count }, (_, n) => sineAt(freqHz, rateHz, n))

/** Largest error against the closed form, away from the ends where the sine begins and stops. */
function worstError(freqHz: number, fromHz: number, toHz: number): number {
  const input = sine(freqHz, fromHz, 20_000)
  const step = fromHz / toHz
  const [read] = resample([input], 300.4, step, Math.floor(19_000 / step))
  return read.reduce(
    (worst, value, n) => Math.max(worst, Math.abs(value - sineAt(freqHz, fromHz, 300.4 + n * step))),
    0,
  )
}

// Truth: the sine itself at the places that are read. The input's Float32 rounding is -151 dB.
describe.each([
  [48_000, 48_000 * (1 + 80e-6)],
  [48_000, 48_000 * (1 - 2500e-6)],
  [44_100, 48_000],
  [48_000, 44_100],
  [44_100, 44_100 * (1 + 80e-6)],
  [48_000, 96_000],
  [96_000, 48_000],
  [48_000, 192_000],
])('sines at %d Hz read at %d Hz', (fromHz, toHz) => {
  test.each([20, 997, 6300, 15_000, 19_000, 20_000])('are off by less than -110 dB at %d Hz', (freqHz) => {
    expect(worstError(freqHz, fromHz, toHz)).toBeLessThan(ERROR_MAX)
  })
})

// Truth: the sine at the places that are read, n (n - 1) / 2 bends beyond even ones. 5 ppm a minute at 48 kHz is a bend of
// 1.7e-12; this one is 10 000 times larger.
test('a clock that drifts reads at the places that it says', () => {
  const bend = 1.7e-8
  const [read] = resample([sine(15_000, 48_000, 20_000)], 300.4, 1.00002, 19_000, bend)
  let worst = 0
  for (let n = 0; n < 19_000; n++) {
    const at = 300.4 + n * 1.00002 + ((n * (n - 1)) / 2) * bend
    worst = Math.max(worst, Math.abs(read[n] - sineAt(15_000, 48_000, at)))
  }
  expect(worst).toBeLessThan(ERROR_MAX)
  // Unbent, it would have been 3 samples off at the end.
  expect(((19_000 * 18_999) / 2) * bend).toBeGreaterThan(3)
})

test('what would fold is taken out before', () => {
  // 30 kHz has no place at 48 kHz: without a filter it would stand at 18 kHz, as large as it was.
  const [read] = resample([sine(30_000, 96_000, 20_000)], 300, 2, 9000)
  expect(read.reduce((worst, value) => Math.max(worst, Math.abs(value)), 0)).toBeLessThan(ERROR_MAX)
})

test('a constant stays what it is', () => {
  const [read] = resample([new Float32Array(2000).fill(0.5)], 500.123, 1.000_08, 900)
  for (const value of read) expect(value).toBe(0.5)
})

test('channels are read alike, one, two or three of them', () => {
  const inputs = [200, 3000, 9000].map((freqHz) => sine(freqHz, 48_000, 2000))
  const together = resample(inputs, 10.7, 0.9, 2000)
  expect(together).toHaveLength(3)
  inputs.forEach((input, k) => {
    expect(together[k]).toEqual(resample([input], 10.7, 0.9, 2000)[0])
  })
  expect(resample([inputs[0], inputs[0]], 10.7, 0.9, 2000)).toEqual([together[0], together[0]])
})

test('before the first sample and after the last there is silence', () => {
  const [read] = resample([new Float32Array(100).fill(1)], -1000, 1, 2000)
  // The kernel reaches 48 samples to each side.
  expect(read.subarray(0, 950).every((value) => value === 0)).toBe(true)
  expect(read.subarray(1150).every((value) => value === 0)).toBe(true)
  expect(read[1050]).toBeCloseTo(1, 6)
})

test.each([0, -1, 8.1, Number.NaN])('a step of %d is refused', (step) => {
  expect(() => resample([new Float32Array(10)], 0, step, 10)).toThrow(RangeError)
})

describe('a delay', () => {
  // Truth: the sine itself, so much earlier.
  test.each([0.25, 576.007, 0.5, -3.3, -0.001, 12])('of %d samples is exact to -110 dB', (delaySamples) => {
    for (const freqHz of [20, 997, 20_000]) {
      const samples = sine(freqHz, 48_000, 4000)
      shift(samples, delaySamples)
      let worst = 0
      for (let n = 700; n < 3800; n++) {
        worst = Math.max(worst, Math.abs(samples[n] - sineAt(freqHz, 48_000, n - delaySamples)))
      }
      expect(worst).toBeLessThan(ERROR_MAX)
    }
  })

  test.each([
    [0, [1, 2, 3, 4, 5]],
    [2, [0, 0, 1, 2, 3]],
    [-2, [3, 4, 5, 0, 0]],
    [9, [0, 0, 0, 0, 0]],
    [-9, [0, 0, 0, 0, 0]],
  ])('of %d whole samples moves them as they are, and loses what leaves at an end', (delaySamples, want) => {
    const samples = Float32Array.from([1, 2, 3, 4, 5])
    shift(samples, delaySamples)
    expect([...samples]).toEqual(want)
  })
})
