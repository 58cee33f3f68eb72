/**
 * Frequency weightings: A and C from the analytic form of IEC 61672-1:2013, Annex E; the noise weighting of ITU-R BS.468-4
 * and its form with unity gain at 2 kHz (AES17-2015).
 *
 * Weights are ratios in dB, or gains of power. A and C have 0 dB at 1 kHz exactly: the normalisation is computed, not the
 * standard's rounded constant.
 */
import { dbFromRatio } from '../units/level.js'
import { AES17_OFFSET_DB, BS_468_NETWORK } from './tables/itu-r-bs-468-4.js'

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

/** A- and C-weight as gains of power: for sums over many bins, which no logarithm should slow down. */
export const aPowerGain = (freqHz: number): number => (aRatio(freqHz) / aRatioAtReference) ** 2
export const cPowerGain = (freqHz: number): number => (cRatio(freqHz) / cRatioAtReference) ** 2

const BS_468_GAIN = 10 ** (BS_468_NETWORK.gainDb / 10)

/**
 * Weight of ITU-R BS.468-4 as a gain of power, by the network's rational form: -0.04 dB at 1 kHz, as the network has it. For
 * a detector of rms; the quasi-peak detector of the recommendation reads several dB more.
 */
export function bs468PowerGain(freqHz: number): number {
  const square = freqHz * freqHz
  const { numerator, even, odd } = BS_468_NETWORK
  const real = even[0] + square * (even[1] + square * (even[2] + square * even[3]))
  const imaginary = freqHz * (odd[0] + square * (odd[1] + square * odd[2]))
  return (BS_468_GAIN * (numerator * freqHz) ** 2) / (real * real + imaginary * imaginary)
}

/** Weight of ITU-R BS.468-4 (dB) at freqHz, 0 or more; 0 Hz gives -Infinity. */
export const bs468WeightDb = (freqHz: number): number => 10 * Math.log10(bs468PowerGain(freqHz))

/** The weighting with unity gain at 2 kHz (AES17-2015, 5.2.7: "CCIR-RMS"), dB. */
export const ccirRmsWeightDb = (freqHz: number): number => bs468WeightDb(freqHz) + AES17_OFFSET_DB
/** Gain of an rms by which a CCIR-RMS level lies under one by BS.468. */
export const CCIR_RMS_OVER_BS_468 = 10 ** (AES17_OFFSET_DB / 20)
