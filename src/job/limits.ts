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
  },
}
