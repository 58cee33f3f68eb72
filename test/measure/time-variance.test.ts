/**
 * Processing that changes with time, told from what merely rings, clips, gains or is interrupted.
 *
 * Truth is what the test did to the signal: rates and depths as given, shares of energy by the mean squares that were mixed.
 */

import { describe, expect, test } from 'vitest'
import { findInterruptions } from '../../src/measure/interruptions.js'
import { markerPair } from '../../src/measure/marker-pair.js'
import { readTimeVariance, type TimeVariance } from '../../src/measure/time-variance.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { deconvolve, sweepReference, transferFrom } from '../../src/measure/transfer.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { allPass, butterworth, filtered } from '../kit/biquad.js'
import { decorrelated, delaySwung, dropped, jumped, levelSwung, reverberant } from '../kit/interrupt.js'
import { hiss } from '../kit/random.js'
import { clipped, mixed, placeOf, playTrack, scaled, shaped, sines, summed } from '../kit/track.js'
import { everyNth, some } from '../long.js'

const RATE_HZ = 48_000
const played = playTrack({ leadInS: 0.5, tailS: 0.5, ppm: 60 })
const located = placeOf(played)
const reference = sweepReference(located)
const full = mixed(played, 0.5, 0.5)
const [left, right] = [mixed(played, 0.5, 0), mixed(played, 0, 0.5)]
const noise = hiss(full.length, 1, 1)
const sampleAt = (trackS: number): number => Math.round(located.startSample + trackS * located.samplesPerS)

function read(wire: Float64Array, snrDb = 60): TimeVariance {
  const rms = 0.35 * 10 ** (-snrDb / 20)
  const channel = Float32Array.from(wire, (value, n) => value + rms * noise[n])
  const responses = deconvolve(channel, reference)
  const markers = markerPair(channel, located)
  const interruptions = findInterruptions(channel, located, markers, transferFrom(responses), responses)
  const tones = sectionsOf()
    .filter(({ kind }) => kind === 'tone')
    .map(({ startS, durationS, tones: [{ freqHz }] }) =>
      readTone(
        channel.subarray(sampleAt(startS + 0.2), sampleAt(startS + durationS - 0.1)),
        freqHz,
        located.samplesPerS,
      ),
    )
  return readTimeVariance(channel, located, markers, responses, tones, interruptions)
}

const db = (ratio: number): number => 10 * Math.log10(ratio)

describe('outputs that a time-invariant response explains', () => {
  const limiter = (): Float64Array => {
    let gain = 1
    return full.map((value) => {
      const wanted = Math.abs(value) * gain > 0.2 ? 0.2 / Math.abs(value) : 1
      gain += (wanted - gain) * (wanted < gain ? 0.01 : 2e-5)
      return value * gain
    })
  }
  const automaticGain = (): Float64Array => {
    let level = 0
    return full.map((value) => {
      level += (value * value - level) * 1e-4
      return (value * 0.2) / (0.2 + Math.sqrt(level))
    })
  }
  const wires: [string, () => Float64Array][] = [
    ['flat', () => full],
    ['of one side', () => left],
    [
      'all-pass',
      () =>
        filtered(
          full,
          [100, 1000, 5000].map((hz) => allPass(hz, 2, RATE_HZ)),
        ),
    ],
    ['with a long reverberation', () => reverberant(full, RATE_HZ, 0.45, 1, 3)],
    [
      'with a different one for each side',
      () => summed(reverberant(left, RATE_HZ, 0.3, 1, 4), reverberant(right, RATE_HZ, 0.2, 2, 5)),
    ],
    ['of an 80 Hz band', () => filtered(full, butterworth('low', 4, 80, RATE_HZ))],
    ['from 5 kHz up', () => filtered(full, butterworth('high', 4, 5000, RATE_HZ))],
    ['that clip', () => clipped(full, 0.2)],
    ['that clip hard', () => clipped(full, 0.05)],
    ['with a bent curve', () => shaped(full, 0.1, 0.2)],
    [
      'with lines next to the tone',
      () =>
        summed(
          full,
          sines(full.length, RATE_HZ, [
            { freqHz: 50, peak: 5e-3 },
            { freqHz: 1000, peak: 3e-3 },
          ]),
        ),
    ],
    ['that limit', limiter],
    ['with an automatic gain', automaticGain],
    ['with a dropout in the closing marker', () => dropped(full, sampleAt(38.65), 480)],
    ['with lost samples', () => jumped(full, sampleAt(20.3), -64)],
  ]

  test.each(everyNth(wires, 3))('%s are not called time-variant, over the noise', (_, wire) => {
    const samples = wire()
    for (const snrDb of some([80, 40], 1)) {
      expect(read(samples, snrDb)).toMatchObject({
        isTimeVariant: false,
        isAtMost: true,
        modulation: null,
        left: null,
        right: null,
      })
    }
  })

  test('bound the share by the noise: a tenth of the noise power in the chirps', () => {
    // Noise 40 dB under the tone's rms of 0.35 is 29.1 dB under a chirp of peak 0.25 (its rms is 0.177 less taper), over a
    // cut of 0.34 s of which the chirp fills 0.3 s. Taken off to five standard uncertainties it must be well below.
    expect(db(read(full, 40).ratio)).toBeLessThan(-39)
    expect(db(read(full, 80).ratio)).toBeLessThan(-75)
  })
})

