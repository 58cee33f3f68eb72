/**
 * Long campaigns: \`npm run test:long\` runs all of their cases, \`npm test\` the first few of each, so that it stays
 * well under a quarter of an hour.
 */
export const isLong = Boolean(process.env['LINETRUE_LONG'])

/** All cases in a long run, else the first few. */
export const some = <Case>(cases: readonly Case[], quickCount: number): readonly Case[] =>
  isLong ? cases : cases.slice(0, quickCount)

/** All cases in a long run, else every nth, beginning with the first. */
export const everyNth = <Case>(cases: readonly Case[], n: number): readonly Case[] =>
  cases.filter((_, k) => isLong || k % n === 0)

/** All cases in a long run, else every second one. */
export const half = <Case>(cases: readonly Case[]): readonly Case[] => everyNth(cases, 2)
