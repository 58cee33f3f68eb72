/** Gain that moves by itself: tones whose level changes by a known law, and gains that differ between signals. */
import { describe, expect, test } from 'vitest'
import { gainChange, readEnvelope } from '../../src/measure/limiting.js'
import { readStaircase } from '../../src/measure/staircase.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { deconvolve, sweepReference, transferFrom } from '../../src/measure/transfer.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { butterworth, filtered } from '../kit/biquad.js'
import { hiss, uniformFrom } from '../kit/random.js'
import { mixed, placeOf, playTrack } from '../kit/track.js'

const RATE_HZ = 48_000
const COUNT = 1.9 * RATE_HZ

const toneBy = (freqHz: number, levelAt: (tS: number) => number, noise: Float64Array | null = null): Float32Array =>
  Float32Array.from(
    { length: COUNT },
    (_, n) => levelAt(n / RATE_HZ) * Math.sin((2 * Math.PI * freqHz * n) / RATE_HZ + 0.3) + (noise ? noise[n] : 0),
  )

describe('the envelope of a tone', () => {
  test.each([997, 60, 6300])('of %d Hz that is steady stands still', (freqHz) => {
    const { levelDb, driftDb, settleS } = readEnvelope(
      toneBy(freqHz, () => 0.5),
      freqHz,
      RATE_HZ,
    )!
    // Float32 samples and the tone's own image, taken off: below 1e-5.
    for (const level of levelDb) expect(Math.abs(level)).toBeLessThan(1e-4)
    expect(Math.abs(driftDb)).toBeLessThan(1e-4)
    expect(settleS).toBeNull()
  })

  // Truth: mean of exp(-t / τ) under a Hann window from 0 to T, (1 - exp(-T / τ)) (τ / T) (1 - 1 / (1 + (2 π τ / T)²)); a
  // block that starts later has exp(-t / τ) of it. Blocks of T = 0.1 s every 0.05 s; settled is the mean of the last third.
  test.each([0.1, 0.2, 0.3])('falls back by what an attack with a time constant of %d s gives', (tauS) => {
    const attack = toneBy(997, (tS) => 0.4 * (1 + 0.5 * Math.exp(-tS / tauS)))
    const { driftDb, settleS, levelDb } = readEnvelope(attack, 997, RATE_HZ)!
    const first = (1 - Math.exp(-0.1 / tauS)) * (tauS / 0.1) * (1 - 1 / (1 + ((2 * Math.PI * tauS) / 0.1) ** 2))
    const levels = levelDb.map((_, b) => 1 + 0.5 * first * Math.exp((-0.05 * b) / tauS))
    const last = levels.slice(-Math.floor(levels.length / 3))
    const settled = last.reduce((sum, level) => sum + level, 0) / last.length
    // While the level moves, a piece of 2 ms has 2 % of the fall in it at τ = 0.1 s: half a sample of time (0.0003 dB), and
    // what is left of the tone's image (1 / 4 π of 2 % of a third, 0.0005 dB), stay below 0.002 dB together.
    for (const [b, level] of levels.entries()) {
      expect(Math.abs(levelDb[b] - 20 * Math.log10(level / settled))).toBeLessThan(0.002)
    }
    expect(levelDb[0]).toBe(driftDb)
    // In steps of 0.05 s.
    expect(Math.abs(settleS! - tauS)).toBeLessThan(0.06)
  })

  test('comes up where a gain recovers', () => {
    const { driftDb, settleS } = readEnvelope(
      toneBy(997, (tS) => 0.4 * (1 - 0.3 * Math.exp(-tS / 0.3))),
      997,
      RATE_HZ,
    )!
    expect(driftDb).toBeLessThan(-1)
    expect(settleS).toBeGreaterThan(0.2)
  })

  test('is not read where the tone hardly stands over noise', () => {
    expect(
      readEnvelope(
        toneBy(997, () => 1e-6, hiss(COUNT, 1e-3, 4)),
        997,
        RATE_HZ,
      ),
    ).toBeNull()
    expect(readEnvelope(new Float32Array(COUNT), 997, RATE_HZ)).toBeNull()
  })

  test('of too short a stretch is a mistake of the program', () => {
    expect(() => readEnvelope(new Float32Array(4800), 997, RATE_HZ)).toThrow(
      /readEnvelope: 4800 samples, want 16800 or more/,
    )
  })

  // Truth: steady. 95.4 % less three deviations of a binomial count of 300.
  test.each([997, 60])('drifts within its uncertainty over 300 seeded takes (%d Hz, 50 dB)', (freqHz) => {
    const seeds = uniformFrom(3)
    const clean = toneBy(freqHz, () => 0.5)
    let [held, sum, sumU] = [0, 0, 0]
    for (let take = 0; take < 300; take++) {
      const noise = hiss(COUNT, 0.5 * Math.SQRT1_2 * 10 ** (-50 / 20), Math.floor(2 ** 32 * seeds()))
      const noisy = new Float32Array(COUNT)
      for (let n = 0; n < COUNT; n++) noisy[n] = clean[n] + noise[n]
      const { driftDb, driftDbU } = readEnvelope(noisy, freqHz, RATE_HZ)!
      if (Math.abs(driftDb) <= 2 * driftDbU) held++
      sum += driftDb ** 2
      sumU += driftDbU
    }
    expect(held / 300).toBeGreaterThan(0.918)
    expect(sumU / 300 / Math.sqrt(sum / 300)).toBeLessThan(1.2)
  })
})

