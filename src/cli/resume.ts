/** Opens the run of a command: goes on with the newest unfinished one of the same texts, or begins a new one. */
import { createHash } from 'node:crypto'
import { existsSync } from 'node:fs'
import { mkdir, rm } from 'node:fs/promises'
import { basename, dirname, join, resolve } from 'node:path'
import { earlierRun } from '../archive/earlier-run.js'
import { clockDoubts, findUnfinished, whyNot } from '../archive/find-run.js'
import { CALIBRATION_FILE, makeNewRunFolder, makeRunFolder, RESULT_FILE } from '../archive/run-folder.js'
import { JOURNAL_FILE, JOURNAL_VERSION, type RunIdentity, RunJournal } from '../archive/run-journal.js'
import { lockRun, type RunLock } from '../archive/run-lock.js'
import { writeAside } from '../archive/safe-write.js'
import type { PatchSpec } from '../rig/rig.js'
import { type PlannedTake, takeWords } from '../stages/planned-takes.js'
import { StopError } from '../units/stop.js'
import { shown } from './files.js'
import { checkKeptTakes } from './kept-takes.js'

export interface RunRequest {
  /** The job's folder: runs lie in it. */
  readonly parent: string
  /** The folder that the command names, if it names one. */
  readonly out: string | undefined
  readonly isFresh: boolean
  readonly of: RunIdentity
  readonly program: string
  readonly patches: readonly PatchSpec[]
  readonly plan: readonly PlannedTake[]
  readonly jobText: string
  readonly rigText: string
  /** Of the rig's calibration, if there is one: a run can be measured again by it. */
  readonly calibrationText?: string | null
  /** By which earlier runs of the vehicle are known under another job's name. */
  readonly vin?: string | null
  readonly now: Date
}

export interface OpenRun {
  readonly journal: RunJournal
  readonly startedAt: Date
  /** Takes that are still to be made. */
  readonly left: readonly PlannedTake[]
  /** What a person should know before it goes on. */
  readonly says: readonly string[]
  /** Lets go of the run; one in which nothing was finished leaves nothing behind. */
  close(): Promise<void>
}

export const hashOf = (text: string): string => createHash('sha256').update(text).digest('hex')

/** @throws StopError when another command works on it, it is of other texts, or it cannot be written */
export async function openRun(request: RunRequest): Promise<OpenRun> {
  const { parent, out, isFresh, of, program, now } = request
  if (out !== undefined) {
    const folder = resolve(out)
    const isUnfinished = existsSync(join(folder, JOURNAL_FILE)) && !existsSync(join(folder, RESULT_FILE))
    return isUnfinished ? goOn(request, await unfinishedIn(folder, request), []) : begin(request, [])
  }
  if (isFresh) return begin(request, [])
  const { journal, says } = await findUnfinished(parent, of, program, now)
  return journal ? goOn(request, journal, says) : begin(request, says)
}

async function unfinishedIn(folder: string, { isFresh, of, program }: RunRequest): Promise<RunJournal> {
  const stop = (what: string): StopError =>
    new StopError(what, shown(folder), 'Name a new folder with --out; what is in this one is kept as it is.')
  if (isFresh) throw stop('this folder holds a run that was not finished')
  const journal = await RunJournal.read(folder)
  if (journal === null)
    throw stop(`this folder holds a run that was not finished, and its ${JOURNAL_FILE} cannot be read`)
  const why = whyNot(journal, of, program)
  if (why !== null) throw stop(`this folder holds another run that was not finished: ${why}`)
  return journal
}

async function begin(request: RunRequest, says: readonly string[]): Promise<OpenRun> {
  const { parent, out, of, program, patches, plan, now } = request
  const made = out === undefined ? await makeNewRunFolder(resolve(parent), now) : await makeRunFolder(resolve(out))
  const folder = made.path
  let lock: RunLock | null = null
  let journal: RunJournal | null = null
  const close = async (): Promise<void> => {
    const isEmpty = journal === null || journal.isEmpty
    if (isEmpty) {
      await journal?.remove()
      for (const name of ['job.yaml', 'rig.yaml', CALIBRATION_FILE]) await rm(join(folder, name), { force: true })
    }
    await lock?.release()
    if (isEmpty) await made.dropIfEmpty()
  }
  try {
    lock = await lockRun(folder)
    const notes = await clockDoubts(dirname(folder), folder, now)
    const startedAt = now.toISOString()
    const leads = patches.map(({ name, leads: all }) => ({ name, leads: all.map((lead) => ({ ...lead })) }))
    journal = await RunJournal.begin(folder, {
      format: 'linetrue-run',
      version: JOURNAL_VERSION,
      program,
      startedAt,
      goneOnAt: [],
      of,
      retestOf: await earlierRun(parent, request.vin ?? null, folder),
      patches: leads,
      notes,
      instruments: null,
      meter: null,
      takes: [],
      settings: [],
      stages: [],
    })
    await writeTexts(folder, request)
    return { journal, startedAt: now, left: plan, says, close }
  } catch (error) {
    await close()
    throw error
  }
}

