/** linetrue verify JOB: from a bench, or from recordings made elsewhere. */
import { dirname, resolve } from 'node:path'
import { earlierRun } from '../archive/earlier-run.js'
import { CALIBRATION_FILE, makeNewRunFolder, makeRunFolder } from '../archive/run-folder.js'
import { writeAside } from '../archive/safe-write.js'
import { verify } from '../stages/verify.js'
import { planPatches } from '../stimulus/plan.js'
import { StopError } from '../units/stop.js'
import { loadCalibration } from './calibration.js'
import { loadJob, loadRig, shown } from './files.js'
import { assignRecordings, recordedTakes } from './recordings.js'
import { Screen } from './screen.js'
import { calibrated, end, type Given, notesOf, requestOf, type VerifyOptions } from './verify-common.js'
import { walkOnBench } from './walk.js'

export async function verifyCommand(options: VerifyOptions, signal: AbortSignal): Promise<number> {
  const job = await loadJob(options.jobPath)
  const rig = await loadRig(options.rig, job)
  const patches = planPatches(job.value, rig.value)
  const calibration = await loadCalibration(rig)
  const given = { options, job, rig, calibration, patches, now: new Date(), screen: new Screen() }
  try {
    if (options.recording.length > 0) return await verifyRecordings(given, signal)
    if (rig.value.capture.driver === 'recording') {
      throw new StopError(
        'this rig is for recordings made elsewhere, and none is given',
        shown(rig.path),
        'Add --recording FILE, once for each patch, or name another rig with --rig.',
      )
    }
    return await walkOnBench(given, ['outputs'], signal)
  } finally {
    given.screen.clear()
  }
}

async function verifyRecordings(given: Given, signal: AbortSignal): Promise<number> {
  const { options, job, rig, calibration, patches, now, screen } = given
  const recordings = assignRecordings(options.recording, patches, job.value)
  const known = calibrated(given, now)
  const runFolder = await (options.out === undefined
    ? makeNewRunFolder(resolve(dirname(job.path)), now)
    : makeRunFolder(resolve(options.out)))
  try {
    const retestOf = await earlierRun(dirname(job.path), job.value.vehicle.vin, runFolder.path)
    const rigNotes = notesOf(given, known, [])
    for (const note of rigNotes) screen.say(note)
    const result = await verify(
      {
        ...requestOf(given, known.rig, now, rigNotes, retestOf),
        isSimulated: false,
        isAhead: false,
        says: { capture: 'a recording made elsewhere', player: 'not known', meter: () => null },
      },
      recordedTakes(recordings, known.rig, screen.progress, signal),
      screen.progress,
      signal,
    )
    await writeAside(runFolder.path, 'job.yaml', job.text)
    await writeAside(runFolder.path, 'rig.yaml', rig.text)
    if (calibration) await writeAside(runFolder.path, CALIBRATION_FILE, calibration.text)
    return await end(runFolder.path, result, screen)
  } finally {
    await runFolder.dropIfEmpty()
  }
}
