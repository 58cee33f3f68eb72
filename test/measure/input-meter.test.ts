import { describe, expect, test } from 'vitest'
import { HeldLevels } from '../../src/measure/held-levels.js'
import { InputMeter, inputLevel } from '../../src/measure/input-meter.js'

const RATE_HZ = 48_000
/** Whole periods, so that the closed forms are exact: 1 kHz in blocks of 0.1 s. */
const sine = (peakFs: number, offsetFs = 0, count = RATE_HZ / 10): Float32Array =>
  Float32Array.from({ length: count }, (_, n) => offsetFs + peakFs * Math.sin((2 * Math.PI * 1000 * n) / RATE_HZ))

describe('levels of inputs', () => {
  // Truth: closed form; by AES17 a sine's level is its peak over full scale. Float32 rounds by 6e-8 of a sample.
  test('are 1 for a full-scale sine, and follow its peak', () => {
    expect(inputLevel(sine(1)).levelFs).toBeCloseTo(1, 6)
    expect(inputLevel(sine(0.01)).levelFs).toBeCloseTo(0.01, 8)
  })

  test('leave a constant part out, and tell it apart', () => {
    const level = inputLevel(sine(0.25, 0.1))
    expect(level.levelFs).toBeCloseTo(0.25, 6)
    expect(level.meanFs).toBeCloseTo(0.1, 6)
    expect(level.peakFs).toBeCloseTo(0.35, 6)
    expect(inputLevel(new Float32Array(100).fill(0.5)).levelFs).toBe(0)
  })

  test('count samples at the end of the scale, of either sign', () => {
    expect(inputLevel(Float32Array.of(0.5, 1, -1, 0.9998, 0.99999)).clippedCount).toBe(3)
  })

  test('start anew with every look, and say when nothing came', () => {
    const meter = new InputMeter(2)
    meter.add([sine(0.5), sine(0.1)])
    meter.add([sine(0.5), sine(0.1)])
    expect(meter.read()!.map(({ levelFs }) => levelFs)).toEqual([expect.closeTo(0.5, 6), expect.closeTo(0.1, 7)])
    expect(meter.read()).toBeNull()
    meter.add([sine(0.2), sine(0)])
    expect(meter.read()!.map(({ levelFs }) => levelFs)).toEqual([expect.closeTo(0.2, 6), 0])
  })

  test('want a block with all inputs', () => {
    expect(() => new InputMeter(2).add([sine(1)])).toThrow('InputMeter: a block of 1 inputs, want 2')
    expect(() => new InputMeter(0)).toThrow(RangeError)
  })
})

describe('held levels', () => {
  /** One look every tenth of a second, each with its own peak. */
  const looks = (held: HeldLevels, peaks: readonly number[], fromS = 0) =>
    peaks.map((peakFs, i) => {
      held.add([sine(peakFs)])
      return held.read(fromS + 0.1 * i)[0]
    })

  // Truth: powers of the last three tenths of a second, averaged by hand.
  test('are over a third of a second', () => {
    const held = new HeldLevels(1)
    const last = looks(held, [0.4, 0.1, 0.1, 0.1]).at(-1)!
    expect(last.levelFs).toBeCloseTo(0.1, 6)
    expect(looks(new HeldLevels(1), [0.4, 0.1, 0.1]).at(-1)!.levelFs).toBeCloseTo(Math.sqrt((0.16 + 0.02) / 3), 6)
  })

  test('keep a peak for two seconds', () => {
    const held = new HeldLevels(1)
    const seen = looks(held, [0.8, ...Array.from({ length: 24 }, () => 0.1)])
    expect(seen[19].heldPeakFs).toBeCloseTo(0.8, 6)
    expect(seen[21].heldPeakFs).toBeCloseTo(0.1, 6)
  })

  test('keep clipping until it is taken back', () => {
    const held = new HeldLevels(1)
    looks(held, [1.2, ...Array.from({ length: 60 }, () => 0.1)])
    expect(held.read(6.1)[0].clippedCount).toBeGreaterThan(0)
    held.reset()
    expect(held.read(6.2)[0]).toEqual({ levelFs: 0, heldPeakFs: 0, clippedCount: 0 })
  })

  test('do not drop between blocks that come seldom', () => {
    const held = new HeldLevels(1)
    held.add([sine(0.5)])
    held.read(0)
    expect(held.read(1)[0].levelFs).toBeCloseTo(0.5, 6)
  })
})
