/** linetrue archive export: the figures of what was found, run after run, so that no archive is too large. */
import { createWriteStream } from 'node:fs'
import { join } from 'node:path'
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import { csvRows } from '../archive/csv.js'
import { exportColumns, exportRows, exportRun } from '../archive/export.js'
import { eachRun } from '../archive/find.js'
import type { OpenIndex } from '../archive/index-file.js'
import { readResult } from '../archive/read-result.js'
import { checkOutsideRuns } from '../archive/seal.js'
import { StopError } from '../units/stop.js'
import { archiveRoot, openShown } from './archive-open.js'
import { type QueryOptions, queryOf } from './archive-query.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'

interface ExportOptions extends QueryOptions {
  readonly format: string
  readonly out?: string
  readonly private?: boolean
}

interface Counts {
  runCount: number
  readonly leftOut: string[]
}

/** Ends with 1 where there was nothing to write, or a run could not be read. */
export async function exportCommand(
  words: readonly string[],
  options: ExportOptions,
  signal: AbortSignal,
): Promise<number> {
  const root = archiveRoot(options.archive)
  const query = queryOf(words, options)
  const index = await openShown(root, signal)
  const counts: Counts = { runCount: 0, leftOut: [] }
  try {
    const text = Readable.from(exported(index, root, query, options, counts))
    await writeTo(options.out, text, signal)
  } finally {
    await index.close()
  }
  for (const line of counts.leftOut) process.stderr.write(`left out: ${line}\n`)
  process.stderr.write(`${counts.runCount} run${counts.runCount === 1 ? '' : 's'} exported.\n`)
  return counts.runCount > 0 && counts.leftOut.length === 0 ? EXIT.pass : EXIT.fail
}

async function* exported(
  { db }: OpenIndex,
  root: string,
  query: ReturnType<typeof queryOf>,
  { format, private: isPrivate = false }: ExportOptions,
  counts: Counts,
): AsyncGenerator<string> {
  const isCsv = format === 'csv'
  yield isCsv ? csvRows([exportColumns(isPrivate)]) : '['
  for (const { path, state } of eachRun(db, query)) {
    if (state === 'unfinished') continue
    const { result, why } = await readResult(join(root, path))
    if (result === null) {
      counts.leftOut.push(`${path}: ${why}`)
      continue
    }
    const comma = counts.runCount++ === 0 ? '\n' : ',\n'
    yield isCsv
      ? csvRows(exportRows(path, result, isPrivate))
      : `${comma}${JSON.stringify(exportRun(path, result, isPrivate))}`
  }
  if (!isCsv) yield '\n]\n'
}

/** @throws StopError when there is such a file already, or it cannot be written */
async function writeTo(out: string | undefined, text: Readable, signal: AbortSignal): Promise<void> {
  if (out === undefined) return pipeline(text, process.stdout, { signal, end: false })
  checkOutsideRuns(out)
  try {
    await pipeline(text, createWriteStream(out, { flags: 'wx' }), { signal })
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException
    if (code === undefined || signal.aborted) throw cause
    const isThere = code === 'EEXIST'
    throw new StopError(
      isThere ? 'there is such a file already, and it stays as it is' : `the file cannot be written (${code})`,
      shown(out),
      'Name another file with --out.',
      isThere ? 'input' : 'instrument',
      { cause },
    )
  }
}
