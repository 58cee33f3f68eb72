/** Noise, hum and lines, against closed forms and the published figures of ideal words. */
import { describe, expect, test } from 'vitest'
import { inverseReal, sizeFor } from '../../src/dsp/fft.js'
import type { NoiseReading } from '../../src/measure/analysis.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { hiss, normalFrom, uniformFrom, whiteNoise } from '../kit/random.js'
import { sines, summed } from '../kit/track.js'

const RATE_HZ = 48_000
/** As much as the analysis takes of the silence of 6 s. */
const COUNT = Math.round(5.1 * RATE_HZ)

const read = (samples: Float64Array, excludedHz: number | null = null, samplesPerS = RATE_HZ) =>
  readNoise(Float32Array.from(samples), samplesPerS, excludedHz)
const db = (ratio: number): number => 20 * Math.log10(ratio)

/** Each figure of a reading beside its relative standard uncertainty: unweighted, A, C, BS.468, and with unity at 2 kHz. */
const figuresOf = (reading: NoiseReading): { fs: number; u: number }[] => [
  { fs: reading.unweightedFs, u: reading.unweightedU },
  { fs: reading.aWeightedFs, u: reading.aWeightedU },
  { fs: reading.cWeightedFs, u: reading.cWeightedU },
  { fs: reading.bs468Fs, u: reading.bs468U },
  { fs: reading.ccirRmsFs, u: reading.bs468U },
]
/** White noise from 20 Hz to 20 kHz through each: integrals of IEC 61672-1:2013 and of the BS.468 network, dB. */
const WHITE_DB = [0, -2.0483, -3.4505, 7.2628, 1.6328]

/** Pink noise by its spectrum: random phases and amplitudes, density as 1 / f. Rms is not set. */
function pinkNoise(count: number, seed: number): Float64Array {
  const size = sizeFor(count)
  const normal = normalFrom(seed)
  const spectrum = new Float64Array(size + 2)
  for (let bin = 1; bin < size / 2; bin++) {
    spectrum[2 * bin] = normal() / Math.sqrt(bin)
    spectrum[2 * bin + 1] = normal() / Math.sqrt(bin)
  }
  return inverseReal(spectrum, size).slice(0, count)
}

