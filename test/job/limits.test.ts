import { expect, test } from 'vitest'
import type { Limits } from '../../src/job/job.js'
import { PROFILE_NAMES, PROFILES } from '../../src/job/limits.js'

test('every profile carries its own name', () => {
  for (const name of PROFILE_NAMES) expect(PROFILES[name].profile).toBe(name)
})

// A pin: these are what the project calls standard; nothing outside it says so. A change moves verdicts.
test('the standard limits are as documented', () => {
  expect(PROFILES.standard).toEqual({
    profile: 'standard',
    levelToleranceDb: 1,
    pairBalanceDbMax: 0.5,
    flatnessDbMax: 1,
    delayToleranceS: 0.0001,
    thdPctMax: 0.1,
    thdNPctMax: 0.3,
    noiseDbvMax: -75,
    noiseDbvAMax: -80,
    humDbvMax: -80,
    crosstalkDbMax: -50,
    deadDbBelow: 30,
    meterAgreementDbMax: 0.3,
    imdPctMax: 0.3,
    cleanLevelDbfsMin: -1,
    noise468DbvMax: -68,
    dynamicRangeDbMin: 75,
    delaySpreadSMax: 0.0002,
    gainChangeDbMax: 0.3,
    loudnessDbMax: 1,
    whineDbvMax: -80,
    engineRiseDbMax: 6,
    sumFlatnessDbMax: 2,
    calibrationAgeDaysMax: 365,
  })
})

test('fine is nowhere looser than standard, and coarse nowhere stricter', () => {
  // A higher value is looser for tolerances and maxima, a lower one for what has to be reached at least.
  const { fine, standard, coarse } = PROFILES
  const names = Object.keys(standard).filter((name) => name !== 'profile') as Exclude<keyof Limits, 'profile'>[]
  for (const name of names) {
    const looser = name.endsWith('Min') ? -1 : 1
    expect(looser * fine[name], name).toBeLessThanOrEqual(looser * standard[name])
    expect(looser * coarse[name], name).toBeGreaterThanOrEqual(looser * standard[name])
  }
})
