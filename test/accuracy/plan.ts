/**
 * Which takes make the campaign. All of it is for `npm run accuracy`, which writes the table of DEVELOPERS.md; the tests take
 * the first of each level.
 */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { runCampaign } from './campaign.js'
import { type CampaignSummary, summarised } from './summary.js'

/** Signal over noise (dB), takes in all and in the tests, and the first seed. */
const PLAN = [
  { snrDb: 100, all: 160, tested: 4, firstSeed: 100_001 },
  { snrDb: 80, all: 520, tested: 12, firstSeed: 80_001 },
  { snrDb: 60, all: 160, tested: 4, firstSeed: 60_001 },
  { snrDb: 40, all: 160, tested: 4, firstSeed: 40_001 },
] as const

export type SnrDb = (typeof PLAN)[number]['snrDb']

/** A folder: all takes are run, and what they come to is written there. */
const outFolder = process.env.ACCURACY_OUT

/** Long enough for all takes on a busy machine. */
export const PATIENT_MS = 3_600_000

export function run(snrDb: SnrDb): CampaignSummary {
  const { all, tested, firstSeed } = PLAN.find((each) => each.snrDb === snrDb)!
  const summary = summarised(runCampaign(snrDb, outFolder ? all : tested, firstSeed))
  if (outFolder) writeFileSync(join(outFolder, `${snrDb}.json`), JSON.stringify(summary))
  return summary
}
