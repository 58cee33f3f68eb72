/** The same at 100, 60 and 40 dB of signal over noise: uncertainties have to grow with the noise as errors do. */
import { beforeAll, describe, expect, test } from 'vitest'
import { MEASURANDS } from './measurands.js'
import { PATIENT_MS, run } from './plan.js'
import { type CampaignSummary, coverageFault } from './summary.js'

describe.each([100, 60, 40] as const)('at %d dB', (snrDb) => {
  let campaign: CampaignSummary
  beforeAll(() => {
    campaign = run(snrDb)
  }, PATIENT_MS)

  test('no take is refused, no output taken for another one, no polarity wrong', () => {
    const { refused, identitiesWrong, polaritiesWrong } = campaign.counts
    expect({ refused, identitiesWrong, polaritiesWrong }).toEqual({
      refused: [],
      identitiesWrong: 0,
      polaritiesWrong: 0,
    })
  })

  test.each(MEASURANDS.map((measurand) => [measurand.name, measurand] as const))(
    '%s: its uncertainty is true',
    (name, measurand) => {
      expect(coverageFault(measurand, campaign.rows[name])).toBeNull()
    },
  )

  if (snrDb !== 100) return
  // At 80 dB noise itself hides 1 % of the weakest: the bound of Cramér and Rao for a tone of 1.7 s is 1.7 %.
  test('THD down to 0.003 % is never off by more than 1 %', () => {
    expect(campaign.rows.THD.worst).toBeLessThan(1)
  })
})
