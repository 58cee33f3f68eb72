import { describe, expect, test } from 'vitest'
import {
  cyclesPerTurn,
  electricalHz,
  goesWithSpeed,
  PEAK_TO_PEAK_OVER_RMS,
  partOfAlternator,
  rippleHz,
  ripplePeakToPeak,
} from '../../src/measure/alternator.js'

// Truth: the worked examples for three-phase alternators with a full-wave bridge, f_el = p n / 60 and six pulses in each period.
test.each([
  [6, 2000, 800, 200, 1200],
  [6, 5000, 2000, 500, 3000],
  [6, 9000, 3000, 900, 5400],
  [8, 2025, 750, 270, 1620],
])(
  '%d pole pairs at %d/min, the engine at %d/min: %d Hz and six times as much',
  (pairs, rpm, engineRpm, el, ripple) => {
    expect(electricalHz(pairs, rpm)).toBe(el)
    expect(rippleHz(pairs, rpm)).toBe(ripple)
    expect(partOfAlternator(cyclesPerTurn(ripple, engineRpm))).toBe('pulses')
    expect(partOfAlternator(cyclesPerTurn(el, engineRpm))).toBe('phase')
  },
)

test('a line of an engine order, or of something else, is no part of an alternator', () => {
  expect(partOfAlternator(2)).toBeNull()
  expect(partOfAlternator(45)).toBeNull()
})

test('a line goes with the speed when its frequency does, and is not judged from one speed', () => {
  const at = (...pairs: [number, number][]) => pairs.map(([speedRpm, freqHz]) => ({ speedRpm, freqHz }))
  expect(goesWithSpeed(at([800, 1200], [2000, 3000]))).toBe(true)
  // Held 5 % too fast.
  expect(goesWithSpeed(at([800, 1200], [2000, 3150]))).toBe(true)
  expect(goesWithSpeed(at([2000, 1210], [800, 1200]))).toBe(false)
  expect(goesWithSpeed(at([800, 1200]))).toBeNull()
  expect(goesWithSpeed(at([800, 1200], [900, 1350]))).toBeNull()
  expect(goesWithSpeed([])).toBeNull()
})

/** Three phases through six diodes, sampled; a diode that is open carries nothing. */
function bridge(isOneOpen: boolean): { peakToPeak: number; mean: number; rms: number } {
  const count = 36_000
  const volts = Array.from({ length: count }, (_, n) => {
    const phases = [0, 1, 2].map((k) => Math.cos((2 * Math.PI * n) / count - (2 * Math.PI * k) / 3))
    return Math.max(...(isOneOpen ? phases.slice(1) : phases)) - Math.min(...phases)
  })
  const mean = volts.reduce((sum, value) => sum + value, 0) / count
  const rms = Math.sqrt(volts.reduce((sum, value) => sum + (value - mean) ** 2, 0) / count)
  return { peakToPeak: Math.max(...volts) - Math.min(...volts), mean, rms }
}

describe('ripple from its rms', () => {
  test('covers a sine, a sound bridge and one with a diode open', () => {
    // Published for the ideal bridge, of its peak √3: mean 3/π, peak to peak 1 - cos 30° (references); sampled to 1e-6.
    const sound = bridge(false)
    expect(sound.mean / Math.sqrt(3)).toBeCloseTo(0.95493, 5)
    expect(sound.peakToPeak / Math.sqrt(3)).toBeCloseTo(0.133975, 5)
    const open = bridge(true)
    const { least, most } = PEAK_TO_PEAK_OVER_RMS
    expect(least).toBeCloseTo(2 * Math.SQRT2, 9)
    expect(sound.peakToPeak / sound.rms).toBeCloseTo(3.343, 3)
    expect(open.peakToPeak / open.rms).toBeCloseTo(most, 3)
    for (const factor of [least, sound.peakToPeak / sound.rms, most]) {
      const { value, u } = ripplePeakToPeak(0.3, 0)
      expect(Math.abs(value - 0.3 * factor)).toBeLessThan(u)
    }
  })

  test('of 1 V peak to peak, severity 1 of ISO 16750-2, is a reading of 0.27 to 0.35 V rms', () => {
    const limit = (rms: number): string => {
      const { value, u } = ripplePeakToPeak(rms, 0)
      return value + u <= 1 ? 'pass' : value - u > 1 ? 'fail' : 'unsure'
    }
    expect([0.25, 0.3, 0.37].map(limit)).toEqual(['pass', 'unsure', 'fail'])
  })
})
