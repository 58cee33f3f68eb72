/**
 * Dynamic range by the -60 dBFS method: how far the noise that is there while a signal plays lies below full scale.
 *
 * The quiet tone keeps an output awake, and is loud enough to use the lowest steps of a converter; an idle reading would
 * flatter one that mutes itself.
 */
import { DB_PER_NEPER, dbFromRatio } from '../units/level.js'
import type { NoiseReading } from './analysis.js'

export const DYNAMIC_RANGE_METHOD = 'dynamic range from 997 Hz at -60 dBFS/1'

export interface DynamicRange {
  /** AES17-2015, 6.4.1: residual weighted by BS.468-4 with unity gain at 2 kHz, rms (dB). */
  readonly ccirRmsDb: number
  readonly aWeightedDb: number
  readonly unweightedDb: number
  /** Standard uncertainties (dB) of the random part; that of the reference level is not in them. */
  readonly ccirRmsDbU: number
  readonly aWeightedDbU: number
  readonly unweightedDbU: number
}

/**
 * @param present noise with the quiet tone playing, the tone taken out; its harmonics count, as they do under a notch
 * @param fullScalePeakFs the output's own level for a tone of 0 dBFS (peak, fraction of the capture's full scale)
 * @returns null where nothing is left under the tone: digital silence has no range
 * @throws RangeError when no tone was taken out, or the level of full scale is not above 0
 *
 * Source: AES17-2015, 6.4.1 (from transcriptions).
 */
export function dynamicRange(present: NoiseReading, fullScalePeakFs: number): DynamicRange | null {
  if (present.tonePeakFs === null) throw new RangeError('dynamicRange: a reading without its tone, want one with it')
  if (!(fullScalePeakFs > 0)) {
    throw new RangeError(`dynamicRange: ${fullScalePeakFs} for full scale, want a level above 0`)
  }
  if (!(present.unweightedFs > 0)) return null
  return {
    ccirRmsDb: dbFromRatio(fullScalePeakFs / present.ccirRmsFs),
    aWeightedDb: dbFromRatio(fullScalePeakFs / present.aWeightedFs),
    unweightedDb: dbFromRatio(fullScalePeakFs / present.unweightedFs),
    ccirRmsDbU: DB_PER_NEPER * present.bs468U,
    aWeightedDbU: DB_PER_NEPER * present.aWeightedU,
    unweightedDbU: DB_PER_NEPER * present.unweightedU,
  }
}
