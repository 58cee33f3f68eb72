import { describe, expect, test } from 'vitest'
import { complexSpectrum, inverseComplex, inverseReal, realSpectrum, sizeFor } from '../../src/dsp/fft.js'
import { whiteNoise } from '../kit/random.js'

/** Truth: the definition, X[k] = sum of x[n] exp(-2 pi j k n / N), term by term. */
function definition(samples: ArrayLike<number>, size: number, k: number): { re: number; im: number } {
  let [re, im] = [0, 0]
  for (let n = 0; n < samples.length; n++) {
    const turn = (2 * Math.PI * ((k * n) % size)) / size
    re += samples[n] * Math.cos(turn)
    im -= samples[n] * Math.sin(turn)
  }
  return { re, im }
}

// Rounding of a transform grows with log2 of the size: 2^-53 x 16 stages x a spectrum of rms sqrt(N) stays below this.
const ROUNDING = 1e-11

describe('the spectrum of real samples', () => {
  test.each([4, 8, 64, 1024])('is the sum that defines it, in every bin up to half the rate, at size %d', (size) => {
    const samples = whiteNoise(size, 1, size)
    const spectrum = realSpectrum(samples, size)
    expect(spectrum.length).toBe(size + 2)
    for (let k = 0; k <= size / 2; k++) {
      const { re, im } = definition(samples, size, k)
      expect(Math.hypot(spectrum[2 * k] - re, spectrum[2 * k + 1] - im)).toBeLessThan(ROUNDING)
    }
  })

  test('of fewer samples than the size is that of the samples with zeros behind them', () => {
    const samples = whiteNoise(300, 1, 5)
    const spectrum = realSpectrum(samples, 1024)
    for (const k of [0, 1, 77, 512]) {
      const { re, im } = definition(samples, 1024, k)
      expect(Math.hypot(spectrum[2 * k] - re, spectrum[2 * k + 1] - im)).toBeLessThan(ROUNDING)
    }
  })

  test('of a cosine on a bin is half its peak times the size, in that bin alone', () => {
    // Truth: closed form N A / 2 exp(j phase).
    const size = 256
    const samples = Float64Array.from({ length: size }, (_, n) => 0.7 * Math.cos((2 * Math.PI * 9 * n) / size + 0.4))
    const spectrum = realSpectrum(samples, size)
    for (let k = 0; k <= size / 2; k++) {
      const [re, im] = k === 9 ? [0.35 * size * Math.cos(0.4), 0.35 * size * Math.sin(0.4)] : [0, 0]
      expect(Math.hypot(spectrum[2 * k] - re, spectrum[2 * k + 1] - im)).toBeLessThan(ROUNDING)
    }
  })

  test('does not change with what was transformed before: answers do not share memory', () => {
    const first = realSpectrum(whiteNoise(64, 1, 1), 64)
    const kept = Float64Array.from(first)
    realSpectrum(whiteNoise(64, 1, 2), 64)
    expect(first).toEqual(kept)
  })

  test('may be written into room that is handed over', () => {
    const room = new Float64Array(66).fill(7)
    const samples = whiteNoise(64, 1, 4)
    expect(realSpectrum(samples, 64, room)).toBe(room)
    expect(room).toEqual(realSpectrum(samples, 64))
  })

  test('takes Float32 samples as they are', () => {
    const samples = Float32Array.from(whiteNoise(128, 1, 3))
    expect(realSpectrum(samples, 128)).toEqual(realSpectrum(Float64Array.from(samples), 128))
  })

  test('refuses more samples than the size, and sizes that are no power of two', () => {
    expect(() => realSpectrum(new Float64Array(9), 8)).toThrow(new RangeError('realSpectrum: 9 samples in a size of 8'))
    // A real transform is a complex one of half its size, and says that one's size.
    expect(() => realSpectrum(new Float64Array(12), 12)).toThrow(new RangeError('fft: size 6, want a power of two'))
    expect(() => realSpectrum(new Float64Array(2), 2)).toThrow(new RangeError('fft: size 1, want a power of two'))
  })
})

test.each([4, 8, 256, 4096])('real samples come back through the inverse at size %d', (size) => {
  const samples = whiteNoise(size, 1, size)
  const back = inverseReal(realSpectrum(samples, size), size)
  expect(back.length).toBe(size)
  expect(Math.max(...back.map((value, n) => Math.abs(value - samples[n])))).toBeLessThan(1e-14)
})

test('a spectrum turned by a whole delay comes back as the samples that much later, in a circle', () => {
  // Truth: the shift theorem.
  const [size, late] = [64, 5]
  const samples = whiteNoise(size, 1, 9)
  const spectrum = realSpectrum(samples, size)
  for (let k = 0; k <= size / 2; k++) {
    const turn = (-2 * Math.PI * k * late) / size
    const [re, im] = [spectrum[2 * k], spectrum[2 * k + 1]]
    spectrum[2 * k] = re * Math.cos(turn) - im * Math.sin(turn)
    spectrum[2 * k + 1] = re * Math.sin(turn) + im * Math.cos(turn)
  }
  const back = inverseReal(spectrum, size)
  for (let n = 0; n < size; n++) expect(back[(n + late) % size]).toBeCloseTo(samples[n], 12)
})

describe('the spectrum of complex samples', () => {
  const size = 512
  const samples = whiteNoise(2 * size, 1, 11)

  test('is the sum that defines it, in every bin', () => {
    const re = samples.filter((_, i) => i % 2 === 0)
    const im = samples.filter((_, i) => i % 2 === 1)
    const spectrum = complexSpectrum(samples)
    for (const k of [0, 1, 200, 256, 257, 511]) {
      const [a, b] = [definition(re, size, k), definition(im, size, k)]
      expect(Math.hypot(spectrum[2 * k] - (a.re - b.im), spectrum[2 * k + 1] - (a.im + b.re))).toBeLessThan(ROUNDING)
    }
  })

  test('comes back through the inverse', () => {
    const back = inverseComplex(complexSpectrum(samples))
    expect(Math.max(...back.map((value, i) => Math.abs(value - samples[i])))).toBeLessThan(ROUNDING / size)
  })

  test('holds the same energy as the samples, times the size', () => {
    // Truth: Parseval.
    const energy = (values: Float64Array): number => values.reduce((sum, value) => sum + value * value, 0)
    expect(energy(complexSpectrum(samples)) / energy(samples) / size).toBeCloseTo(1, 12)
  })
})

test('the size for a count is the smallest power of two that holds it, and 2 at least', () => {
  expect([0, 1, 2, 3, 4, 5, 1023, 1024, 1025].map(sizeFor)).toEqual([2, 2, 2, 4, 4, 8, 1024, 1024, 2048])
})
