import { describe, expect, test } from 'vitest'
import { captureClock, placesIn } from '../../src/vehicle/clock.js'
import { captureOf, fitTone, jobOf, modelOf, rigOf, toneOn, turnRad } from './scene.js'

// Closed form: a rate that grows evenly, S (1 + g t), has passed S (t + g t² / 2) samples; both forms differ by g² t³ / 2 of
// the rate only: for 6 ppm a minute and 60 s, 5e-5 of a sample.
test('a drifting clock has counted the integral of its rate', () => {
  const clock = captureClock(48_000, 21, 6)
  for (const timeS of [0, 1, 17.3, 60]) {
    const wanted = 48_000 * 1.000_021 * (timeS + ((6e-6 / 60) * timeS * timeS) / 2)
    expect(Math.abs(clock.sampleAt(timeS) - wanted)).toBeLessThan(1e-4)
  }
})

test('a clock without drift counts evenly', () => {
  const clock = captureClock(48_000, -100, 0)
  expect(clock.sampleAt(10)).toBeCloseTo(480_000 * 0.9999, 9)
  expect(placesIn(clock, 2, 44_100)).toEqual({
    firstAt: -88_200,
    step: expect.closeTo(44_100 / 47_995.2, 12),
    bend: -0,
  })
})

// Both directions of one relation: a place that belongs to a time lies at that time's sample of the track.
test.each([-60, 5, 60])('at %d ppm a minute the places in a track are the inverse of the count', (drift) => {
  const clock = captureClock(48_000, 80, drift)
  const { firstAt, step, bend } = placesIn(clock, 1.5, 44_100)
  for (const timeS of [0, 1.5, 20, 45]) {
    const n = clock.sampleAt(timeS)
    // 2 million samples times 44 100 in double precision leave 1e-8 of a sample.
    expect(Math.abs(firstAt + n * (step + 0.5 * (n - 1) * bend) - (timeS - 1.5) * 44_100)).toBeLessThan(1e-6)
  }
})

describe('a take on a drifting clock', () => {
  // Closed form: phase 2 pi f t at the time of each sample. At 60 ppm a minute a tone of 5 kHz is 21 turns early after 29 s;
  // what is left of the turn is read against it. Fits over 20 ms, in which the rate moves by 2e-8.
  test('has a tone where the clock says, at its beginning and at its end', async () => {
    const job = jobOf('{ number: 1, label: left, left: 1, right: 0, level_vrms: 2 }')
    const model = modelOf(
      job,
      '{ outputs: { 1: { noise_dbv: -140 } }, capture: { clock_offset_ppm: 40, clock_drift_ppm_per_min: 60, noise_dbfs: -160 } }',
    )
    const take = await captureOf(model, toneOn('left', 5000, 0.5, 30), rigOf(1), [1])
    const clock = captureClock(48_000, 40, 60)
    const startS = model.capture.leadInS + model.latencyS
    const phases = [0.5, 10, 29].map((timeS) => {
      const first = Math.round(clock.sampleAt(startS + timeS))
      // The rate at that time, and the place of the fit's first sample in the tone by the clock's own account.
      const rate = clock.samplesPerS * (1 + clock.growthPerS * (startS + timeS))
      const u = first / clock.samplesPerS
      const laterS = u - (clock.growthPerS * u * u) / 2 - startS
      return fitTone(take.audio.channels[0].subarray(first, first + 960), 5000, rate, laterS * rate).phaseRad
    })
    // 1e-7 of the rate over 10 ms, half a fit, is 3e-5 rad; a ppm missed would be 0.9 rad after 29 s.
    expect(Math.abs(turnRad(phases[0], phases[1]))).toBeLessThan(1e-4)
    expect(Math.abs(turnRad(phases[0], phases[2]))).toBeLessThan(1e-4)
  })
})