describe('a delay that swings', () => {
  test('by 1 ms at 0.7 Hz is read as that from the tone', () => {
    const { modulation, isTimeVariant, ratio } = read(delaySwung(full, RATE_HZ, 1e-3, 0.7))
    expect(isTimeVariant).toBe(true)
    expect(modulation!.rateHz).toBeCloseTo(0.7, 2)
    // The capture's second is 60 ppm long; the reading window passes 0.7 Hz to 0.01 %.
    expect(Math.abs(modulation!.delayDepthS / 1e-3 - 1)).toBeLessThan(0.005)
    // At the top a fraction of a millisecond is many turns, so most of the energy differs from time to time.
    expect(db(ratio)).toBeGreaterThan(-12)
  })

  test('by 20 us at 3 Hz is too, with its uncertainty', () => {
    const { modulation } = read(delaySwung(full, RATE_HZ, 20e-6, 3), 40)
    const { rateHz, rateU, phaseDepthRad, phaseDepthU } = modulation!
    expect(Math.abs(rateHz! - 3)).toBeLessThan(4 * rateU + 3 * 60e-6)
    // Truth: 2 pi 997 Hz × 20 us.
    expect(Math.abs(phaseDepthRad - 2 * Math.PI * 997 * 20e-6)).toBeLessThan(4 * phaseDepthU + 2e-4)
  })
})

describe('a level that swings', () => {
  const swings: readonly (readonly [depth: number, rateHz: number])[] = [
    [0.01, 5],
    [0.2, 5],
    [0.1, 12],
  ]
  test.each(some(swings, 1))('by %f at %f Hz is read as that', (depth, rateHz) => {
    const { modulation, isTimeVariant } = read(levelSwung(full, RATE_HZ, depth, rateHz))
    expect(isTimeVariant).toBe(true)
    expect(modulation!.rateHz).toBeCloseTo(rateHz, 2)
    expect(Math.abs(modulation!.levelDepth / depth - 1)).toBeLessThan(0.01)
    expect(modulation!.phaseDepthRad).toBeLessThan(2e-3)
    // Two sidebands of half the depth each: energy m² / 2 over that of the carrier and them.
    expect(Math.abs(modulation!.sidebandsDb - db((depth * depth) / 2))).toBeLessThan(1)
  })

  test('is still read with a dropout in the tone', () => {
    const wire = dropped(levelSwung(full, RATE_HZ, 0.2, 5), sampleAt(20.3), 480)
    expect(read(wire).modulation!.rateHz).toBeCloseTo(5, 1)
  })
})

describe('what changes at random', () => {
  test("from one side only, into the other side's output, is said of that side", () => {
    // Ten per cent of the energy: 0.32² of the right side's.
    const {
      isTimeVariant,
      ratio,
      left: ofLeft,
      right: ofRight,
    } = read(summed(right, scaled(decorrelated(left, RATE_HZ, 30, 9), 0.32)))
    expect(isTimeVariant).toBe(true)
    // Eight random levels (and their one draw at each time) leave their energy uncertain by half: 3 dB.
    expect(Math.abs(db(ratio) - db(0.1024 / 1.1024))).toBeLessThan(3)
    expect(ofLeft).toMatchObject({ isTimeVariant: true })
    // Nothing of what left drives comes again; all of what right drives does.
    expect(db(ofLeft!.ratio)).toBeGreaterThan(-2)
    expect(ofRight!.isTimeVariant).toBe(false)
    expect(Math.abs(db(ofLeft!.ofOutput) - db(ratio))).toBeLessThan(3)
  })

  test('slowly, twenty decibels down, is still seen', () => {
    const {
      isTimeVariant,
      ratio,
      left: ofLeft,
    } = read(summed(right, scaled(decorrelated(left, RATE_HZ, 3, 9), 0.1)), 60)
    expect(isTimeVariant).toBe(true)
    expect(Math.abs(db(ratio) - db(0.01 / 1.01))).toBeLessThan(4)
    expect(ofLeft!.isTimeVariant).toBe(true)
  })

  test('in all of an output leaves nothing of either side', () => {
    const { isTimeVariant, ratio, modulation } = read(decorrelated(full, RATE_HZ, 3, 9))
    expect(isTimeVariant).toBe(true)
    expect(db(ratio)).toBeGreaterThan(-8)
    // It has no rate of its own.
    expect(modulation?.rateHz ?? null).toBeNull()
  })

  test('but not with time, a response as tangled as that, is none', () => {
    const wire = summed(right, scaled(reverberant(left, RATE_HZ, 0.1, 3, 8), 0.3))
    expect(read(wire)).toMatchObject({ isTimeVariant: false, isAtMost: true })
  })
})
