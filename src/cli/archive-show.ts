/** linetrue archive show and open: one run as it was. */
import { spawn } from 'node:child_process'
import { existsSync } from 'node:fs'
import { platform } from 'node:os'
import { basename, dirname, join } from 'node:path'
import { readResult } from '../archive/read-result.js'
import { REPORT_FILE, RESULT_FILE, runNamesNewestFirst } from '../archive/run-folder.js'
import { listFolder, stateOf } from '../archive/scan.js'
import { DOUBT_WORDS, resultDoubt } from '../archive/seal.js'
import { readSummary } from '../archive/summary.js'
import { headOfRun, shownPath } from '../report/archive-text.js'
import { terminalReport } from '../report/terminal.js'
import { StopError } from '../units/stop.js'
import { listed } from '../units/words.js'
import { pathInArchive, runNamed, textOptions } from './archive-open.js'
import type { QueryOptions } from './archive-query.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'

/** Ends with 1 where only a part of it can be shown. */
export async function showCommand(name: string, options: QueryOptions, signal: AbortSignal): Promise<number> {
  const folder = await runNamed(name, options, signal)
  const report = join(folder, REPORT_FILE)
  const reportPath = existsSync(report) ? shown(report) : null
  const { result, summary, why } = existsSync(join(folder, RESULT_FILE))
    ? await readResult(folder)
    : {
        result: null,
        summary: null,
        why: stateOf(folder) === 'sealed' ? `${RESULT_FILE} is missing` : 'the run was not finished',
      }
  if (result === null) {
    const state = 'unreadable'
    const head = headOfRun(
      {
        path: pathInArchive(folder),
        state,
        why: `Not all can be shown: ${why}.`,
        summary: summary ?? readSummary(folder),
      },
      textOptions(),
    )
    process.stdout.write(`${head}\n${reportPath === null ? '' : `Report  ${shownPath(reportPath)}\n`}`)
    return EXIT.fail
  }
  const doubt = await resultDoubt(folder)
  const notes = [
    ...(result.retestOf === null ? [] : [`It follows ${result.retestOf}.`]),
    ...otherRuns(folder),
    ...(doubt === null ? [] : [DOUBT_WORDS[doubt]]),
  ]
  process.stdout.write(`${terminalReport(result, { ...textOptions(), reportPath })}\n`)
  for (const note of notes) process.stdout.write(`${shownPath(note)}\n`)
  return doubt === 'changed' ? EXIT.fail : EXIT.pass
}

/** Those beside it in its job's folder. */
function otherRuns(folder: string): string[] {
  const names = runNamesNewestFirst(listFolder(dirname(folder))?.runs ?? []).filter((name) => name !== basename(folder))
  return names.length === 0 ? [] : [`Other runs of this job: ${listed(names)}.`]
}

export async function openCommand(name: string, options: QueryOptions, signal: AbortSignal): Promise<number> {
  const folder = await runNamed(name, options, signal)
  const path = join(folder, REPORT_FILE)
  if (!existsSync(path)) {
    const what =
      stateOf(folder) === 'unfinished' ? 'this run was not finished: it has no report' : 'its report is missing'
    throw new StopError(what, shown(folder), 'See what there is: linetrue archive show.')
  }
  // As it is, for it may be handed on to another command.
  process.stdout.write(`${shown(path)}\n`)
  const opener = openerOf()
  if (opener !== null) {
    const child = spawn(opener, [path], { detached: true, stdio: 'ignore' })
    child.on('error', () => process.stderr.write(`It was not opened: there is no ${opener} here.\n`))
    child.unref()
  }
  return EXIT.pass
}

/** What opens a file in this system's desktop; null where nobody sits in front of one. */
export function openerOf(
  system: NodeJS.Platform = platform(),
  environment: NodeJS.ProcessEnv = process.env,
): string | null {
  if (system === 'darwin') return 'open'
  if (system === 'win32') return 'explorer.exe'
  return environment['DISPLAY'] || environment['WAYLAND_DISPLAY'] ? 'xdg-open' : null
}
