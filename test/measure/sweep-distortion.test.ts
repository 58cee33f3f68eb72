/** Distortion against frequency of curves whose harmonics are known in closed form. */
import { describe, expect, test } from 'vitest'
import { sweepDistortion } from '../../src/measure/sweep-distortion.js'
import { deconvolve, sweepReference, transferFrom } from '../../src/measure/transfer.js'
import { SWEEP, sectionStartS, sectionsOf, sweepPhaseRad } from '../../src/stimulus/layout.js'
import { hiss, uniformFrom } from '../kit/random.js'
import { mixed, type Played, placeOf, playTrack, scaled, summed } from '../kit/track.js'
import { isLong } from '../long.js'

/** The sweeps alone, with a little in front of them. */
const FROM_S = sectionStartS('sweep_left') - 0.3
const TO_S = sectionsOf().find(({ kind }) => kind === 'tone')!.startS
const P = SWEEP.peakFs

/** What a curve adds to one sweep: cosines and sines of n times its phase, each only as far as it lies below 22.5 kHz. */
function harmonicsOf(
  { samplesPerS, startSample, left }: Played,
  kind: 'sweep_left' | 'sweep_right',
  valueAt: (phaseRad: number, isThere: (order: number) => number) => number,
): Float64Array {
  const out = new Float64Array(left.length)
  const at = startSample + sectionStartS(kind) * samplesPerS
  for (let n = Math.ceil(at); n < Math.min(out.length, at + SWEEP.durationS * samplesPerS); n++) {
    const tS = (n - at) / samplesPerS
    const freqHz = SWEEP.freqHzStart * Math.exp(tS / SWEEP.rateS)
    const isThere = (order: number): number => 1 / (1 + Math.exp((order * freqHz - 22_500) / 150))
    out[n] = valueAt(sweepPhaseRad(tS, SWEEP.freqHzStart, SWEEP.rateS), isThere)
  }
  return out
}

/** y = x + a2 x² + a3 x³ of the sweep, by its power series; direct voltage left out, as a coupling capacitor does. */
const polynomial =
  (a2: number, a3: number) =>
  (phase: number, isThere: (order: number) => number): number =>
    0.75 * a3 * P ** 3 * Math.sin(phase) -
    0.5 * a2 * P ** 2 * isThere(2) * Math.cos(2 * phase) -
    0.25 * a3 * P ** 3 * isThere(3) * Math.sin(3 * phase)

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

function read(played: Played, wire: Float64Array) {
  const responses = deconvolve(Float32Array.from(wire), sweepReference(placeOf(played)))
  return sweepDistortion(responses, transferFrom(responses))
}

const [A2, A3] = [0.02, 0.01]
const LINEAR = 1 + 0.75 * A3 * P ** 2
const SECOND = (0.5 * A2 * P) / LINEAR
const THIRD = (0.25 * A3 * P ** 2) / LINEAR

