/**
 * linetrue archive remeasure RUN: the takes of then, measured and judged with today's methods, held against what was found then.
 *
 * Nothing is written. Ends with 1 where a figure moved by more than both uncertainties.
 */
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { compareResults } from '../archive/compare.js'
import { CALIBRATION_FILE } from '../archive/run-folder.js'
import { RunJournal } from '../archive/run-journal.js'
import { readRecording } from '../instruments/recording.js'
import type { Job } from '../job/job.js'
import { parseJob } from '../job/parse.js'
import { comparisonText } from '../report/archive-compare-text.js'
import { applyCalibration } from '../rig/apply-calibration.js'
import { parseCalibration } from '../rig/calibration-file.js'
import { parseRig } from '../rig/parse.js'
import type { Rig } from '../rig/rig.js'
import { type Take, verify } from '../stages/verify.js'
import { planPatches } from '../stimulus/plan.js'
import { StopError } from '../units/stop.js'
import type { Result } from '../verdict/result.js'
import { anyChanged, titleOf, type WholeRun, wholeRun } from './archive-compare.js'
import { textOptions } from './archive-open.js'
import type { QueryOptions } from './archive-query.js'
import { readText, shown } from './files.js'
import { Screen } from './screen.js'

const AS_IT_WAS = 'The run does not hold what it was measured from: there is nothing to measure again.'

export async function remeasureCommand(
  name: string,
  options: QueryOptions & { all?: boolean },
  version: string,
  signal: AbortSignal,
): Promise<number> {
  const run = await wholeRun(name, options, signal)
  const screen = new Screen()
  try {
    const { result, notes } = await remeasured(run, `linetrue ${version}`, screen, signal)
    const old = { ...run.result, stages: [] }
    const figures = compareResults(old, result)
    const moved =
      run.result.verdict === result.verdict ? [] : [`The verdict was ${old.verdict}, and is ${result.verdict}.`]
    const titles = {
      a: `${titleOf(run)} · by ${old.program}`,
      b: `the same takes, measured again by ${result.program}`,
      word: 'moved',
      notes: [...notes, ...moved],
      isAll: options.all === true,
    }
    screen.clear()
    process.stdout.write(`${comparisonText(figures, titles, textOptions())}\n`)
    return anyChanged(figures)
  } finally {
    screen.clear()
  }
}

async function remeasured(
  { folder, result: old }: WholeRun,
  program: string,
  screen: Screen,
  signal: AbortSignal,
): Promise<{ result: Result; notes: readonly string[] }> {
  if (old.takes.length === 0) throw new StopError('this run has no take of its outputs', shown(folder), AS_IT_WAS)
  const textOf = (file: string): Promise<string> => readText(join(folder, file), file, AS_IT_WAS)
  const job = parseJob(await textOf('job.yaml'), shown(join(folder, 'job.yaml')))
  const { rig, notes } = await rigOfThen(folder, await textOf('rig.yaml'), job, old)
  const journal = await RunJournal.read(folder)
  const meter = journal?.state.meter ?? null
  const patches = planPatches(job, rig)
  const result = await verify(
    {
      job,
      rig,
      patches,
      startedAt: old.startedAt,
      program,
      isSimulated: old.isSimulated,
      isAhead: false,
      says: { capture: old.rig.capture, player: old.rig.player, meter: () => old.rig.meter },
      rigNotes: [],
      retestOf: old.retestOf,
      rigChecks: meter === null ? [] : [meter.check],
      rigFindings: meter?.findings ?? [],
    },
    takesOf(folder, old, journal, signal),
    screen.progress,
    signal,
  )
  return { result, notes }
}

/** The rig with the volts and limits by which the run was measured. */
async function rigOfThen(
  folder: string,
  text: string,
  job: Job,
  old: Result,
): Promise<{ rig: Rig; notes: readonly string[] }> {
  const rig = parseRig(text, shown(join(folder, 'rig.yaml')))
  const path = join(folder, CALIBRATION_FILE)
  if (existsSync(path)) {
    const calibration = parseCalibration(await readText(path, CALIBRATION_FILE, AS_IT_WAS), shown(path))
    const at = `${old.startedAt.slice(0, 19)}Z`
    return { rig: applyCalibration(rig, calibration, at, job.limits.calibrationAgeDaysMax).rig, notes: [] }
  }
  const inputs = rig.inputs.map((input, k) => {
    const then = old.rig.inputs.find(({ number }) => number === k + 1)
    if (!then) return input
    const { fullScaleVrms, padDb, levelUncertaintyDb } = then
    return { ...input, fullScaleVrms: fullScaleVrms as typeof input.fullScaleVrms, padDb, levelUncertaintyDb }
  })
  const isKnown = old.rig.inputs.some(
    ({ calibratedAt, ownNoiseDbfs }) => calibratedAt !== null || ownNoiseDbfs !== null,
  )
  const note =
    "The calibration is not kept in this run: volts are those of then, the rig's own limits are not taken off."
  return { rig: { ...rig, inputs }, notes: isKnown ? [note] : [] }
}

async function* takesOf(
  folder: string,
  old: Result,
  journal: RunJournal | null,
  signal: AbortSignal,
): AsyncGenerator<Take> {
  for (const { patch, setting, source, sha256: wanted, faults } of old.takes) {
    const path = existsSync(join(folder, source)) ? join(folder, source) : source
    const { audio, info, sha256 } = await readRecording(path, signal)
    if (sha256 !== wanted) {
      throw new StopError('this take is not the one that was measured', shown(path), 'See linetrue archive check.')
    }
    const entry = journal?.state.takes.find(({ file }) => file === source)
    const captureBits = entry?.captureBits ?? Math.min(info.bits, 24)
    yield { patchName: patch, setting, audio, captureBits, source, sha256: async () => sha256, faults }
  }
}
