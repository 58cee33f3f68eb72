/**
 * Responses from the sweeps, against filters whose response is known in closed form (W3C Audio EQ Cookbook).
 *
 * The track's place is given, so that this is about deconvolution alone; locating has tests of its own.
 */
import { describe, expect, test } from 'vitest'
import type { Transfer } from '../../src/measure/analysis.js'
import { GRID_HZ, gridIndex } from '../../src/measure/grid.js'
import { type SweepReference, sweepReference, transferOf } from '../../src/measure/transfer.js'
import { SWEEP } from '../../src/stimulus/layout.js'
import { butterworth, type Filter, filtered, peaking, responseAt } from '../kit/biquad.js'
import { hiss } from '../kit/random.js'
import { delayed, mixed, type Played, placeOf, playTrack, shaped, summed } from '../kit/track.js'

/** The sweeps and what is around them; the rest of the track has no part in this. */
const sweepsAt = (sampleRateHz: number, ppm = 0): { played: Played; reference: SweepReference } => {
  const played = playTrack({ sampleRateHz, ppm, leadInS: 0.5000123, fromS: 5, toS: 21 })
  return { played, reference: sweepReference(placeOf(played)) }
}
const transferIn = (samples: Float64Array, reference: SweepReference): Transfer =>
  transferOf(Float32Array.from(samples), reference)

const AUDIO: readonly number[] = [...GRID_HZ.keys()].filter((i) => GRID_HZ[i] >= 20 && GRID_HZ[i] <= 20_000)

/** What the cut of the impulse response costs at 20 Hz (0.5 s hold ten periods of it), found to be 0.0001 dB. */
const WINDOW_DB = 0.0002

type Side = 'left' | 'right'

/**
 * Largest error (dB) of one side over the band in which its filter lets at least minimumDb through, less what the
 * transfer itself says that noise may do: five times its rms error.
 */
function excessErrorDb(transfer: Transfer, side: Side, filter: Filter, samplesPerS: number, minimumDb: number): number {
  const [re, im, error] = [transfer[`${side}Re`], transfer[`${side}Im`], transfer[`${side}Error`]]
  let [worstDb, count] = [0, 0]
  for (const i of AUDIO) {
    const truth = responseAt(filter, GRID_HZ[i], samplesPerS)
    const magnitude = Math.hypot(truth.re, truth.im)
    if (20 * Math.log10(magnitude) < minimumDb) continue
    const errorDb = Math.abs(20 * Math.log10(Math.hypot(re[i], im[i]) / magnitude))
    worstDb = Math.max(worstDb, errorDb - 20 * Math.log10(1 + (5 * error[i]) / magnitude))
    count++
  }
  expect(count).toBeGreaterThan(40)
  return worstDb
}