describe('white noise', () => {
  // Truth: a TPDF-dithered word errs by q^2 / 4, white; 20 Hz to 20 kHz of 24 kHz, weighted by the integrals above. Published
  // for 997 Hz at -60 dBFS as dynamic range (dB): unweighted, A, unity at 2 kHz.
  test.each([
    [16, 94.1155, 96.1637, 92.4827],
    [24, 142.2803, 144.3285, 140.6475],
  ])('of an ideal %d-bit word with TPDF dither reads as the word', (bits, unweightedDb, aDb, ccirDb) => {
    const seeds = [1, 2, 3, 4, 5, 6, 7, 8]
    const step = 2 ** (1 - bits)
    const means = [0, 0, 0]
    let lastU = [0, 0, 0]
    for (const seed of seeds) {
      const uniform = uniformFrom(seed)
      const word = new Float64Array(COUNT).map(() => step * Math.round(uniform() - uniform()))
      const figures = figuresOf(read(word))
      const three = [figures[0], figures[1], figures[4]]
      three.forEach(({ fs, u }, k) => {
        const off = fs / 10 ** (-[unweightedDb, aDb, ccirDb][k] / 20) - 1
        // Four standard uncertainties: passed by 16 of 250,000.
        expect(Math.abs(off)).toBeLessThan(4 * u)
        means[k] += off / seeds.length
      })
      lastU = three.map(({ u }) => u)
    }
    // Nor is there a bias that the mean of all would show; what it may hide is below 0.02 dB.
    means.forEach((mean, k) => {
      expect(Math.abs(mean)).toBeLessThan((4 * lastU[k]) / Math.sqrt(seeds.length))
    })
  })

  test.each([44_100, 48_000, 96_000])('at %d Hz stands at its level through every weighting', (rateHz) => {
    const rms = 1e-3
    for (const seed of [1, 2, 3]) {
      const reading = read(whiteNoise(Math.round(5.1 * rateHz), rms, seed), null, rateHz)
      // Truth: flat density; a full-scale sine's rms is 1 / sqrt 2.
      const truth = rms * Math.SQRT2 * Math.sqrt(19_980 / (rateHz / 2))
      figuresOf(reading).forEach(({ fs, u }, k) => {
        expect(Math.abs(fs / (truth * 10 ** (WHITE_DB[k] / 20)) - 1)).toBeLessThan(4 * u)
      })
    }
  })

  test('with an offset of half of full scale reads as it does without', () => {
    const noise = whiteNoise(COUNT, 1e-3, 3)
    const [with_, without] = [read(noise.map((value) => value + 0.5)), read(noise)]
    // A 32-bit float near 0.5 steps by 6e-8, 84 dB below the noise.
    figuresOf(with_).forEach(({ fs }, k) => {
      expect(Math.abs(db(fs / figuresOf(without)[k].fs))).toBeLessThan(0.0005)
    })
  })

  test('has third-octave bands that rise by 1 dB each and add up to the whole', () => {
    const { bandHz, bandFs, unweightedFs } = read(whiteNoise(COUNT, 1e-3, 5))
    expect(bandHz.length).toBe(31)
    // Truth: bandwidth grows by 10^0.1. Tolerance: five times the scatter of a band of 232 Hz over 5 s, 1.5 %, and down.
    for (let k = bandHz.findIndex((hz) => hz > 990); k < bandHz.length; k++) {
      const truth = 1e-3 * Math.SQRT2 * Math.sqrt((bandHz[k] * 0.2307675162) / 24_000)
      expect(Math.abs(bandFs[k] / truth - 1)).toBeLessThan(0.075 * Math.sqrt(1000 / bandHz[k]) + 0.001)
    }
    // The outermost bands reach beyond 20 Hz to 20 kHz: to 17.8 Hz and 22.4 kHz.
    const sum = Math.hypot(...bandFs)
    expect(Math.abs(sum / (unweightedFs * Math.sqrt((22_387.2 - 17.8) / 19_980)) - 1)).toBeLessThan(0.005)
  })

  test('has twelfth-octave bands, four to each third-octave band', () => {
    const { bandFs, fine } = read(whiteNoise(COUNT, 1e-3, 5))
    expect(fine.freqHz.length).toBe(4 * bandFs.length)
    // Truth: IEC 61260-1:2014 for an even fraction: centres 1000 G^((2x + 1) / 24), so the two about 1 kHz are these.
    const above = fine.freqHz.findIndex((hz) => hz > 1000)
    expect(Math.abs(fine.freqHz[above] / 10 ** (3 + 0.3 / 24) - 1)).toBeLessThan(1e-12)
    expect(Math.abs(fine.freqHz[above - 1] / 10 ** (3 - 0.3 / 24) - 1)).toBeLessThan(1e-12)
    bandFs.forEach((fs, k) => {
      expect(Math.abs(Math.hypot(...fine.rmsFs.slice(4 * k, 4 * k + 4)) / fs - 1)).toBeLessThan(1e-9)
    })
  })

  test('holds no hum and no lines, over 20 seeds', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const { hum, lines } = read(whiteNoise(COUNT, 1e-4, 100 + seed))
      expect(hum).toBeNull()
      expect(lines).toEqual([])
    }
  })
})

test('the level of a full-scale sine is 1: the scale is that of AES17', () => {
  // A Hann window sees all of it within four bins.
  const { unweightedFs, aWeightedFs } = read(sines(COUNT, RATE_HZ, [{ freqHz: 1000, peak: 1 }]))
  expect(unweightedFs).toBeCloseTo(1, 3)
  expect(aWeightedFs).toBeCloseTo(1, 3)
})

