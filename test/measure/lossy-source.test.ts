/** Signs of a lossy source: what has them, and what must not. Real coders are in test/outside/noise.test.ts. */
import { describe, expect, test } from 'vitest'
import { commonSource, type LossySource, readLossySource } from '../../src/measure/lossy-source.js'
import { mirrorOf } from '../../src/measure/tone-floor.js'
import { TONE_PEAK_FS } from '../../src/stimulus/layout.js'
import { butterworth, type Filter, filtered } from '../kit/biquad.js'
import { normalFrom, whiteNoise } from '../kit/random.js'
import { clipped, shaped, sines, summed } from '../kit/track.js'
import { transferBy } from '../kit/transfer.js'

const RATE_HZ = 48_000
const COUNT = Math.round(1.7 * RATE_HZ)
/** A 16-bit word's dither, 0 Hz to 24 kHz. */
const WORD_RMS = 2 ** -15 / 2

/** The section's samples through a wire; `noise` comes in behind it. */
type Wire = (samples: Float64Array, seed: number) => Float64Array

function sourceBy(wire: Wire, noiseRms = WORD_RMS, filter: Filter = []): LossySource {
  const capture = (freqHz: number, peak: number, seed: number) => ({
    freqHz,
    samples: Float32Array.from(
      summed(
        filtered(wire(sines(COUNT, RATE_HZ, [{ freqHz, peak }]), seed), filter),
        whiteNoise(COUNT, noiseRms, seed),
      ),
    ),
  })
  const loud = [997, 60, 6300].map((freqHz, k) => capture(freqHz, TONE_PEAK_FS, 20 + k))
  return readLossySource(capture(997, 1e-3, 10), loud, RATE_HZ, transferBy({ filter }))
}

/** Noise in a band about the tone that follows its level, as a coder leaves it; ratio of its rms to the tone's. */
const coded =
  (ratio: number): Wire =>
  (samples, seed) => {
    const rms = Math.sqrt(samples.reduce((sum, value) => sum + value * value, 0) / samples.length)
    // About 997 Hz for all three tones: only one needs it.
    const band = filtered(whiteNoise(samples.length, 1, 90 + seed), [
      ...butterworth('high', 4, 800, RATE_HZ),
      ...butterworth('low', 4, 1250, RATE_HZ),
    ])
    const bandRms = Math.sqrt(band.reduce((sum, value) => sum + value * value, 0) / band.length)
    return samples.map((value, n) => value + (ratio * rms * band[n]) / bandRms)
  }

/** Slow noise, standard deviation about 1: what flutters. */
function slow(count: number, seed: number): Float64Array {
  const normal = normalFrom(seed)
  let y = 0
  return new Float64Array(count).map(() => (y = 0.98 * y + 0.2 * normal()))
}

describe('a source that is not lossy', () => {
  const still: Wire = (samples) => samples
  const asBefore: readonly [string, Wire, number][] = [
    ['clean, of 16 bits', still, WORD_RMS],
    ['clean, of 24 bits', still, WORD_RMS / 256],
    ['noisy', still, 1e-3],
    ['bent', (samples) => shaped(samples, 0.05, 0.05), WORD_RMS],
    ['a little bent, of 24 bits', (samples) => shaped(samples, 1e-3, 1e-3), WORD_RMS / 256],
    ['clipped', (samples) => clipped(samples, 0.5), WORD_RMS],
    ['clipped hard, of 24 bits', (samples) => clipped(samples, 0.1), WORD_RMS / 256],
    ['clipped softly', (samples) => samples.map((value) => Math.tanh(2 * value) / 2), WORD_RMS],
    [
      'cut to 12 bits without dither',
      (samples) => samples.map((value) => Math.round(value * 2048) / 2048),
      WORD_RMS / 256,
    ],
    [
      'of a gain that flutters',
      (samples, seed) => {
        const flutter = slow(samples.length, seed)
        return samples.map((value, n) => value * (1 + 1e-3 * flutter[n]))
      },
      WORD_RMS,
    ],
    [
      'of a clock that jitters',
      (samples, seed) => {
        const jitter = slow(samples.length, seed)
        return samples.map((value, n) => (n === 0 ? value : value + (value - samples[n - 1]) * 5e-4 * jitter[n]))
      },
      WORD_RMS,
    ],
    [
      'with hum that moves its gain',
      (samples) => samples.map((value, n) => value * (1 + 0.01 * Math.sin((2 * Math.PI * 100 * n) / RATE_HZ))),
      WORD_RMS,
    ],
  ]
  test.each(asBefore)('%s, is not called so', (_, wire, noiseRms) => {
    const { isLossy, because } = sourceBy(wire, noiseRms)
    expect([isLossy, because]).toEqual(['no', []])
  })

  test('is not called so through a filter of fourth order at 16 kHz, or a tweeter’s', () => {
    for (const filter of [butterworth('low', 4, 16_000, RATE_HZ), butterworth('high', 4, 3000, RATE_HZ)]) {
      const { isLossy, bandLimitHz } = sourceBy(still, WORD_RMS, filter)
      expect([isLossy, bandLimitHz]).toEqual(['no', null])
    }
  })
})

