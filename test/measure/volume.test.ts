import { describe, expect, test } from 'vitest'
import { heardOf } from '../../src/measure/heard.js'
import { type VolumeChange, volumeChanges } from '../../src/measure/volume.js'
import { type Filter, linkwitzRiley, magnitudeDb, shelf } from '../kit/biquad.js'
import { wireWith } from '../kit/grid-noise.js'

const RATE_HZ = 48_000
const step = (setting: string, gain: number, filter: Filter = []): Parameters<typeof volumeChanges>[0][number] => ({
  setting,
  response: heardOf(wireWith(null, { left: gain, filter, delayS: 0.01 }), 1, 0),
})

/** The power mean of filters over a band, dB, by a sum of a thousand points: for what a third octave makes of a slope. */
function bandDb(filter: Filter, centreHz: number): number {
  const count = 1000
  let sum = 0
  for (let n = 0; n < count; n++)
    sum += 10 ** (magnitudeDb(filter, centreHz * 10 ** (((n + 0.5) / count - 0.5) / 10), RATE_HZ) / 10)
  return 10 * Math.log10(sum / count)
}

test('a plain volume control changes the level and nothing else', () => {
  const [twenty, ten] = volumeChanges([step('30', 1), step('20', 0.1), step('10', 0.01)], 20, 20_000)
  expect([twenty.setting, ten.setting]).toEqual(['20', '10'])
  expect(twenty.levelChangeDb).toBeCloseTo(-20, 9)
  expect(ten.levelChangeDb).toBeCloseTo(-40, 9)
  expect(twenty.hasLoudness).toBe(false)
  for (const { liftDb } of ten.shape) expect(Math.abs(liftDb)).toBeLessThan(1e-9)
})

describe('a loudness curve', () => {
  const curve = [shelf('low', 100, 6, RATE_HZ), shelf('high', 8000, 3, RATE_HZ)]
  const [change] = volumeChanges([step('30', 1), step('15', 0.25, curve)], 20, 20_000)

  test('is found', () => {
    expect(change.hasLoudness).toBe(true)
    expect(change.referenceHz).toBeCloseTo(1000, 9)
  })

  test('is read at every third octave as the closed form has it', () => {
    for (const { freqHz, liftDb } of change.shape) {
      // Closed form of both filters, meaned by power over the band like the reading. Chords over cells h = ln 2 / 48 of the
      // power are off by h² / 12 times its bend, 2 per unit of ln f squared for these: 3e-5, 0.00015 dB; the cell at 1 kHz too.
      expect(Math.abs(liftDb - bandDb(curve, freqHz) + bandDb(curve, 1000))).toBeLessThan(3e-4)
    }
  })

  test('is told at 50 Hz and 10 kHz', () => {
    expect(change.bass!.freqHz).toBeCloseTo(50.119, 3)
    expect(change.bass!.liftDb).toBeGreaterThan(5)
    expect(change.treble!.freqHz).toBeCloseTo(10_000, 6)
    expect(change.treble!.liftDb).toBeGreaterThan(1.5)
  })

  test('does not pull the level along', () => {
    // Truth: -12.04 dB where nothing is lifted. The mean over the band is off by what the lifts come to on average; the
    // biweight takes in only the foot of the slopes, and is to be nearer by ten times.
    const off = Math.abs(change.levelChangeDb - 20 * Math.log10(0.25))
    const mean = change.shape.reduce((sum, { liftDb }) => sum + liftDb, 0) / change.shape.length
    expect(off).toBeLessThan(mean / 10)
  })
})

test('a lift of 0.2 dB is no loudness curve', () => {
  const [change] = volumeChanges([step('30', 1), step('15', 0.25, [shelf('low', 100, 0.2, RATE_HZ)])], 20, 20_000)
  expect(change.hasLoudness).toBe(false)
})

test("a subwoofer's change is held against the middle of its own band", () => {
  const sub = linkwitzRiley('low', 4, 100, RATE_HZ)
  const [change] = volumeChanges([step('30', 1, sub), step('15', 0.5, sub)], 20, 80)
  expect(change.referenceHz).toBeLessThan(50)
  expect(change.levelChangeDb).toBeCloseTo(-6.0206, 6)
  expect(change.treble).toBeNull()
})

test('one setting, and a band without a third octave, are refused', () => {
  expect(() => volumeChanges([step('30', 1)], 20, 20_000)).toThrow('volumeChanges: 1 volume settings, want two or more')
  const two = [step('30', 1), step('20', 0.5)]
  const narrow = (): VolumeChange[] => volumeChanges(two, 1000, 1100)
  expect(narrow).toThrow('volumeChanges: band 1000 to 1100 Hz, want a third octave or more')
  expect(() => volumeChanges(two, 1000, 1270)).toThrow('volumeChanges: band 1000 to 1270 Hz holds no third octave')
})
