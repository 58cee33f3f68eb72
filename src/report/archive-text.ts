/** What the archive has to say, for a terminal: runs that were found, one that cannot be read whole, and its check. */
import type { Verdict } from '../verdict/parts.js'
import { SIMULATED_WORDS, timeInWords, VERDICT_WORDS } from './format.js'
import { paintFor } from './paint.js'
import { hanging } from './terminal.js'
import { clean } from './text.js'

export interface ShownRun {
  readonly path: string
  readonly state: 'sealed' | 'unsealed' | 'unfinished' | 'unreadable'
  readonly why: string
  readonly summary: {
    readonly startedAt: string | null
    readonly verdict: Verdict | null
    readonly summary: string | null
    readonly isSimulated: boolean
    readonly retestOf: string | null
    readonly program: string | null
    readonly job: Readonly<
      Record<'name' | 'platform' | 'vehicle' | 'vin' | 'plate' | 'jobNumber' | 'technician' | 'customer', string | null>
    >
  } | null
}

export interface TextOptions {
  readonly isColour: boolean
  readonly columnCount: number
}

const COLUMNS_MIN = 60
const COLUMNS_MAX = 100
const widthFor = ({ columnCount }: TextOptions): number => Math.min(COLUMNS_MAX, Math.max(COLUMNS_MIN, columnCount))

/** @param isMore there are more than these */
export function foundRuns(runs: readonly ShownRun[], isMore: boolean, options: TextOptions): string {
  if (runs.length === 0) return 'No run was found.'
  const count = `${isMore ? 'the newest ' : ''}${runs.length} run${runs.length === 1 ? '' : 's'}${isMore ? '; for more give --limit' : ' found'}`
  const next = 'linetrue archive show RUN shows one, linetrue archive open RUN opens its report.'
  const foot = `${count[0].toUpperCase()}${count.slice(1)}. ${next}`
  return [...runs.flatMap((run) => [...runLines(run, options), '']), ...hanging('', foot, widthFor(options))].join('\n')
}

function runLines({ path, state, why, summary }: ShownRun, options: TextOptions): string[] {
  const paint = paintFor(options.isColour)
  const columns = widthFor(options)
  const verdict = summary?.verdict ?? null
  const word = verdict === null ? '–' : VERDICT_WORDS[verdict]
  const when = summary?.startedAt ? timeInWords(summary.startedAt) : ''
  return [
    ...hanging(
      word,
      [when, path].filter(Boolean).join(' · '),
      columns,
      (text) => (verdict === null ? text : paint.verdict(verdict, text)),
      paint.strong,
    ),
    ...(summary === null ? [] : hanging('', vehicleWords(summary), columns)),
    ...(summary?.summary ? hanging('', summary.summary, columns) : []),
    ...(summary?.retestOf ? hanging('', `Follows ${summary.retestOf}.`, columns) : []),
    ...(summary?.isSimulated ? hanging('', SIMULATED_WORDS, columns) : []),
    ...(state === 'sealed' ? [] : hanging('', STATE_WORDS[state] ?? why, columns)),
  ]
}

const STATE_WORDS: Readonly<Partial<Record<ShownRun['state'], string>>> = {
  unsealed: 'Not sealed: nothing tells whether it is as it was.',
  unfinished: 'Not finished.',
}

function vehicleWords({ job }: NonNullable<ShownRun['summary']>): string {
  const parts = [
    job.vehicle,
    job.vin && `VIN ${job.vin}`,
    job.plate && `plate ${job.plate}`,
    job.jobNumber && `job ${job.jobNumber}`,
    job.platform && `platform ${job.platform}`,
    job.name,
  ]
  return parts.filter(Boolean).join(' · ')
}

/** What can be shown of a run whose result this program cannot read. */
export const headOfRun = (run: ShownRun, options: TextOptions): string =>
  [
    ...runLines(run, options),
    ...(run.summary?.program ? hanging('', `Made by ${run.summary.program}.`, widthFor(options)) : []),
  ].join('\n')

export interface ShownCheck {
  readonly sealedCount: number
  readonly unsealed: readonly string[]
  readonly unfinished: readonly string[]
  readonly troubles: readonly { readonly path: string; readonly says: string }[]
}

export function checkText({ sealedCount, unsealed, unfinished, troubles }: ShownCheck, options: TextOptions): string {
  const paint = paintFor(options.isColour)
  const columns = widthFor(options)
  const notes = [
    ...unfinished.map((path) => `${path}: not finished`),
    ...unsealed.map((path) => `${path}: not sealed, nothing tells whether it is as it was`),
  ]
  const count = (n: number, what: string): string => `${n} ${what}${n === 1 ? '' : 's'}`
  const said = `${count(sealedCount + unsealed.length, 'finished run')} looked at, ${unsealed.length} of them not sealed; ${unfinished.length} not finished.`
  const verdict = troubles.length === 0 ? 'pass' : 'fail'
  const end = troubles.length === 0 ? 'All that is sealed is as it was.' : `${count(troubles.length, 'trouble')}.`
  return [
    ...notes.flatMap((says) => hanging('note', says, columns)),
    ...troubles.flatMap(({ path, says }) =>
      hanging('FAIL', `${path}: ${says}`, columns, (word) => paint.verdict('fail', word)),
    ),
    ...(notes.length + troubles.length > 0 ? [''] : []),
    ...hanging(VERDICT_WORDS[verdict], `${end} ${said}`, columns, (word) => paint.verdict(verdict, word), paint.strong),
  ].join('\n')
}

/** A path to copy, whatever stands in it. */
export const shownPath = (path: string): string => clean(path)
