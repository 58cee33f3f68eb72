/**
 * The whole way: sweeps through filters that run sample by sample, noise 80 dB below full scale, deconvolution, curve, sections.
 *
 * Truth: the cookbook sections that were put in. Their uncertainty is held against repeated takes with other noise.
 */
import { describe, expect, test } from 'vitest'
import type { EqSection } from '../../src/dsp/cookbook.js'
import { bandEdgesOf } from '../../src/measure/band-edges.js'
import { type Equaliser, findEqualiser, levelCurveOf } from '../../src/measure/equaliser.js'
import type { LevelCurve } from '../../src/measure/equaliser-region.js'
import { sweepReference, transferOf } from '../../src/measure/transfer.js'
import { butterworth, type Filter, filtered } from '../kit/biquad.js'
import { biquadOf } from '../kit/curves.js'
import { hiss } from '../kit/random.js'
import { placeOf, playTrack, summed } from '../kit/track.js'

const played = playTrack({ leadInS: 0.5000123, fromS: 5, toS: 21 })
const reference = sweepReference(placeOf(played))
/** 80 dB below a full-scale sine. */
const NOISE = 1e-4 * Math.SQRT1_2

function taken(filter: Filter, seed: number): LevelCurve {
  const take = summed(filtered(played.left, filter), hiss(played.left.length, NOISE, seed))
  return levelCurveOf(transferOf(Float32Array.from(take), reference), 1, 0)
}

const bass: EqSection = { kind: 'low_shelf', gainDb: 4.5, freqHz: 100, q: 0.7 }
const dip: EqSection = { kind: 'peaking', gainDb: -5, freqHz: 480, q: 2.2 }
const lift: EqSection = { kind: 'peaking', gainDb: 3, freqHz: 3200, q: 0.9 }
const treble: EqSection = { kind: 'high_shelf', gainDb: -3.5, freqHz: 8000, q: 0.7 }

function expectFound({ sections, isExplained }: Equaliser, truth: readonly EqSection[]): void {
  expect(isExplained).toBe(true)
  expect(sections.map(({ kind }) => kind)).toEqual(truth.map(({ kind }) => kind))
  truth.forEach(({ gainDb, freqHz, q }, k) => {
    expect(Math.abs(sections[k].gainDb - gainDb)).toBeLessThan(0.1)
    expect(Math.abs(sections[k].freqHz / freqHz - 1)).toBeLessThan(0.01)
    expect(Math.abs(sections[k].q / q - 1)).toBeLessThan(0.05)
  })
}

describe('at 80 dB of signal over noise', () => {
  test.each<[string, EqSection[]]>([
    ['a wire', []],
    ['one section', [dip]],
    ['two sections', [bass, treble]],
    ['three sections', [bass, dip, treble]],
    ['four sections', [bass, dip, lift, treble]],
  ])('%s: within 0.1 dB, a hundredth of frequency, a twentieth of Q', (_, truth) => {
    const curve = taken(truth.map(biquadOf), 11)
    expectFound(findEqualiser(curve, { lowHz: null, highHz: null })!, truth)
  })

  test('an 80 Hz low-pass keeps its corner beside a peak in its band', () => {
    const peak: EqSection = { kind: 'peaking', gainDb: 5, freqHz: 42, q: 1.6 }
    const curve = taken([...butterworth('low', 4, 80, 48_000), biquadOf(peak)], 12)
    const equaliser = findEqualiser(curve, { lowHz: null, highHz: 80 })!
    expectFound(equaliser, [peak])
    const { low, high } = bandEdgesOf(curve, equaliser)
    expect(low).toBeNull()
    expect(Math.abs(high!.cornerHz - 80)).toBeLessThan(0.5)
    expect(high!.slopeDbPerOctave).toBeCloseTo(24.08, 1)
  })

  test('a 3 kHz high-pass keeps its corner beside a dip in its band', () => {
    const cut: EqSection = { kind: 'peaking', gainDb: -4, freqHz: 6000, q: 1.8 }
    const curve = taken([...butterworth('high', 4, 3000, 48_000), biquadOf(cut)], 13)
    const equaliser = findEqualiser(curve, { lowHz: 3000, highHz: null })!
    expectFound(equaliser, [cut])
    expect(Math.abs(bandEdgesOf(curve, equaliser).low!.cornerHz - 3000)).toBeLessThan(15)
  })
})

test('the spread over takes with other noise is not larger than the uncertainty says', () => {
  // 35 dB of signal over noise, where noise and not the model's own 0.005 dB rules. Of 24 takes the rms of the errors in units
  // of u scatters by 1 / sqrt(2 x 24) = 14 % for each figure; three times that either way.
  const filter = filtered(played.left, [dip].map(biquadOf))
  const squares = [0, 0, 0]
  const takeCount = 24
  for (let seed = 1; seed <= takeCount; seed++) {
    const take = Float32Array.from(summed(filter, hiss(filter.length, 180 * NOISE, 100 + seed)))
    const { sections } = findEqualiser(levelCurveOf(transferOf(take, reference), 1, 0), { lowHz: null, highHz: null })!
    expect(sections.length).toBe(1)
    const [{ gainDb, gainDbU, freqHz, freqHzU, q, qU }] = sections
    squares[0] += ((gainDb - dip.gainDb) / gainDbU) ** 2
    squares[1] += ((freqHz - dip.freqHz) / freqHzU) ** 2
    squares[2] += ((q - dip.q) / qU) ** 2
  }
  for (const sum of squares) {
    const rms = Math.sqrt(sum / takeCount)
    expect(rms).toBeLessThan(1.43)
    expect(rms).toBeGreaterThan(0.57)
  }
})