describe('hum', () => {
  const quiet = whiteNoise(COUNT, 1e-5, 7)
  const withHum = (freqHz: number, peaks: readonly number[]): Float64Array =>
    summed(
      quiet,
      sines(
        COUNT,
        RATE_HZ,
        peaks.map((peak, k) => ({ freqHz: freqHz * (k + 1), peak })),
      ),
    )

  test.each([
    [50, 50],
    [60, 60],
    [49.9, 50],
    [50.1, 50],
    [60.1, 60],
  ])('of %d Hz is the rms sum of its series, and named %d Hz', (freqHz, nominalHz) => {
    for (const peaks of [
      [1e-3, 5e-4, 3e-4, 2e-4],
      [1e-3, 0, 5e-4, 0, 3e-4],
      [0, 1e-3, 0, 4e-4],
    ]) {
      const { hum, lines } = read(withHum(freqHz, peaks))
      expect(hum?.freqHz).toBe(nominalHz)
      expect(hum?.lineHz.length).toBe(peaks.filter((peak) => peak > 0).length)
      // Truth: hypot of the peaks, for a sine of peak 1 stands at 1. A Hann window cut at two bins either side of the
      // highest keeps all but 0.02 dB; noise is 60 dB down.
      expect(Math.abs(db(hum!.rmsFs / Math.hypot(...peaks)))).toBeLessThan(0.1)
      expect(lines).toEqual([])
    }
  })

  test('of a first line that towers alone is hum as well', () => {
    const { hum } = read(withHum(50, [1e-3]))
    expect(Math.abs(db(hum!.rmsFs / 1e-3))).toBeLessThan(0.1)
  })

  test('is told from a whine: a single line that belongs to no series', () => {
    for (const freqHz of [317, 440, 900, 1200, 3150]) {
      const { hum, lines } = read(summed(quiet, sines(COUNT, RATE_HZ, [{ freqHz, peak: 1e-3 }])))
      expect(hum).toBeNull()
      expect(lines.length).toBe(1)
      // Half a bin of 0.73 Hz, and the level as above.
      expect(Math.abs(lines[0].freqHz - freqHz)).toBeLessThan(0.37)
      expect(Math.abs(db(lines[0].rmsFs / 1e-3))).toBeLessThan(0.1)
    }
  })

  test('beside a whine leaves both with their own level', () => {
    const both = summed(withHum(50, [1e-3, 0, 5e-4]), sines(COUNT, RATE_HZ, [{ freqHz: 1234, peak: 3e-4 }]))
    const { hum, lines, unweightedFs } = read(both)
    expect(Math.abs(db(hum!.rmsFs / Math.hypot(1e-3, 5e-4)))).toBeLessThan(0.1)
    expect(lines.map(({ freqHz }) => Math.round(freqHz))).toEqual([1234])
    expect(Math.abs(db(unweightedFs / Math.hypot(1e-3, 5e-4, 3e-4)))).toBeLessThan(0.01)
  })

  test('that is not there is at most what noise puts on its multiples', () => {
    const { humFloorFs } = read(quiet)
    // Truth: sixteen places of five bins of 0.73 Hz; which place of three or more is highest is chosen, so it reads up to
    // half as much again.
    const truth = 1e-5 * Math.SQRT2 * Math.sqrt((16 * 5 * (RATE_HZ / 2 ** 16)) / 24_000)
    expect(humFloorFs / truth).toBeGreaterThan(0.8)
    expect(humFloorFs / truth).toBeLessThan(1.5)
  })
})

