/** Looks through the runs of a folder: which one can go on, and whether the clock can be right. */
import { existsSync } from 'node:fs'
import { readdir } from 'node:fs/promises'
import { basename, join } from 'node:path'
import { RESULT_FILE, runNamesNewestFirst } from './run-folder.js'
import { JOURNAL_FILE, type RunIdentity, RunJournal } from './run-journal.js'

/** No computer that runs this was set up before. */
const EARLIEST_YEAR = 2024

export interface Found {
  /** The newest unfinished run of the same texts and program. */
  readonly journal: RunJournal | null
  /** Unfinished runs that are newer and are left alone, each with why. */
  readonly says: readonly string[]
}

/** What of a run's texts is another one now: 'the job file'; empty where nothing is. */
export function changedParts(was: RunIdentity, is: RunIdentity): string[] {
  const names: [keyof RunIdentity, string][] = [
    ['job', 'the job file'],
    ['rig', 'the rig file'],
    ['calibration', "the rig's calibration"],
    ['faults', "the rig's faults file"],
    ['stages', 'what is to be done'],
  ]
  return names.filter(([key]) => was[key] !== is[key]).map(([, says]) => says)
}

/** Why a run cannot go on with these texts by this program; null where it can. */
export function whyNot(journal: RunJournal, of: RunIdentity, program: string): string | null {
  const changed = changedParts(journal.state.of, of)
  if (changed.length > 0) return `${changed.join(' and ')} changed since`
  return journal.state.program === program ? null : `it was begun by ${journal.state.program}, this is ${program}`
}

/**
 * Looks at runs from the newest back to the newest that is finished: what came before that is history.
 * @param now a finished run of a later date than this tells nothing: one of the clocks was wrong
 */
export async function findUnfinished(parent: string, of: RunIdentity, program: string, now: Date): Promise<Found> {
  const says: string[] = []
  for (const name of await runNamesIn(parent)) {
    const folder = join(parent, name)
    if (existsSync(join(folder, RESULT_FILE))) {
      if (dateOf(name) > now) continue
      break
    }
    if (!existsSync(join(folder, JOURNAL_FILE))) continue
    const journal = await RunJournal.read(folder)
    if (journal === null) {
      says.push(`${name} was not finished, and its ${JOURNAL_FILE} cannot be read: it is left as it is.`)
      continue
    }
    const why = whyNot(journal, of, program)
    if (why === null) return { journal, says }
    says.push(`${name} was not finished, but ${why}: it is left as it is, this is another run.`)
  }
  return { journal: null, says }
}

/**
 * What is wrong with the clock of this computer, as far as this folder can tell.
 * @param ownFolder of the run itself: it does not count
 */
export async function clockDoubts(parent: string, ownFolder: string | null, now: Date): Promise<string[]> {
  if (now.getFullYear() < EARLIEST_YEAR) {
    return [`The clock of this computer says ${dayOf(now)}, which cannot be: dates in this result are wrong.`]
  }
  const newest = (await runNamesIn(parent)).find((name) => ownFolder === null || name !== basename(ownFolder))
  if (newest === undefined) return []
  const journal = await RunJournal.read(join(parent, newest))
  const newestAt = journal ? new Date(journal.state.startedAt) : dateOf(newest)
  if (now >= newestAt) return []
  return [
    `The clock of this computer says ${dayOf(now)}, before the start of ${newest}: dates in one of them are wrong.`,
  ]
}

async function runNamesIn(parent: string): Promise<string[]> {
  return runNamesNewestFirst(await readdir(parent).catch(() => []))
}

const dayOf = (date: Date): string => `${date.toISOString().slice(0, 16).replace('T', ' ')} UTC`

/** Local time, as the name was made. */
function dateOf(name: string): Date {
  const [year, month, day, hour, minute, second] = [4, 8, 10, 13, 15, 17].map((at, k) =>
    Number(name.slice(at, at + (k === 0 ? 4 : 2))),
  )
  return new Date(year, month - 1, day, hour, minute, second)
}