describe('at 48 kHz with noise 95 dB below the sweep', () => {
  const { played, reference } = sweepsAt(48_000)
  const noise = hiss(played.left.length, 3e-6, 3)
  const wire = transferIn(summed(played.left, noise), reference)

  test('a wire is flat within 0.001 dB from 20 Hz to 20 kHz', () => {
    // Truth: gain 1 and phase 0. Tolerance: the sweep's spectrum is A/2 sqrt(L/f), at 20 kHz 6e-4; the noise in the
    // window's 0.5 s is 1e-8. That is -96 dB, 0.0001 dB rms; the largest of 480 points is four times that.
    for (const i of AUDIO) {
      expect(Math.abs(20 * Math.log10(Math.hypot(wire.leftRe[i], wire.leftIm[i])))).toBeLessThan(0.001)
    }
  })

  test('the side that is not there reads as noise of the size that the transfer says', () => {
    const ratios = AUDIO.map((i) => Math.hypot(wire.rightRe[i], wire.rightIm[i]) / wire.rightError[i])
    // Truth: what is left on the silent side is noise, and the error is its rms. Neighbours share their noise: of 480
    // points some 100 are independent, and as many make the error, so their ratio scatters by 10 %. A point four times
    // the rms comes once in e^16.
    const rms = Math.sqrt(ratios.reduce((sum, ratio) => sum + ratio * ratio, 0) / ratios.length)
    expect(Math.abs(rms - 1)).toBeLessThan(0.25)
    expect(Math.max(...ratios)).toBeLessThan(4)
  })

  const lows = butterworth('low', 4, 80, 48_000)
  const highs = butterworth('high', 4, 3000, 48_000)
  const middle = [...butterworth('high', 4, 150, 48_000), ...butterworth('low', 4, 7000, 48_000)]
  const peak = [peaking(1000, 6, 1.4, 48_000)]
  const dip = [peaking(60, -8, 4, 48_000), peaking(82, 4.1, 1.1, 48_000)]

  test.each<[string, string, Filter, Filter]>([
    ['80 Hz low-pass of fourth order', '3 kHz high-pass of fourth order', lows, highs],
    ['band-pass from 150 Hz to 7 kHz', 'peak of 6 dB at 1 kHz', middle, peak],
    ['dip at 60 Hz beside a peak at 82 Hz', 'straight wire', dip, []],
  ])('a %s on the left and a %s on the right of one input read as their closed forms', (_, __, left, right) => {
    const transfer = transferIn(summed(filtered(played.left, left), filtered(played.right, right), noise), reference)
    expect(excessErrorDb(transfer, 'left', left, 48_000, -60)).toBeLessThan(WINDOW_DB)
    expect(excessErrorDb(transfer, 'right', right, 48_000, -60)).toBeLessThan(WINDOW_DB)
  })

  test('each side keeps its gain and its sign', () => {
    const { leftRe, leftIm, rightRe, rightIm } = transferIn(summed(mixed(played, 0.5, -0.25), noise), reference)
    for (const freqHz of [30, 997, 15_000]) {
      const i = gridIndex(freqHz)
      // Tolerance: five times the noise at 20 kHz, see above.
      expect(Math.hypot(leftRe[i] - 0.5, leftIm[i])).toBeLessThan(8e-5)
      expect(Math.hypot(rightRe[i] + 0.25, rightIm[i])).toBeLessThan(8e-5)
    }
  })

  test('a delay turns the phase by exactly its time, up to 90 ms', () => {
    for (const lateSamples of [1, 624, 4320]) {
      const { leftRe, leftIm } = transferIn(summed(delayed(played.left, lateSamples), noise), reference)
      for (const i of AUDIO) {
        const turn = (-2 * Math.PI * GRID_HZ[i] * lateSamples) / 48_000
        const offRad = Math.atan2(
          leftIm[i] * Math.cos(turn) - leftRe[i] * Math.sin(turn),
          leftRe[i] * Math.cos(turn) + leftIm[i] * Math.sin(turn),
        )
        // 0.001 dB of amplitude, as above, and this angle are the same distance in the complex plane.
        expect(Math.abs(offRad)).toBeLessThan((0.001 * Math.LN10) / 20)
      }
    }
  })
})

describe('on a capture with its own clock', () => {
  test.each([
    [48_000, 80],
    [48_000, -500],
    [44_100, 80],
    [96_000, 80],
  ])('at %d Hz and %d ppm, from a fraction of a sample, filters read as their closed forms', (sampleRateHz, ppm) => {
    const { played, reference } = sweepsAt(sampleRateHz, ppm)
    const [lows, highs] = [butterworth('low', 4, 80, sampleRateHz), butterworth('high', 4, 3000, sampleRateHz)]
    const transfer = transferIn(summed(filtered(played.left, lows), filtered(played.right, highs)), reference)
    // The filters run on the capture's clock, the grid is the player's: hence samplesPerS.
    expect(excessErrorDb(transfer, 'left', lows, played.samplesPerS, -40)).toBeLessThan(WINDOW_DB)
    expect(excessErrorDb(transfer, 'right', highs, played.samplesPerS, -40)).toBeLessThan(WINDOW_DB)
  })
})

test('distortion moves the linear response by its closed form, and the even part of it not at all', () => {
  // At 96 kHz no harmonic folds back into the band: 3 x 22 kHz comes back at 30 kHz.
  const { played, reference } = sweepsAt(96_000)
  const [a2, a3] = [0.1, 0.05]
  const { leftRe, leftIm } = transferIn(shaped(played.left, a2, a3), reference)
  // Truth: |H1| = 1 + 3/4 a3 A^2 (A. Novak, P. Lotton, L. Simon, 2015), 0.0203 dB. Tolerance: the second harmonic lies
  // 0.35 s before the linear response and rings on at the 8 Hz edge; of it a ten-thousandth is left at 20 Hz.
  const truthDb = 20 * Math.log10(1 + 0.75 * a3 * SWEEP.peakFs ** 2)
  for (const i of AUDIO) {
    const offDb = 20 * Math.log10(Math.hypot(leftRe[i], leftIm[i])) - truthDb
    expect(Math.abs(offDb)).toBeLessThan(GRID_HZ[i] < 100 ? 0.004 : 0.0005)
  }
})
