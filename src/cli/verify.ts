/** linetrue verify JOB: wires a bench or recordings to the run, shows it, and leaves result and report. */
import { dirname, join, resolve } from 'node:path'
import { makeRunFolder, REPORT_FILE, RESULT_FILE, runFolderName, sha256Of, writeAside } from '../archive/run-folder.js'
import { liveBench } from '../instruments/bench.js'
import { TakeFile } from '../instruments/take-file.js'
import type { Job } from '../job/job.js'
import { htmlReport } from '../report/html.js'
import { terminalReport } from '../report/terminal.js'
import { applyCalibration } from '../rig/apply-calibration.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { benchTakes, type TakeStore } from '../stages/bench-takes.js'
import { type Take, verify } from '../stages/verify.js'
import { planHeadroom } from '../stimulus/headroom.js'
import { planPatches } from '../stimulus/plan.js'
import { StopError } from '../units/stop.js'
import { simulatedBench } from '../vehicle/bench.js'
import { NO_FAULTS, parseFaults } from '../vehicle/faults.js'
import { BEFORE_SOUND } from '../verdict/cautions.js'
import type { Check, Finding, Result } from '../verdict/result.js'
import { loadCalibration } from './calibration.js'
import { EXIT } from './exit.js'
import { type Loaded, loadJob, loadRig, readText, shown } from './files.js'
import { assignRecordings, recordedTakes } from './recordings.js'
import { Screen } from './screen.js'

export interface VerifyOptions {
  readonly jobPath: string
  readonly rig?: string
  readonly recording: readonly string[]
  readonly out?: string
  readonly isAttended: boolean
  readonly version: string
}

export async function verifyCommand(options: VerifyOptions, signal: AbortSignal): Promise<number> {
  const job = await loadJob(options.jobPath)
  const bareRig = await loadRig(options.rig, job)
  const patches = planPatches(job.value, bareRig.value)
  const startedAt = new Date()
  const known = await withCalibration(bareRig, job.value, startedAt)
  const { rig } = known
  const isRecorded = options.recording.length > 0
  if (!isRecorded && rig.value.capture.driver === 'recording') {
    throw new StopError(
      'this rig is for recordings made elsewhere, and none is given',
      shown(rig.path),
      'Add --recording FILE, once for each patch, or name another rig with --rig.',
    )
  }
  const recordings = isRecorded ? assignRecordings(options.recording, patches, job.value) : []
  const runFolder = await makeRunFolder(resolve(options.out ?? join(dirname(job.path), runFolderName(startedAt))))
  const folder = runFolder.path
  const screen = new Screen()
  let bench: Bench | null = null
  try {
    const rigChecks: Check[] = []
    const rigFindings: Finding[] = []
    let meterSays: string | null = null
    let takes: AsyncIterable<Take>
    const rigNotes = [...known.notes, ...planHeadroom(job.value, rig.value, patches).lines.map(({ says }) => says)]
    for (const note of rigNotes) screen.say(note)
    if (isRecorded) takes = recordedTakes(recordings, rig.value, screen.progress, signal)
    else {
      bench = await openBench(job.value, rig, patches, screen, options.isAttended, signal)
      takes = benchTakes(
        bench,
        job.value,
        rig.value,
        patches,
        takeStore(folder),
        ({ says, check, findings }) => {
          meterSays = says
          rigChecks.push(check)
          rigFindings.push(...findings)
        },
        screen.progress,
        signal,
      )
    }
    const result = await verify(
      {
        job: job.value,
        rig: rig.value,
        patches,
        startedAt: startedAt.toISOString(),
        program: `linetrue ${options.version}`,
        isSimulated: bench?.isSimulated ?? false,
        isAhead: bench !== null,
        says: {
          capture: bench?.capture.where ?? 'a recording made elsewhere',
          player: bench?.player.where ?? 'not known',
          meter: () => meterSays,
        },
        rigNotes,
        rigChecks,
        rigFindings,
      },
      takes,
      screen.progress,
      signal,
    )
    await keep(folder, job, rig, result)
    screen.clear()
    const reportPath = join(folder, REPORT_FILE)
    process.stdout.write(
      `${terminalReport(result, {
        isColour: screen.isColour,
        columnCount: screen.columnCount,
        reportPath: shown(reportPath),
      })}\n`,
    )
    return EXIT[result.verdict]
  } finally {
    screen.clear()
    await bench?.close()
    await runFolder.dropIfEmpty()
  }
}

/** The rig with what its calibration file says of it, if there is one. */
async function withCalibration(
  rig: Loaded<Rig>,
  job: Job,
  startedAt: Date,
): Promise<{ rig: Loaded<Rig>; notes: readonly string[] }> {
  const calibration = await loadCalibration(rig)
  if (!calibration) return { rig, notes: [] }
  const now = `${startedAt.toISOString().slice(0, 19)}Z`
  const applied = applyCalibration(rig.value, calibration.value, now, job.limits.calibrationAgeDaysMax)
  return { rig: { ...rig, value: applied.rig }, notes: applied.messages.map(({ says }) => says) }
}

async function openBench(
  job: Job,
  rig: Loaded<Rig>,
  patches: readonly PatchSpec[],
  screen: Screen,
  isAttended: boolean,
  signal: AbortSignal,
): Promise<Bench> {
  if (rig.value.capture.driver !== 'simulated') {
    screen.say(`Caution: ${BEFORE_SOUND}`)
    const ask = (prompt: string, stop: AbortSignal): Promise<void> => screen.ask(prompt, isAttended, stop)
    return liveBench(rig.value, patches, ask, signal, job.volumeStep)
  }
  const { faultsPath } = rig.value
  if (faultsPath === null) return simulatedBench(job, rig.value, NO_FAULTS, patches)
  const path = resolve(dirname(rig.path), faultsPath)
  const text = await readText(path, 'faults file', `The rig names it: check "faults" in ${shown(rig.path)}.`)
  return simulatedBench(job, rig.value, parseFaults(text, shown(path)), patches)
}

const takeStore = (folder: string): TakeStore => ({
  open: (name, format) => TakeFile.create(join(folder, name), format),
  sha256: (name) => sha256Of(join(folder, name)),
})

async function keep(folder: string, job: Loaded<Job>, rig: Loaded<Rig>, result: Result): Promise<void> {
  await writeAside(folder, 'job.yaml', job.text)
  await writeAside(folder, 'rig.yaml', rig.text)
  await writeAside(folder, REPORT_FILE, htmlReport(result))
  // Last: a folder with a result is a finished run.
  await writeAside(folder, RESULT_FILE, `${JSON.stringify(result, null, 1)}\n`)
}