describe('with a tone that does not count', () => {
  const count = Math.round(2.7 * RATE_HZ)
  const tone = sines(count, RATE_HZ, [{ freqHz: 997, peak: 1e-3 }])

  test('the noise under it reads as it does without', () => {
    const noise = whiteNoise(count, 3e-5, 6)
    const [with_, without] = [read(summed(noise, tone), 997), read(noise)]
    // What is left of the tone beside the bins that are taken out is 51 dB below it, 111 dB below full scale; the noise
    // stands at -88 dB.
    expect(Math.abs(db(with_.unweightedFs / without.unweightedFs))).toBeLessThan(0.05)
    expect(Math.abs(db(with_.aWeightedFs / without.aWeightedFs))).toBeLessThan(0.05)
    expect(with_.lines).toEqual([])
    expect(with_.hum).toBeNull()
  })

  test('another line stays', () => {
    const samples = summed(whiteNoise(count, 1e-5, 6), tone, sines(count, RATE_HZ, [{ freqHz: 2345, peak: 1e-3 }]))
    const { lines, unweightedFs } = read(samples, 997)
    expect(lines.map(({ freqHz }) => Math.round(freqHz))).toEqual([2345])
    expect(Math.abs(db(unweightedFs / 1e-3))).toBeLessThan(0.01)
  })
})

describe('hiss', () => {
  test('of pink noise falls by 3 dB an octave, and weightings change it as the integrals say', () => {
    const reading = read(pinkNoise(COUNT, 4).map((value) => 1e-3 * value))
    const { hiss: rest, unweightedFs, aWeightedFs, bs468Fs } = reading
    // Truth: 10 lg 2 for an octave. Uncertainty as stated.
    expect(Math.abs(rest!.slopeDbPerOctave + 3.0103)).toBeLessThan(4 * rest!.slopeU)
    expect(rest!.slopeU).toBeLessThan(0.1)
    expect(rest!.character).toBe('pink-like')
    // Integrals worked out elsewhere, 20 Hz to 20 kHz. The unweighted level scatters most.
    expect(Math.abs(db(aWeightedFs / unweightedFs) + 2.8586)).toBeLessThan(db(1 + 4 * reading.unweightedU))
    expect(Math.abs(db(bs468Fs / unweightedFs) - 4.6271)).toBeLessThan(db(1 + 4 * reading.unweightedU))
  })

  test('of white noise is flat, of its differences rises by 6 dB, of its sums falls by 6 dB', () => {
    const white = whiteNoise(COUNT, 1e-4, 8)
    const { hiss: flat } = read(white)
    expect(flat!.character).toBe('white')
    expect(Math.abs(flat!.slopeDbPerOctave)).toBeLessThan(4 * flat!.slopeU)
    expect(read(white.map((value, n) => value - (n > 0 ? white[n - 1] : 0))).hiss!.character).toBe('rising')
    let sum = 0
    expect(read(white.map((value) => (sum = 0.999 * sum + value))).hiss!.character).toBe('steeper than pink')
  })

  test('is what lines leave', () => {
    const white = whiteNoise(COUNT, 1e-4, 8)
    const lines = sines(
      COUNT,
      RATE_HZ,
      [50, 100, 150, 1234].map((freqHz) => ({ freqHz, peak: 3e-3 })),
    )
    const [with_, without] = [read(summed(white, lines)), read(white)]
    // Some 50 bins of 27,000 are replaced by what lies around: 0.01 dB of an A-weighted level.
    expect(Math.abs(db(with_.hiss!.rmsFs / without.hiss!.rmsFs))).toBeLessThan(0.02)
    expect(Math.abs(db(with_.hiss!.aWeightedFs / without.hiss!.aWeightedFs))).toBeLessThan(0.02)
    expect(with_.hiss!.character).toBe('white')
  })
})

