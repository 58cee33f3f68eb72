/** What a campaign comes to: a row for each measurand, and what may be asked of it. */
import type { Campaign, Counts } from './campaign.js'
import { MEASURANDS, type Measurand } from './measurands.js'
import { type Summary, summaryOf } from './trial.js'

export interface CampaignSummary {
  readonly snrDb: number
  readonly counts: Counts
  /** What the table says of each measurand, in its order. */
  readonly measurands: readonly Omit<Measurand, 'read'>[]
  readonly rows: Readonly<Record<string, Summary>>
}

export const summarised = ({ snrDb, trials, bounds, counts }: Campaign): CampaignSummary => ({
  snrDb,
  counts,
  measurands: MEASURANDS.map(({ read, ...said }) => said),
  rows: Object.fromEntries(MEASURANDS.map(({ name }) => [name, summaryOf(trials[name], bounds[name])])),
})

/** Share of cases that k = 2 should hold, from and to. */
const COVERED = [0.94, 0.97] as const
/** Standard deviations of a count that chance is given. */
const ALLOWED = 3

const scatter = (share: number, count: number): number => Math.sqrt((share * (1 - share)) / Math.max(1, count))

/**
 * What is wrong with the coverage of a row, in words; null where nothing is.
 *
 * 94 to 97 % must lie within three binomial standard deviations of as many cases as there were takes: figures of one take may
 * share their noise. There is no upper limit where a bound on the method is part of the budget: that is no random draw.
 */
export function coverageFault({ above }: Measurand, row: Summary): string | null {
  const { count, takeCount, coverage, boundCount, boundsHeld } = row
  const low = COVERED[0] - ALLOWED * scatter(COVERED[0], takeCount)
  const high = COVERED[1] + ALLOWED * scatter(COVERED[1], takeCount)
  const percent = (share: number): string => `${(100 * share).toFixed(1)} %`
  if (count > 0 && coverage < low) return `${percent(coverage)} of ${count} covered, want ${percent(low)} or more`
  if (above === null && coverage > high)
    return `${percent(coverage)} of ${count} covered, want ${percent(high)} or less`
  const leastHeld = COVERED[0] - ALLOWED * scatter(COVERED[0], boundCount)
  if (boundCount > 0 && boundsHeld / boundCount < leastHeld) {
    return `${boundsHeld} of ${boundCount} bounds held, want ${percent(leastHeld)}`
  }
  return null
}