async function goOn(request: RunRequest, found: RunJournal, says: readonly string[]): Promise<OpenRun> {
  const { plan, now } = request
  const { folder } = found
  const lock = await lockRun(folder)
  try {
    // Another command may have had it until now.
    const journal = (await RunJournal.read(folder)) ?? found
    if (existsSync(join(folder, RESULT_FILE))) {
      const what = 'another command has finished this run just now'
      throw new StopError(what, shown(folder), 'Give the command again for a new run.', 'instrument')
    }
    await journal.reserve()
    await mkdir(join(folder, 'takes'), { recursive: true })
    const lines = await checkKeptTakes(journal)
    const left = plan.filter(({ patch, setting }) => !keptOf(journal, patch.name, setting))
    const wasAt = new Date(journal.state.startedAt)
    const doubts = await clockDoubts(dirname(folder), null, now)
    const notes = [...journal.state.notes, ...doubts.filter((doubt) => !journal.state.notes.includes(doubt))]
    const kept = plan.filter((take) => !left.includes(take))
    const keeps = keptWords(journal, kept, plan.length)
    const isAnyKept = keeps.length > 0
    if (isAnyKept) {
      // An earlier note may count takes that are made again now.
      notes.push(...lines.filter((line) => line.endsWith('it is taken again.') && !notes.includes(line)))
      notes.push(`Begun at ${minuteOf(wasAt)}, gone on at ${minuteOf(now)}: kept ${keeps.join(', and ')}.`)
      await journal.note({ notes, goneOnAt: [...journal.state.goneOnAt, now.toISOString()] })
    } else {
      // It begins anew: what earlier commands had made is gone.
      await journal.note({ notes: notes.filter((note) => !note.startsWith('Begun at ')), startedAt: now.toISOString() })
    }
    await writeTexts(folder, request)
    return {
      journal,
      startedAt: isAnyKept ? wasAt : now,
      left,
      says: [...says, goesOnWith(folder, keeps, left, plan.length), ...lines],
      close: () => lock.release(),
    }
  } catch (error) {
    await lock.release()
    throw error
  }
}

/** Job and rig as they were. */
async function writeTexts(folder: string, { jobText, rigText, calibrationText }: RunRequest): Promise<void> {
  if (!existsSync(join(folder, 'job.yaml'))) await writeAside(folder, 'job.yaml', jobText)
  if (!existsSync(join(folder, 'rig.yaml'))) await writeAside(folder, 'rig.yaml', rigText)
  const isCalibrationKept = !calibrationText || existsSync(join(folder, CALIBRATION_FILE))
  if (!isCalibrationKept) await writeAside(folder, CALIBRATION_FILE, calibrationText)
}

const keptOf = ({ state: { takes } }: RunJournal, patch: string, setting: string): boolean =>
  takes.some((entry) => entry.state === 'kept' && entry.patch === patch && entry.setting === setting)

/** What of it need not be done again. */
function keptWords({ state }: RunJournal, kept: readonly PlannedTake[], takeCount: number): string[] {
  const made = state.stages.filter(({ result }) => result !== null).map(({ stage }) => stage)
  const begun = state.stages.filter(({ result, steps }) => result === null && Object.keys(steps).length > 0)
  return [
    ...(made.length > 0 ? [`the stage${made.length === 1 ? '' : 's'} ${inWords(made)}`] : []),
    ...begun.map(({ stage, steps }) => `${countOf(Object.keys(steps).length, 'step')} of ${stage}`),
    ...(kept.length > 0 ? [`${kept.length} of ${countOf(takeCount, 'take')} (${inWords(kept.map(takeWords))})`] : []),
    ...(state.meter === null ? [] : ["the meter's reading"]),
  ]
}

function goesOnWith(folder: string, keeps: readonly string[], left: readonly PlannedTake[], takeCount: number): string {
  const has = keeps.length > 0 ? `kept ${keeps.join(', and ')}` : 'nothing in it was finished'
  const rest =
    takeCount === 0
      ? ''
      : left.length === 0
        ? '; all takes are made, nothing is played'
        : `; ${left.length} of ${countOf(takeCount, 'take')} ${left.length === 1 ? 'is' : 'are'} left`
  return `Goes on with ${basename(folder)}: ${has}${rest}. For a new run add --fresh.`
}

const countOf = (count: number, what: string): string => `${count} ${what}${count === 1 ? '' : 's'}`

const inWords = (names: readonly string[]): string =>
  names.length < 2 ? names.join('') : `${names.slice(0, -1).join('; ')} and ${names.at(-1)}`

const minuteOf = (date: Date): string => `${date.toISOString().slice(0, 16).replace('T', ' ')} UTC`
