/**
 * Limits by name. A job picks a profile and may put values of its own over it.
 *
 * No standard sets limits for the line outputs of a vehicle's audio interface. Each value below is common practice, no
 * source: change it in the job where a customer, an amplifier or an interface's data sheet says otherwise.
 */
import type { Limits } from './job.js'

export const PROFILE_NAMES = ['fine', 'standard', 'coarse'] as const
export type ProfileName = (typeof PROFILE_NAMES)[number]

export const PROFILES: { readonly [Name in ProfileName]: Limits } = {
  /** For a system that will be tuned by ear and microphone afterwards. */
  fine: {
    profile: 'fine',
    levelToleranceDb: 0.5, // common practice, no source
    pairBalanceDbMax: 0.25, // common practice, no source
    flatnessDbMax: 0.5, // common practice, no source
    delayToleranceS: 0.05e-3, // common practice, no source: 17 mm of path
    thdPctMax: 0.03, // common practice, no source
    thdNPctMax: 0.1, // common practice, no source
    noiseDbvMax: -85, // common practice, no source
    noiseDbvAMax: -90, // common practice, no source
    humDbvMax: -90, // common practice, no source
    crosstalkDbMax: -60, // common practice, no source
    deadDbBelow: 30, // common practice, no source
    meterAgreementDbMax: 0.2, // common practice, no source
    imdPctMax: 0.1, // common practice, no source
    cleanLevelDbfsMin: -0.5, // common practice, no source: clean at full scale
    noise468DbvMax: -78, // common practice, no source: 7 dB over the unweighted limit, as white noise reads
    dynamicRangeDbMin: 85, // common practice, no source
    delaySpreadSMax: 0.1e-3, // common practice, no source: twice the tolerance of one output
    gainChangeDbMax: 0.1, // common practice, no source
    loudnessDbMax: 0.5, // common practice, no source
    whineDbvMax: -90, // common practice, no source
    engineRiseDbMax: 3, // common practice, no source
    sumFlatnessDbMax: 1, // common practice, no source: twice the flatness of one output
    calibrationAgeDaysMax: 365, // common practice, no source
  },
  /** For the usual installation. */
  standard: {
    profile: 'standard',
    levelToleranceDb: 1, // common practice, no source
    pairBalanceDbMax: 0.5, // common practice, no source
    flatnessDbMax: 1, // common practice, no source
    delayToleranceS: 0.1e-3, // common practice, no source: 34 mm of path
    thdPctMax: 0.1, // common practice, no source
    thdNPctMax: 0.3, // common practice, no source
    noiseDbvMax: -75, // common practice, no source
    noiseDbvAMax: -80, // common practice, no source
    humDbvMax: -80, // common practice, no source
    crosstalkDbMax: -50, // common practice, no source
    deadDbBelow: 30, // common practice, no source
    meterAgreementDbMax: 0.3, // common practice, no source
    imdPctMax: 0.3, // common practice, no source
    cleanLevelDbfsMin: -1, // common practice, no source
    noise468DbvMax: -68, // common practice, no source: 7 dB over the unweighted limit, as white noise reads
    dynamicRangeDbMin: 75, // common practice, no source
    delaySpreadSMax: 0.2e-3, // common practice, no source: twice the tolerance of one output
    gainChangeDbMax: 0.3, // common practice, no source
    loudnessDbMax: 1, // common practice, no source
    whineDbvMax: -80, // common practice, no source
    engineRiseDbMax: 6, // common practice, no source
    sumFlatnessDbMax: 2, // common practice, no source: twice the flatness of one output
    calibrationAgeDaysMax: 365, // common practice, no source
  },
  /** For wiring checks with a simple sound card, or an interface whose data sheet promises no more. */
  coarse: {
    profile: 'coarse',
    levelToleranceDb: 2, // common practice, no source
    pairBalanceDbMax: 1, // common practice, no source
    flatnessDbMax: 2, // common practice, no source
    delayToleranceS: 0.5e-3, // common practice, no source: 172 mm of path
    thdPctMax: 0.5, // common practice, no source
    thdNPctMax: 1, // common practice, no source
    noiseDbvMax: -65, // common practice, no source
    noiseDbvAMax: -70, // common practice, no source
    humDbvMax: -65, // common practice, no source
    crosstalkDbMax: -40, // common practice, no source
    deadDbBelow: 30, // common practice, no source
    meterAgreementDbMax: 1, // common practice, no source
    imdPctMax: 1, // common practice, no source
    cleanLevelDbfsMin: -3, // common practice, no source
    noise468DbvMax: -58, // common practice, no source: 7 dB over the unweighted limit, as white noise reads
    dynamicRangeDbMin: 65, // common practice, no source
    delaySpreadSMax: 1e-3, // common practice, no source: twice the tolerance of one output
    gainChangeDbMax: 1, // common practice, no source
    loudnessDbMax: 2, // common practice, no source
    whineDbvMax: -65, // common practice, no source
    engineRiseDbMax: 10, // common practice, no source
    sumFlatnessDbMax: 4, // common practice, no source: twice the flatness of one output
    calibrationAgeDaysMax: 730, // common practice, no source
  },
}
