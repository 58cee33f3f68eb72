/**
 * What an alternator does to the supply, in closed forms: where its lines lie, and what its ripple is from peak to peak.
 *
 * Three phases and a full-wave bridge: p pole pairs at n turns a minute make an electrical frequency of p n / 60 and six pulses
 * in each of its periods (handbook). The alternator turns faster than the engine by its pulleys.
 */
import { type Estimate, estimate } from './estimate.js'

export const ALTERNATOR_METHODS = {
  ripple: 'supply ripple peak to peak, from its rms/1',
  supply: 'supply, DC by the meter/1',
} as const

const PULSES = 6
/** Pole pairs and pulley ratios of alternators; common practice, no source. */
const POLE_PAIRS = [5, 8] as const
const PULLEY_RATIO = [2, 3.5] as const

/** Electrical frequency of an alternator (Hz). */
export const electricalHz = (polePairs: number, alternatorRpm: number): number => (polePairs * alternatorRpm) / 60
/** Its ripple through a sound bridge (Hz). */
export const rippleHz = (polePairs: number, alternatorRpm: number): number =>
  PULSES * electricalHz(polePairs, alternatorRpm)

/** Periods of a line for each turn of the engine. */
export const cyclesPerTurn = (freqHz: number, engineRpm: number): number => (60 * freqHz) / engineRpm

/**
 * What of an alternator has so many periods for each turn of the engine.
 *
 * pulses: the ripple of a sound bridge. phase: its electrical frequency, which a sound bridge does not show; with a diode open
 * it does (handbook).
 */
export function partOfAlternator(cycles: number): 'pulses' | 'phase' | null {
  const [least, most] = [POLE_PAIRS[0] * PULLEY_RATIO[0], POLE_PAIRS[1] * PULLEY_RATIO[1]]
  if (cycles >= PULSES * least && cycles <= PULSES * most) return 'pulses'
  return cycles >= least && cycles <= most ? 'phase' : null
}

/**
 * Whether a line goes with the engine's speed.
 *
 * @param at frequency of its fundamental at two speeds or more
 * @returns null where the speeds are too near each other to tell
 */
export function goesWithSpeed(at: readonly { readonly freqHz: number; readonly speedRpm: number }[]): boolean | null {
  const sorted = [...at].sort((a, b) => a.speedRpm - b.speedRpm)
  const [slow, fast] = [sorted[0], sorted.at(-1)]
  if (!slow || !fast || fast.speedRpm < APART * slow.speedRpm) return null
  const off = fast.freqHz / slow.freqHz / (fast.speedRpm / slow.speedRpm)
  return Math.abs(Math.log(off)) < Math.log(HELD)
}
/** Speeds as far apart as this tell a line that stands still from one that goes along. */
const APART = 1.3
/** A person holds a speed, and a tachometer shows it, within this factor at both ends together. Common practice, no source. */
const HELD = 1.12

/**
 * Peak to peak over rms of the AC part of a supply, for its shapes: a sine has 2 √2, a six-pulse ripple 3.343 (its peak 1, mean
 * 3/π, mean square 1/2 + 3√3/(4π), p-p 1 − cos 30°), one with a diode of six open 3.689.
 */
export const PEAK_TO_PEAK_OVER_RMS = { least: 2 * Math.SQRT2, most: 3.689 } as const

/**
 * @param rippleVrms what a meter reads on AC volts, and its standard uncertainty
 * @returns volts peak to peak; which shape it has is not known, and counts as uncertainty
 */
export function ripplePeakToPeak(rippleVrms: number, meterU: number): Estimate {
  const { least, most } = PEAK_TO_PEAK_OVER_RMS
  const middle = (least + most) / 2
  return estimate(
    middle * rippleVrms,
    {
      'meter specification': middle * meterU,
      // Rectangular between the shapes (JCGM 100:2008, 4.3.7).
      'shape of the ripple': (rippleVrms * (most - least)) / 2 / Math.sqrt(3),
    },
    ALTERNATOR_METHODS.ripple,
  )
}
