/** linetrue archive find, and linetrue archive index. */
import { findRuns } from '../archive/find.js'
import { foundRuns } from '../report/archive-text.js'
import { StopError } from '../units/stop.js'
import { archiveRoot, openShown, textOptions } from './archive-open.js'
import { type QueryOptions, queryOf } from './archive-query.js'
import { EXIT } from './exit.js'

/** Ends with 1 where nothing was found. */
export async function findCommand(
  words: readonly string[],
  options: QueryOptions & { limit: string; json?: boolean },
  signal: AbortSignal,
): Promise<number> {
  const query = queryOf(words, options)
  const limit = Number(options.limit)
  if (!Number.isInteger(limit) || limit < 1) {
    throw new StopError(`"${options.limit}" is no number of runs`, '--limit', 'Give a whole number from 1 on.')
  }
  const index = await openShown(archiveRoot(options.archive), signal)
  try {
    const hits = findRuns(index.db, query, limit + 1)
    const shownHits = hits.slice(0, limit)
    const text = options.json
      ? shownHits.map((hit) => JSON.stringify(hit)).join('\n')
      : foundRuns(shownHits, hits.length > limit, textOptions())
    if (text !== '') process.stdout.write(`${text}\n`)
    return hits.length > 0 ? EXIT.pass : EXIT.fail
  } finally {
    await index.close()
  }
}

export async function indexCommand(options: QueryOptions, signal: AbortSignal): Promise<number> {
  const index = await openShown(archiveRoot(options.archive), signal, true)
  await index.close()
  process.stdout.write(`The index was made anew: ${index.readCount} run${index.readCount === 1 ? '' : 's'}.\n`)
  return EXIT.pass
}
