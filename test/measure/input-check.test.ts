import { describe, expect, test } from 'vitest'
import { areSame, findProbe, readInput } from '../../src/measure/input-check.js'
import { normalFrom } from '../kit/random.js'

const RATE_HZ = 48_000
const TONES = { leftHz: [997, 75, 6300], rightHz: [1151, 90, 7340] }
const PEAK_FS = 1e-3
/** Rms; the probe's tones stand 50 dB over what falls into one bin of it. */
const NOISE_FS = 1e-4

function signal(lengthS: number, seed: number, tonesHz: readonly number[], fromS = 0, toS = lengthS): Float32Array {
  const normal = normalFrom(seed)
  return Float32Array.from({ length: lengthS * RATE_HZ }, (_, n) => {
    const t = n / RATE_HZ
    const isOn = t >= fromS && t < toS
    const tone = isOn ? tonesHz.reduce((sum, hz) => sum + PEAK_FS * Math.sin(2 * Math.PI * hz * t), 0) : 0
    return tone + NOISE_FS * normal()
  })
}
const rest = signal(2.5, 1, [])
const WHOLE = { first: 24_000, count: 48_000 }
const read = (take: Float32Array, quiet = rest) => readInput(quiet, take, WHOLE, TONES, RATE_HZ)
const heard = (tones: readonly { isHeard: boolean }[]): boolean[] => tones.map(({ isHeard }) => isHeard)

describe('the probe', () => {
  test('is found where it sounds, though most inputs hear nothing of it', () => {
    const quiet = [rest, signal(2.5, 2, []), signal(2.5, 3, [])]
    const takes = [signal(4, 4, []), signal(4, 5, [75], 1.7, 3.3), signal(4, 6, [])]
    const first = findProbe(takes, quiet, [...TONES.leftHz, ...TONES.rightHz], 1, RATE_HZ) / RATE_HZ
    // The window of 1 s lies inside the probe.
    expect(first).toBeGreaterThanOrEqual(1.7)
    expect(first + 1).toBeLessThanOrEqual(3.3)
  })

  test('is found nowhere in particular where nobody hears it', () => {
    expect(findProbe([signal(3, 7, [])], [rest], TONES.leftHz, 1, RATE_HZ)).toBeGreaterThanOrEqual(0)
  })
})

describe('an input', () => {
  // Truth: the amplitudes that went in; noise moves a tone's peak by NOISE_FS * sqrt(2 * 3.6 / 48000), 1e-6.
  test('tells which tones of which side it hears, and how loud', () => {
    const left = read(signal(2.5, 8, TONES.leftHz))
    expect(heard(left.left)).toEqual([true, true, true])
    expect(heard(left.right)).toEqual([false, false, false])
    for (const { peakFs } of left.left) expect(Math.abs(peakFs - PEAK_FS)).toBeLessThan(5e-6)
    const subwoofer = read(signal(2.5, 9, [75, 90]))
    expect([heard(subwoofer.left), heard(subwoofer.right)]).toEqual([
      [false, true, false],
      [false, true, false],
    ])
  })

  test('hears nothing in its own noise', () => {
    for (let seed = 10; seed < 30; seed++) {
      const { left, right } = read(signal(2.5, seed, []))
      expect([...heard(left), ...heard(right)]).not.toContain(true)
    }
  })

  test('does not take what was there before for the probe', () => {
    const { left } = readInput(signal(2.5, 30, [997]), signal(2.5, 31, [997]), WHOLE, TONES, RATE_HZ)
    expect(heard(left)).toEqual([false, false, false])
  })

  test('tells its floor, and mains hum on it', () => {
    // Truth: white noise of rms 1e-4 is sqrt 2 times that as a fraction of a full-scale sine's rms.
    const quiet = read(signal(2.5, 32, []))
    expect(quiet.floorFs / (Math.SQRT2 * NOISE_FS)).toBeCloseTo(1, 1)
    expect(quiet.hum).toBeNull()
    const humming = read(signal(2.5, 33, []), signal(2.5, 34, [50, 150, 100]))
    expect(humming.hum!.freqHz).toBeCloseTo(50, 0)
    // Three lines of one peak each.
    expect(humming.hum!.levelFs / (PEAK_FS * Math.sqrt(3))).toBeCloseTo(1, 1)
  })

  test('that never moves is named: zeros, or one value', () => {
    const zeros = new Float32Array(120_000)
    expect(read(zeros, zeros)).toMatchObject({ stuck: 'zeros', usedBits: null, hum: null, floorFs: 0 })
    const constant = new Float32Array(120_000).fill(0.25)
    expect(read(constant, constant)).toMatchObject({ stuck: 'constant', floorFs: 0 })
  })

  test('in digital silence that hears the probe is alive', () => {
    const zeros = new Float32Array(120_000)
    const { stuck, left, hum } = read(signal(2.5, 35, TONES.leftHz), zeros)
    expect([stuck, hum, heard(left)]).toEqual([null, null, [true, true, true]])
  })

  test('tells how many bits its samples make use of', () => {
    const onGrid = (bits: number, samples: Float32Array): Float32Array =>
      samples.map((sample) => Math.round(sample * 2 ** (bits - 1)) / 2 ** (bits - 1))
    const take = signal(2.5, 36, TONES.leftHz)
    expect(read(onGrid(16, take), onGrid(16, rest)).usedBits).toBe(16)
    expect(read(onGrid(24, take), onGrid(16, rest)).usedBits).toBe(24)
    expect(read(take).usedBits).toBe(32)
  })
})

test('two inputs are the same only sample by sample', () => {
  const other = rest.slice()
  expect(areSame(rest, other)).toBe(true)
  other[rest.length - 1] += 1e-7
  expect(areSame(rest, other)).toBe(false)
})
