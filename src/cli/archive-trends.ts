/** linetrue archive trends --platform NAME --out FOLDER: a page and CSV. Ends with 1 where a vehicle stands apart. */
import { existsSync } from 'node:fs'
import { mkdir } from 'node:fs/promises'
import { basename, join } from 'node:path'
import { type Cell, csvRows } from '../archive/csv.js'
import { findRuns, type Hit } from '../archive/find.js'
import { folderOf, keyOf } from '../archive/index-tables.js'
import { readResult } from '../archive/read-result.js'
import { writeAside } from '../archive/safe-write.js'
import { checkOutsideRuns } from '../archive/seal.js'
import { SCORE_MAX, VEHICLES_MIN } from '../archive/spread.js'
import { type Trend, TrendBuilder } from '../archive/trends.js'
import { trendsPage } from '../report/trends-page.js'
import { StopError } from '../units/stop.js'
import { archiveRoot, openShown } from './archive-open.js'
import { type QueryOptions, queryOf } from './archive-query.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'

const RULE = `A vehicle stands apart where its modified z-score, 0.6745 (x − median) / MAD, is beyond ${SCORE_MAX} (Iglewicz and Hoaglin, 1993) and it lies further from the median than its own uncertainty; with fewer than ${VEHICLES_MIN} vehicles none is said to. Bounds ("at most") do not count.`

export async function trendsCommand(
  words: readonly string[],
  options: QueryOptions & { out: string; private?: boolean },
  signal: AbortSignal,
): Promise<number> {
  const root = archiveRoot(options.archive)
  const index = await openShown(root, signal)
  let hits: readonly Hit[]
  try {
    hits = newestOfEach(findRuns(index.db, queryOf(words, options), Number.MAX_SAFE_INTEGER))
  } finally {
    await index.close()
  }
  // A model of a vehicle tells nothing of vehicles, unless there is nothing else.
  const real = hits.filter(({ summary }) => summary?.isSimulated !== true)
  const isSimulated = real.length === 0
  const builder = new TrendBuilder()
  const vehicles: string[] = []
  const notes: string[] =
    isSimulated && hits.length > 0 ? ['All of these runs are simulated: models were measured.'] : []
  for (const hit of isSimulated ? hits : real) {
    signal.throwIfAborted()
    const { result, why } = await readResult(join(root, hit.path))
    if (result === null) {
      notes.push(`${hit.path} is left out: ${why}.`)
      continue
    }
    builder.add(result)
    vehicles.push(nameOf(hit, options.private === true))
  }
  if (vehicles.length === 0) {
    throw new StopError(
      'no finished run was found',
      shown(root),
      'Name the platform: --platform NAME; or ask for less.',
    )
  }
  const trends = builder.trends()
  const title = [options.platform, ...words].filter(Boolean).join(' · ') || 'all vehicles'
  const page = trendsPage({
    title,
    vehicles,
    trends,
    findings: builder.commonFindings(),
    rule: RULE,
    notes,
    program: 'linetrue',
  })
  checkOutsideRuns(options.out)
  const there = ['trends.html', 'trends.csv'].find((name) => existsSync(join(options.out, name)))
  if (there) {
    throw new StopError(
      'there is a file of that name already',
      shown(join(options.out, there)),
      'Name another folder with --out.',
    )
  }
  await mkdir(options.out, { recursive: true }).catch((cause) => {
    throw new StopError('this folder cannot be made', shown(options.out), 'Name another with --out.', 'instrument', {
      cause,
    })
  })
  await writeAside(options.out, 'trends.html', page)
  await writeAside(options.out, 'trends.csv', csvRows([HEAD, ...trends.flatMap((trend) => rowsOf(trend, vehicles))]))
  const apart = trends.flatMap((trend) => trend.points.filter(({ isOutlier }) => isOutlier))
  const apartCount = new Set(apart.map(({ vehicle }) => vehicle)).size
  process.stdout.write(
    `${vehicles.length} vehicle${vehicles.length === 1 ? '' : 's'}, ${apartCount} of them ${apartCount === 1 ? 'stands' : 'stand'} apart.\nTrends  ${shown(join(options.out, 'trends.html'))}\n`,
  )
  return apartCount > 0 ? EXIT.fail : EXIT.pass
}

/** Vehicles are told apart by VIN, else by plate, else by the folder of their job. @param hits the newest first */
function newestOfEach(hits: readonly Hit[]): Hit[] {
  const seen = new Set<string>()
  return hits.filter(({ path, state, summary }) => {
    if (state === 'unfinished') return false
    const key = keyOf(summary?.job.vin ?? summary?.job.plate ?? '') || `folder ${folderOf(path)}`
    if (seen.has(key)) return false
    seen.add(key)
    return true
  })
}

const nameOf = ({ path, summary }: Hit, isPrivate: boolean): string =>
  isPrivate
    ? [basename(path), summary?.job.jobNumber].filter(Boolean).join(' · ')
    : [path, summary?.job.vehicle, summary?.job.plate].filter(Boolean).join(' · ')

const HEAD = [
  'quantity',
  'unit',
  'output',
  'label',
  'median',
  'spread',
  'vehicle',
  'value',
  'u_k2',
  'score',
  'stands_apart',
]

const rowsOf = (
  { quantity, unit, outputNumber, label, spread, points }: Trend,
  vehicles: readonly string[],
): Cell[][] =>
  points.map(({ vehicle, value, u, score, isOutlier }) => [
    ...[quantity, unit, outputNumber, label, spread.median, spread.spread],
    ...[vehicles[vehicle], value, u, score !== null && Number.isFinite(score) ? score : null, isOutlier],
  ])