describe('gains of sweep, tone and staircase', () => {
  const played = playTrack({ fromS: sectionsOf().find(({ kind }) => kind === 'sweep_left')!.startS - 0.3 })
  const located = placeOf(played)
  const reference = sweepReference(located)

  /** A level control in front of the input: the gain of every section of the timetable by its own. */
  function changeOf(freqHz: number, wire: Float64Array, gainOf: (kind: string, peakFs: number) => number = () => 1) {
    const taken = new Float32Array(wire.length)
    const sections = sectionsOf()
    let k = 0
    for (let n = 0; n < wire.length; n++) {
      const tS = (n - located.startSample) / located.samplesPerS
      while (k + 1 < sections.length && sections[k + 1].startS <= tS) k++
      taken[n] = wire[n] * gainOf(sections[k].kind, sections[k].tones[0]?.peakFs ?? 0.25)
    }
    const { startS, durationS } = sections.find(({ kind, tones }) => kind === 'tone' && tones[0].freqHz === freqHz)!
    const at = (s: number): number => Math.round(located.startSample + s * located.samplesPerS)
    const tone = readTone(taken.subarray(at(startS + 0.2), at(startS + durationS - 0.1)), freqHz, located.samplesPerS)
    const transfer = transferFrom(deconvolve(taken, reference))
    return gainChange(transfer, tone, readStaircase(taken, located, freqHz))
  }

  test.each([997, 60, 6300])('agree at %d Hz on an output that does nothing', (freqHz) => {
    const change = changeOf(freqHz, mixed(played, 0.3, 0.2))!
    expect(Math.abs(change.toneOverSweepDb)).toBeLessThan(Math.max(0.005, 2 * change.toneOverSweepDbU))
    expect(Math.abs(change.stepOverSweepDb!)).toBeLessThan(0.005)
    expect(Math.abs(change.toneOverStepDb!)).toBeLessThan(0.001)
  })

  // A slope of 24 dB an octave between grid points: the cubic through four of them holds.
  test('agree on the slope of a filter', () => {
    const change = changeOf(997, filtered(mixed(played, 0.5, 0), butterworth('high', 4, 1500, RATE_HZ)))!
    expect(Math.abs(change.toneOverSweepDb)).toBeLessThan(0.005)
  })

  // Truth: the gains that were set: loud and long by 0.5, the step of -3 dBFS by 0.7, all below -9 dBFS alone.
  test('differ by what a limiter takes', () => {
    const change = changeOf(997, mixed(played, 0.3, 0.2), (kind, peakFs) =>
      kind === 'tone' ? 0.5 : peakFs > 0.4 ? 0.7 : 1,
    )!
    expect(change.toneOverSweepDb).toBeCloseTo(20 * Math.log10(0.5), 2)
    expect(change.stepOverSweepDb).toBeCloseTo(0, 2)
    expect(change.toneOverStepDb).toBeCloseTo(20 * Math.log10(0.5 / 0.7), 2)
  })

  test('are not compared on an output that hears the sides in opposition, or nothing', () => {
    expect(changeOf(997, mixed(played, 0.3, -0.3))).toBeNull()
    expect(changeOf(997, new Float64Array(played.left.length))).toBeNull()
  })
})
