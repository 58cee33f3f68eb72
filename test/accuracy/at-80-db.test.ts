/**
 * Every figure of drawn vehicles against its truth, at 80 dB of signal over noise: how far off, and whether the stated
 * uncertainty holds the truth as often as it says. Truth: closed forms, see truth.ts and chain.ts.
 */
import { beforeAll, describe, expect, test } from 'vitest'
import { MEASURANDS } from './measurands.js'
import { PATIENT_MS, run } from './plan.js'
import { type CampaignSummary, coverageFault } from './summary.js'

let campaign: CampaignSummary
beforeAll(() => {
  campaign = run(80)
}, PATIENT_MS)

test('no take is refused, no output taken for another one, no polarity wrong', () => {
  const { refused, identitiesWrong, polaritiesWrong } = campaign.counts
  expect({ refused, identitiesWrong, polaritiesWrong }).toEqual({ refused: [], identitiesWrong: 0, polaritiesWrong: 0 })
})

test.each(MEASURANDS.map((measurand) => [measurand.name, measurand] as const))(
  '%s: its uncertainty is true',
  (name, measurand) => {
    expect(campaign.rows[name].count).toBeGreaterThan(0)
    expect(coverageFault(measurand, campaign.rows[name])).toBeNull()
  },
)

// What is aimed at on a chain of 80 dB and better; an output's level with its calibration known.
describe.each([
  ['level, the reading alone', 0.01],
  ['response re 1 kHz, 20 Hz to 20 kHz', 0.02],
  ['delay, full range', 1],
  ['THD from 0.03 % up', 1],
  ['noise, the reading alone', 0.1],
  ['noise A, the reading alone', 0.1],
  ["a section's gain", 0.1],
  ["a section's frequency", 1],
  ["a section's Q", 5],
])('%s', (name, limit) => {
  test(`is never off by more than ${limit}`, () => {
    expect(campaign.rows[name].worst).toBeLessThan(limit)
  })
})

test('sections found are as many as were drawn in 97 of 100 takes or more', () => {
  const { takes, sectionsMiscounted } = campaign.counts
  expect(sectionsMiscounted.length / takes).toBeLessThan(0.03)
})