describe('a source with noise that follows its tone', () => {
  test('is lossy, and its floor and reach are those of the noise', () => {
    const { isLossy, because, floorUnderToneFs, thdReachRatio } = sourceBy(coded(1e-4))
    expect(isLossy).toBe('yes')
    expect(because[0]).toMatch(
      /^noise about the 997 Hz tone is \d+ dB above that of the quiet tone, away from it \d dB$/,
    )
    // Closed form: the noise's rms as a fraction of the tone's, beside the word's own; the lobe of the tone is left out, 29 Hz
    // of some 450 Hz: 0.3 dB.
    const truth = Math.hypot(1e-4 * TONE_PEAK_FS, WORD_RMS * Math.SQRT2 * Math.sqrt(19_980 / 24_000))
    expect(Math.abs(20 * Math.log10(floorUnderToneFs! / truth))).toBeLessThan(0.6)
    expect(thdReachRatio!).toBeGreaterThan(0)
  })

  test('that is weak leaves it unsure', () => {
    const { isLossy, because } = sourceBy(coded(1.2e-5))
    expect(isLossy).toBe('unsure')
    expect(because).toHaveLength(1)
  })
})

describe('a cliff in the response', () => {
  /** Flat up to a frequency, then nothing but its error. */
  const cliffAt = (limitHz: number) => {
    const transfer = transferBy({})
    const cut = (values: Float64Array): Float64Array =>
      values.map((value, i) => (transfer.freqHz[i] > limitHz ? 1e-5 * value : value))
    return { ...transfer, leftRe: cut(transfer.leftRe), leftIm: cut(transfer.leftIm) }
  }
  const tone = (freqHz: number, peak: number, seed: number) => ({
    freqHz,
    samples: Float32Array.from(summed(sines(COUNT, RATE_HZ, [{ freqHz, peak }]), whiteNoise(COUNT, WORD_RMS, seed))),
  })
  const behind = (limitHz: number): LossySource =>
    readLossySource(tone(997, 1e-3, 1), [tone(997, 0.7, 2), tone(6300, 0.7, 3)], RATE_HZ, cliffAt(limitHz))

  test('at 16 kHz alone leaves it unsure: a lower rate does the same', () => {
    const { isLossy, because, bandLimitHz } = behind(16_000)
    expect(isLossy).toBe('unsure')
    // The grid's next point: 1/48 octave.
    expect(bandLimitHz! / 16_000).toBeGreaterThan(1)
    expect(bandLimitHz! / 16_000).toBeLessThan(2 ** (1 / 48))
    expect(because).toEqual([expect.stringMatching(/^the response ends in a cliff at 16\.[0-2] kHz$/)])
  })

  test('at 20 kHz is what a resampler may do: it is told, and no sign', () => {
    const { isLossy, because, bandLimitHz } = behind(20_000)
    expect([isLossy, because]).toEqual(['no', []])
    expect(bandLimitHz! / 20_000).toBeLessThan(2 ** (1 / 48))
  })
})

test('an output that carries no tone of the middle cannot tell', () => {
  const { isLossy, because, under } = sourceBy((samples) => samples, WORD_RMS, butterworth('low', 4, 60, RATE_HZ))
  expect(isLossy).toBe('unsure')
  expect(because).toEqual(['no tone in the middle of the band is heard well enough here to tell'])
  expect(under.map(({ freqHz }) => freqHz)).toEqual([60])
})

test('of several outputs the surest speaks for the source', () => {
  const [clean, lossy] = [sourceBy((samples) => samples), sourceBy(coded(1e-4))]
  const deaf = sourceBy((samples) => samples, WORD_RMS, butterworth('low', 4, 60, RATE_HZ))
  expect(commonSource([clean, deaf, lossy])).toBe(lossy)
  expect(commonSource([deaf, clean])).toBe(clean)
  expect(commonSource([])).toBeNull()
})

test('sidebands mirror each other where they ride on the tone, and not where noise is added', () => {
  const tone = sines(COUNT, RATE_HZ, [{ freqHz: 997, peak: 0.7 }])
  const flutter = slow(COUNT, 3)
  const riding = Float32Array.from(tone, (value, n) => value * (1 + 1e-3 * flutter[n]))
  const added = Float32Array.from(summed(tone, whiteNoise(COUNT, 1e-3, 4)))
  // Closed form: 1 for modulation, less what the tone's image at -997 Hz adds, its sidebands 10 times lower out there; for
  // added noise the mean of 63 arrows of random direction, 1 / sqrt 63 = 0.13.
  expect(mirrorOf(riding, 997, RATE_HZ)).toBeGreaterThan(0.9)
  expect(mirrorOf(added, 997, RATE_HZ)).toBeLessThan(0.3)
})

test('a stretch that is too short is refused', () => {
  const short = { freqHz: 997, samples: new Float32Array(1000) }
  expect(() => readLossySource(short, [], RATE_HZ, transferBy({}))).toThrow(
    new RangeError('readToneFloor: 1000 samples, want 16384 or more'),
  )
})
