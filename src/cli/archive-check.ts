/** linetrue archive check: every file of every run against its seal. Ends with 1 where anything is not as it was. */
import { checkArchive } from '../archive/check-archive.js'
import { checkText } from '../report/archive-text.js'
import { archiveRoot, textOptions } from './archive-open.js'
import type { QueryOptions } from './archive-query.js'
import { EXIT } from './exit.js'
import { Screen } from './screen.js'

export async function checkCommand(options: QueryOptions & { json?: boolean }, signal: AbortSignal): Promise<number> {
  const screen = new Screen()
  const isLive = process.stderr.isTTY === true
  const onRun = (path: string): void => {
    if (isLive) screen.progress({ step: 'reading', detail: path, doneS: null, totalS: null })
  }
  const check = await checkArchive(archiveRoot(options.archive), onRun, signal)
  screen.clear()
  process.stdout.write(`${options.json ? JSON.stringify(check, null, 1) : checkText(check, textOptions())}\n`)
  return check.troubles.length === 0 ? EXIT.pass : EXIT.fail
}
