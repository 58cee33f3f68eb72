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
/** Chance of a false alarm in one row: that of three standard deviations, one side. */
const CHANCE = 0.00135

/** Probability of k or fewer of n, each with probability p: the binomial distribution, summed from its closed form. */
export function atMost(k: number, n: number, p: number): number {
  let [term, sum] = [(1 - p) ** n, 0]
  for (let i = 0; i <= k; i++) {
    sum += term
    term *= ((n - i) / (i + 1)) * (p / (1 - p))
  }
  return Math.min(1, sum)
}

/**
 * What is wrong with the coverage of a row, in words; null where nothing is.
 *
 * 94 to 97 % must lie within, by a count that chance alone explains: of as many cases as there were takes, because figures of
 * one take may share their noise. There is no upper limit where a bound on the method is part of the budget: that is no random draw.
 */
export function coverageFault({ above }: Measurand, row: Summary): string | null {
  const { count, takeCount, coverage, boundCount, boundsHeld } = row
  const percent = (share: number): string => `${(100 * share).toFixed(1)} %`
  const [low, high] = COVERED
  const said = `${percent(coverage)} of ${count} covered, from ${takeCount} takes`
  const covered = Math.round(coverage * takeCount)
  if (count > 0 && atMost(covered, takeCount, low) < CHANCE) return `${said}: chance does not explain so few`
  if (above === null && 1 - atMost(covered - 1, takeCount, high) < CHANCE)
    return `${said}: chance does not explain so many`
  if (boundCount > 0 && atMost(boundsHeld, boundCount, low) < CHANCE) {
    return `${boundsHeld} of ${boundCount} bounds held: chance does not explain so few`
  }
  return null
}