describe('a line', () => {
  const white = whiteNoise(COUNT, 2e-5, 9)
  const withLines = (...freqs: readonly number[]): NoiseReading =>
    read(
      summed(
        white,
        sines(
          COUNT,
          RATE_HZ,
          freqs.map((freqHz) => ({ freqHz, peak: 1e-4 })),
        ),
      ),
    )

  test('that stands by itself is a whistle', () => {
    const { lines } = withLines(3150)
    expect(lines.map(({ kind, isSteady, seriesHz }) => [kind, isSteady, seriesHz])).toEqual([['whistle', true, null]])
    // To a tenth of a bin of 0.73 Hz.
    expect(Math.abs(lines[0].freqHz - 3150)).toBeLessThan(0.08)
  })

  test('with its multiples is a switching spur of their fundamental', () => {
    const { lines, hum } = withLines(1000.4, 2000.8, 4001.6, 5002)
    expect(hum).toBeNull()
    expect(lines.length).toBe(4)
    for (const { kind, seriesHz } of lines) {
      expect(kind).toBe('switching spur')
      expect(Math.abs(seriesHz! - 1000.4)).toBeLessThan(0.3)
    }
  })

  test('that has two strangers beside it stays a whistle', () => {
    expect(withLines(1130, 3701, 5219).lines.map(({ kind }) => kind)).toEqual(['whistle', 'whistle', 'whistle'])
  })

  test('that wanders is a switching spur, and its level is that of the whole', () => {
    // 8 kHz, to and fro by 15 Hz in 1.7 s: smeared over some 40 bins.
    const wandering = new Float64Array(COUNT).map(
      (_, n) =>
        3e-4 * Math.sin(2 * Math.PI * ((8000 * n) / RATE_HZ) + 15 * 1.7 * Math.sin((2 * Math.PI * n) / RATE_HZ / 1.7)),
    )
    const { lines } = read(summed(white, wandering))
    expect(lines.map(({ kind, isSteady }) => [kind, isSteady])).toEqual([['switching spur', false]])
    expect(Math.abs(lines[0].freqHz - 8000)).toBeLessThan(15)
    // What lies beyond the groups that stand out is lost: less than 2 % of the power.
    expect(Math.abs(db(lines[0].rmsFs / 3e-4))).toBeLessThan(0.1)
  })

  test('has the uncertainty that its readings scatter by', () => {
    const values: number[] = []
    let stated = 0
    const takes = 100
    const line = sines(COUNT, RATE_HZ, [{ freqHz: 3150.2, peak: 2e-5 }])
    for (let seed = 1; seed <= takes; seed++) {
      const { lines } = read(summed(hiss(COUNT, 5e-5, 77 * seed), line))
      values.push(lines[0].rmsFs)
      stated += lines[0].relativeU / takes
    }
    const mean = values.reduce((sum, value) => sum + value, 0) / takes
    const spread = Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / takes) / mean
    // Known to 7 %, k = 1; the floor that it is worked out from scatters by as much.
    expect(Math.abs(stated / spread - 1)).toBeLessThan(0.25)
    // The noise under it is taken off, and what the window's skirts hold is lost (0.02 dB).
    expect(Math.abs(mean / 2e-5 - 1)).toBeLessThan((4 * spread) / Math.sqrt(takes) + 0.002)
  })
})

test('the harmonics of the tone that plays are named as such', () => {
  const count = Math.round(2.7 * RATE_HZ)
  const played = [997, 1994, 2991].map((freqHz, k) => ({ freqHz, peak: [1e-3, 2e-5, 3e-5][k] }))
  const { lines } = read(summed(whiteNoise(count, 1e-6, 2), sines(count, RATE_HZ, played)), 997)
  expect(lines.map(({ freqHz, kind }) => [Math.round(freqHz), kind])).toEqual([
    [2991, 'harmonic'],
    [1994, 'harmonic'],
  ])
})

test('digital silence reads as none', () => {
  const reading = read(new Float64Array(COUNT))
  const { hum, lines, hiss: rest } = reading
  expect(figuresOf(reading)).toEqual(new Array(5).fill({ fs: 0, u: 0 }))
  expect([hum, lines, rest]).toEqual([null, [], null])
})

test('a stretch that is too short is refused', () => {
  expect(() => read(new Float64Array(1000))).toThrow(new RangeError('readNoise: 1000 samples, want 65536 or more'))
})
