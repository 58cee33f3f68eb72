/** What both ways of verifying have in common: what they are given, what a result says, and how a run ends. */
import { join } from 'node:path'
import { finishRun } from '../archive/finish-run.js'
import { REPORT_FILE } from '../archive/run-folder.js'
import { writeAside } from '../archive/safe-write.js'
import { tunerFiles } from '../archive/tuner-files.js'
import type { Job } from '../job/job.js'
import { htmlReport } from '../report/html.js'
import { terminalReport } from '../report/terminal.js'
import { applyCalibration } from '../rig/apply-calibration.js'
import type { Calibration } from '../rig/calibration.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { VerifyRequest } from '../stages/verify.js'
import { planHeadroom } from '../stimulus/headroom.js'
import type { Result } from '../verdict/result.js'
import { EXIT } from './exit.js'
import { type Loaded, shown } from './files.js'
import type { Screen } from './screen.js'

export interface VerifyOptions {
  readonly jobPath: string
  readonly rig?: string
  readonly recording: readonly string[]
  readonly out?: string
  /** A new run, though there is one to go on with. */
  readonly fresh?: boolean
  readonly isAttended: boolean
  /** File of answers by name, for what is not to be asked. */
  readonly answers?: string
  readonly version: string
}

/** What both ways of verifying start from. */
export interface Given {
  readonly options: VerifyOptions
  readonly job: Loaded<Job>
  readonly rig: Loaded<Rig>
  readonly calibration: Loaded<Calibration> | null
  readonly patches: readonly PatchSpec[]
  readonly now: Date
  readonly screen: Screen
}

export const programOf = ({ version }: VerifyOptions): string => `linetrue ${version}`

/** What a result says whatever its takes come from. */
export const requestOf = (
  { options, job, patches }: Given,
  rig: Rig,
  startedAt: Date,
  rigNotes: readonly string[],
  retestOf: string | null,
): Omit<VerifyRequest, 'isSimulated' | 'isAhead' | 'says'> => ({
  job: job.value,
  rig,
  patches,
  startedAt: startedAt.toISOString(),
  program: programOf(options),
  rigNotes,
  retestOf,
  rigChecks: [],
  rigFindings: [],
})

export interface Calibrated {
  readonly rig: Rig
  readonly notes: readonly string[]
}

/** The rig with what its calibration file says of it, if there is one. */
export function calibrated({ job, rig, calibration }: Given, startedAt: Date): Calibrated {
  if (!calibration) return { rig: rig.value, notes: [] }
  const at = `${startedAt.toISOString().slice(0, 19)}Z`
  const applied = applyCalibration(rig.value, calibration.value, at, job.value.limits.calibrationAgeDaysMax)
  return { rig: applied.rig, notes: applied.messages.map(({ says }) => says) }
}

export const notesOf = ({ job, patches }: Given, known: Calibrated, runNotes: readonly string[]): readonly string[] => [
  ...known.notes,
  ...planHeadroom(job.value, known.rig, patches).lines.map(({ says }) => says),
  ...runNotes,
]

/** Leaves report and result, and tells the verdict. */
export async function end(folder: string, result: Result, screen: Screen): Promise<number> {
  for (const { name, text } of tunerFiles(result.stages.flatMap(({ corrections }) => corrections))) {
    await writeAside(folder, name, text)
  }
  await finishRun(folder, result, htmlReport(result))
  screen.clear()
  const { isColour, columnCount } = screen
  const reportPath = shown(join(folder, REPORT_FILE))
  process.stdout.write(`${terminalReport(result, { isColour, columnCount, reportPath })}\n`)
  return EXIT[result.verdict]
}