describe('harmonics of a polynomial', () => {
  // Truth: |H2| = a2 P / 2, |H3| = a3 P² / 4 over 1 + 3/4 a3 P² at the sweep's peak P (Novak, Lotton, Simon 2015). Below 28 Hz
  // the sweep's start, which the response of order n has at n times 10 Hz, shows: the reader states 0.7 % there, twice
  // that is allowed; above it states 0.1 %.
  test.each([
    ['sweep_left', 48_000, 0],
    ['sweep_right', 44_100, 200],
  ] as const)('are their closed form at every frequency (%s, %d Hz, %d ppm)', (kind, sampleRateHz, ppm) => {
    const played = playTrack({ sampleRateHz, ppm, fromS: FROM_S, toS: TO_S, leadInS: 0.2113 })
    const isLeft = kind === 'sweep_left'
    const wire = summed(
      isLeft ? mixed(played, 1, 0.001) : mixed(played, 0.001, 1),
      harmonicsOf(played, kind, polynomial(A2, A3)),
    )
    const { points, side, sourcePeakFs } = read(played, wire)
    expect(side).toBe(isLeft ? 'left' : 'right')
    expect(sourcePeakFs).toBe(0.25)
    // A sixth of an octave, 22.1 Hz to 8980 Hz: the second harmonic lies below 20 kHz.
    expect(points.length).toBe(53)
    expect(points.some(({ freqHz }) => Math.abs(freqHz - 1000) < 1e-6)).toBe(true)
    for (const { freqHz, harmonics, thd } of points) {
      const tolerance = freqHz < 28 ? 0.014 : 0.002
      expect(Math.abs(harmonics[0].value / SECOND - 1), `second at ${freqHz} Hz`).toBeLessThan(tolerance)
      expect(harmonics.length).toBe(Math.min(4, Math.floor(20_000 / freqHz) - 1))
      if (harmonics[1]) expect(Math.abs(harmonics[1].value / THIRD - 1), `third at ${freqHz}`).toBeLessThan(tolerance)
      const truth = Math.hypot(SECOND, harmonics.length > 1 ? THIRD : 0)
      expect(Math.abs(thd.value / truth - 1)).toBeLessThan(tolerance)
      for (const high of harmonics.slice(2)) expect(high.value).toBeLessThan(0.02 * THIRD)
    }
  })

  test('grow with the output only where the curve says so', () => {
    const played = playTrack({ fromS: FROM_S, toS: TO_S })
    const wire = summed(mixed(played, 1, 0), harmonicsOf(played, 'sweep_left', polynomial(A2, A3)))
    const [once, half] = [read(played, wire), read(played, scaled(wire, 0.5))]
    once.points.forEach(({ thd }, i) => {
      expect(half.points[i].thd.value / thd.value).toBeCloseTo(1, 4)
    })
  })
})

test('a clean output is at most what noise hides, and its level is that of the noise', () => {
  const played = playTrack({ fromS: FROM_S, toS: TO_S })
  const wire = mixed(played, 0.5, 0)
  const { points } = read(played, summed(wire, hiss(wire.length, 0.5 * P * Math.SQRT1_2 * 1e-3, 8)))
  const bounded = points.filter(({ thd }) => thd.isAtMost)
  // 2.5 deviations: one in a hundred points or so passes as seen.
  expect(bounded.length).toBeGreaterThanOrEqual(points.length - 4)
  for (const { thd } of bounded) expect(thd.value).toBeLessThan(0.01)
})

test('is not read outside the band of an output', () => {
  const played = playTrack({ fromS: FROM_S, toS: TO_S })
  expect(read(played, new Float64Array(played.left.length)).points).toEqual([])
})

describe('over seeded takes in noise 60 dB under the sweep', () => {
  test('each harmonic is within its uncertainty', () => {
    const played = playTrack({ fromS: FROM_S, toS: TO_S })
    const clean = summed(mixed(played, 1, 0), harmonicsOf(played, 'sweep_left', polynomial(A2, A3)))
    const reference = sweepReference(placeOf(played))
    const truths = [SECOND, THIRD, 0]
    const held = truths.map(() => ({ holds: 0, count: 0 }))
    const seeds = seedsFrom(5)
    const takes = isLong ? 40 : 16
    for (let take = 0; take < takes; take++) {
      const taken = inHiss(clean, P * Math.SQRT1_2 * 1e-3, seeds())
      const responses = deconvolve(taken, reference)
      for (const { harmonics } of sweepDistortion(responses, transferFrom(responses)).points) {
        harmonics.slice(0, 3).forEach(({ value, u, isAtMost }, k) => {
          held[k].count++
          if (isAtMost ? truths[k] <= value : Math.abs(value - truths[k]) <= 2 * u) held[k].holds++
        })
      }
    }
    // Some 50 values of a take for each order, of which neighbours at low frequencies are not independent: 95.4 % less
    // five deviations of 15 independent ones in each take.
    const least = 0.954 - 5 * Math.sqrt((0.954 * 0.046) / (15 * takes))
    for (const { holds, count } of held) expect(holds / count).toBeGreaterThan(least)
  })
})
