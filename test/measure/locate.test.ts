/** The track is found wherever it stands, and both clocks are told apart. Truth: the place and rate it was made with. */
import { describe, expect, test } from 'vitest'
import type { Located } from '../../src/measure/analysis.js'
import { locate } from '../../src/measure/locate.js'
import { CHIRP, TRACK_REVISION } from '../../src/stimulus/layout.js'
import { butterworth, type Filter, filtered, responseAt } from '../kit/biquad.js'
import { hiss } from '../kit/random.js'
import { audioOf, joined, type Played, playTrack, scaled, summed } from '../kit/track.js'

const MARKER_RMS = CHIRP.peakFs / Math.SQRT2
/** The place is found to the sample: half of one, and a hundredth for what noise does to it. */
const PLACE_SAMPLES = 0.51
/** Over a sweep of 5.4 s this is 0.27 microseconds, two degrees at 20 kHz: no phase and no delay is lost by it. */
const CLOCK_PPM = 0.05

const clockErrorPpm = (found: Located, played: Played): number => 1e6 * (found.samplesPerS / played.samplesPerS - 1)

function expectFound(found: Located, played: Played): void {
  expect(Math.abs(found.startSample - played.startSample)).toBeLessThan(PLACE_SAMPLES)
  expect(Math.abs(clockErrorPpm(found, played))).toBeLessThan(CLOCK_PPM)
  expect(found.clockOffsetPpm).toBeCloseTo(1e6 * (found.samplesPerS / played.sampleRateHz - 1), 9)
  expect(found.revision).toBe(TRACK_REVISION)
}

/** Largest group delay (samples) of a filter from 10 Hz to 20 kHz: minus the phase's slope. */
function groupDelaySamplesMax(filter: Filter): number {
  let largest = 0
  for (let freqHz = 10; freqHz < 20_000; freqHz *= 1.01) {
    const stepHz = 1e-4 * freqHz
    const [a, b] = [freqHz, freqHz + stepHz].map((hz) => responseAt(filter, hz, 48_000))
    const turn = Math.atan2(b.im * a.re - b.re * a.im, b.re * a.re + b.im * a.im)
    largest = Math.max(largest, (-turn / (2 * Math.PI * stepHz)) * 48_000)
  }
  return largest
}

describe('at 48 kHz, one clock', () => {
  const played = playTrack({ tailS: 1 })
  const noise = hiss(played.left.length, 1e-3 * MARKER_RMS, 1)

  test.each([0, 7, 60])('the whole track is found after %d s of nothing', (leadInS) => {
    const leadIn = hiss(leadInS * 48_000, 1e-3 * MARKER_RMS, 2)
    const found = locate(audioOf(48_000, joined(leadIn, summed(played.left, noise))), 'take.wav')
    expectFound(found, { ...played, startSample: leadIn.length })
    // Pin: 0.95 of the 1 that a whole chirp would fit to; the coarse search looks up to 2.6 kHz only.
    expect(found.match).toBeGreaterThan(0.9)
  })

  test('two inputs of opposite polarity do not cancel', () => {
    expectFound(locate(audioOf(48_000, played.left, scaled(played.left, -1)), 'take.wav'), played)
    expectFound(locate(audioOf(48_000, played.left, scaled(played.right, -0.01)), 'take.wav'), played)
  })

  test('it is found under white noise only 10 dB below its marker', () => {
    const loud = hiss(played.left.length, MARKER_RMS * 10 ** (-10 / 20), 3)
    expectFound(locate(audioOf(48_000, summed(played.left, loud)), 'take.wav'), played)
  })

  test.each([
    ['tweeter', butterworth('high', 4, 3000, 48_000)],
    ['subwoofer', butterworth('low', 4, 80, 48_000)],
  ])('a %s output alone is enough: late by no more than its own filter, and at the right clock', (_, filter) => {
    const found = locate(audioOf(48_000, summed(filtered(played.left, filter), noise)), 'take.wav')
    const lateSamples = found.startSample - played.startSample
    expect(lateSamples).toBeGreaterThan(0)
    expect(lateSamples).toBeLessThan(groupDelaySamplesMax(filter))
    expect(Math.abs(clockErrorPpm(found, played))).toBeLessThan(CLOCK_PPM)
  })

  test('a loud subwoofer does not hide a quiet tweeter, nor the other way round', () => {
    const sub = filtered(played.left, butterworth('low', 4, 80, 48_000))
    const highs = butterworth('high', 4, 3000, 48_000)
    const tweeter = filtered(played.right, highs)
    for (const [a, b] of [
      [1, 0.01],
      [0.01, 1],
    ]) {
      const found = locate(audioOf(48_000, scaled(sub, a), scaled(tweeter, b)), 'take.wav')
      // The sharper chirp sets the place: the tweeter's.
      expect(Math.abs(found.startSample - played.startSample)).toBeLessThan(groupDelaySamplesMax(highs))
      expect(Math.abs(clockErrorPpm(found, played))).toBeLessThan(CLOCK_PPM)
    }
  })
})

describe('two clocks', () => {
  test.each([
    [48_000, 80],
    [48_000, -80],
    [48_000, 500],
    [48_000, -500],
    [44_100, 80],
    [96_000, -80],
  ])('at %d Hz their offset of %d ppm is read within 0.05 ppm, and its uncertainty holds', (sampleRateHz, ppm) => {
    const played = playTrack({ sampleRateHz, ppm, leadInS: 1.2345678, tailS: 0.5 })
    const noise = hiss(played.left.length, 1e-3 * MARKER_RMS, 4)
    const found = locate(audioOf(sampleRateHz, summed(played.left, noise)), 'take.wav')
    expectFound(found, played)
    expect(Math.abs(clockErrorPpm(found, played))).toBeLessThan(found.clockOffsetPpmU)
    expect(found.clockOffsetPpmU).toBeLessThan(CLOCK_PPM)
  })
})
