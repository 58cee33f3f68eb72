/** What runs are asked for by, as it stands on the command line, and as the archive takes it. */
import { type Query, wordsIn } from '../archive/find.js'
import { keyOf } from '../archive/index-tables.js'
import { StopError } from '../units/stop.js'
import { FINDING_KINDS, Verdict } from '../verdict/parts.js'

export interface QueryOptions {
  readonly archive?: string
  readonly vin?: string
  readonly plate?: string
  readonly number?: string
  readonly platform?: string
  readonly technician?: string
  readonly customer?: string
  readonly from?: string
  readonly to?: string
  readonly verdict?: string
  readonly finding?: string
}

const DAY = /^\d{4}-\d{2}-\d{2}$/

/** @throws StopError when a day or a word is none */
export function queryOf(words: readonly string[], options: QueryOptions): Query {
  for (const name of ['from', 'to'] as const) {
    const day = options[name]
    if (day === undefined) continue
    if (DAY.test(day) && new Date(`${day}T00:00:00Z`).toJSON()?.startsWith(day)) continue
    throw new StopError(`"${day}" is no day`, `--${name}`, 'Write it as year, month, day: 2026-04-01.')
  }
  const kind = FINDING_KINDS.find((one) => keyOf(one) === keyOf(options.finding ?? ''))
  const all = [...words, ...(kind === undefined && options.finding !== undefined ? [options.finding] : [])]
  const { vin, plate, number, platform, technician, customer, from, to } = options
  const asked = { vin, plate, jobNumber: number, platform, technician, customer }
  for (const text of [...all, ...Object.values(asked)]) {
    if (text !== undefined && wordsIn(text).length === 0) {
      throw new StopError(
        `there is no letter and no digit in "${text}"`,
        'linetrue archive',
        'Give a word or a number.',
      )
    }
  }
  const verdict = options.verdict === undefined ? undefined : Verdict.parse(options.verdict)
  const given = Object.entries({ ...asked, from, to, verdict, finding: kind }).filter(
    ([, value]) => value !== undefined,
  )
  return { ...Object.fromEntries(given), ...(all.length > 0 ? { words: all.join(' ') } : {}) }
}
