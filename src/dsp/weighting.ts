/**
 * Frequency weightings A and C, from the analytic form of IEC 61672-1:2013, Annex E.
 *
 * Weights are ratios in dB, 0 dB at 1 kHz exactly: the normalisation is computed, not the standard's rounded constant.
 */
import { dbFromRatio } from '../units/level.js'

// Annex E: the poles follow from four design frequencies.
const LOW_HZ = 10 ** 1.5
const HIGH_HZ = 10 ** 3.9
const A_CORNER_HZ = 10 ** 2.45
const REFERENCE_HZ = 1000
const HALF_POWER = Math.SQRT1_2

const c = LOW_HZ ** 2 * HIGH_HZ ** 2
const b = (REFERENCE_HZ ** 2 + c / REFERENCE_HZ ** 2 - HALF_POWER * (LOW_HZ ** 2 + HIGH_HZ ** 2)) / (1 - HALF_POWER)
const root = Math.sqrt(b * b - 4 * c)
// The small root as c over the large one: subtracting two near numbers would cost four digits.
const f4Squared = (-b + root) / 2
const f1Squared = c / f4Squared
const f2Squared = (A_CORNER_HZ * ((3 - Math.sqrt(5)) / 2)) ** 2
const f3Squared = (A_CORNER_HZ * ((3 + Math.sqrt(5)) / 2)) ** 2

const cRatio = (f: number): number => (f4Squared * f * f) / ((f * f + f1Squared) * (f * f + f4Squared))
const aRatio = (f: number): number => cRatio(f) * ((f * f) / Math.sqrt((f * f + f2Squared) * (f * f + f3Squared)))

const aRatioAtReference = aRatio(REFERENCE_HZ)
const cRatioAtReference = cRatio(REFERENCE_HZ)

/** A-weight (dB) at freqHz, 0 or more; 0 Hz gives -Infinity. */
export const aWeightDb = (freqHz: number): number => dbFromRatio(aRatio(freqHz) / aRatioAtReference)

/** C-weight (dB) at freqHz, 0 or more; 0 Hz gives -Infinity. */
export const cWeightDb = (freqHz: number): number => dbFromRatio(cRatio(freqHz) / cRatioAtReference)
