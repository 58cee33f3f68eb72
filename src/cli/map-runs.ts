/** Vehicles for a map: a finished run read again from its takes, or recordings of outputs of which nothing is known. */
import { existsSync } from 'node:fs'
import { readdir, stat } from 'node:fs/promises'
import { dirname, join, resolve } from 'node:path'
import { readResult } from '../archive/read-result.js'
import { RESULT_FILE, runNamesNewestFirst } from '../archive/run-folder.js'
import { readRecording } from '../instruments/recording.js'
import { parseJob } from '../job/parse.js'
import type { MapSource, OutputLabel } from '../job/platform.js'
import type { LeadData } from '../measure/lead.js'
import { applyCalibration } from '../rig/apply-calibration.js'
import { parseRig } from '../rig/parse.js'
import type { PatchSpec, RigInput } from '../rig/rig.js'
import type { OnProgress } from '../stages/progress.js'
import { takeLeads } from '../stages/take-leads.js'
import type { Take } from '../stages/verify.js'
import { planPatches } from '../stimulus/plan.js'
import { vrms } from '../units/level.js'
import { StopError } from '../units/stop.js'
import type { Result } from '../verdict/result.js'
import { loadCalibration } from './calibration.js'
import { readText, shown } from './files.js'
import { assignRecordings, recordedTakes } from './recordings.js'

/** What is known of a vehicle before anything of it is measured. */
export interface NamedVehicle {
  readonly source: MapSource
  readonly platform: string | null
  /** The result's one sentence; empty where nothing was judged. */
  readonly summary: string
  readonly isSimulated: boolean
  readonly labels: readonly OutputLabel[]
  /** Nobody knows which of the inputs carry an output. */
  readonly isBlind: boolean
  /** @throws StopError when one of its takes is not there, or is not what it was */
  readonly measure: () => Promise<LeadData[]>
}

/** Numbers of outputs as people read them, in their order. */
export const numbersIn = (outputs: readonly { readonly number: number }[]): string =>
  outputs
    .map(({ number }) => number)
    .sort((a, b) => a - b)
    .join(', ')

/**
 * The run that a path means: its folder, or the newest finished one of a job.
 * @throws StopError when there is none
 */
export async function runFolderOf(given: string): Promise<string> {
  const isFolder = await stat(given).then(
    (info) => info.isDirectory(),
    () => null,
  )
  if (isFolder === null) throw new StopError('there is no such run or job', given, 'Name a run folder, or a job.')
  const folder = isFolder ? given : dirname(given)
  if (isFolder && existsSync(join(folder, RESULT_FILE))) return folder
  const names = runNamesNewestFirst(await readdir(folder))
  let newest: string | null = null
  for (const name of names.filter((one) => existsSync(join(folder, one, RESULT_FILE)))) {
    newest ??= name
    // Stages by themselves leave runs without outputs.
    if ((await readResult(join(folder, name))).summary?.outputs.length) return join(folder, name)
  }
  if (newest !== null) return join(folder, newest)
  throw new StopError('no run of it is finished', shown(given), `Run linetrue verify ${shown(given)} first.`)
}

/** @throws StopError when its result is not there, or cannot be read */
export async function vehicleOfRun(folder: string, onProgress: OnProgress, signal: AbortSignal): Promise<NamedVehicle> {
  const { result, why } = await readResult(folder)
  if (!result) throw new StopError(why, shown(folder), 'Take the vehicle again: linetrue verify JOB.')
  if (result.outputs.length === 0) {
    throw new StopError('no outputs were measured in this run', shown(folder), 'Run linetrue verify JOB first.')
  }
  const inputs = result.rig.inputs.map(
    ({ fullScaleVrms, ...input }): RigInput => ({ ...input, fullScaleVrms: vrms(fullScaleVrms) }),
  )
  return {
    source: {
      run: shown(resolve(folder)),
      date: result.startedAt,
      // A map is handed on: no VIN and no plate.
      vehicle: result.job.vehicle,
      verdict: result.verdict,
    },
    platform: result.job.platform,
    summary: result.summary,
    isSimulated: result.isSimulated,
    labels: await labelsOf(folder, result),
    isBlind: false,
    measure: () => takeLeads(keptTakes(folder, result, signal), patchesOf(result), { inputs }, onProgress, signal),
  }
}

function patchesOf({ outputs }: Result): PatchSpec[] {
  return [...new Set(outputs.map(({ patch }) => patch))].map((name) => ({
    name,
    leads: outputs
      .filter(({ patch }) => patch === name)
      .map(({ inputNumber, number }) => ({ inputNumber, outputNumber: number })),
  }))
}

/** Names of the result; fader group and pair as the job of the run had them. */
async function labelsOf(folder: string, { outputs }: Result): Promise<OutputLabel[]> {
  const path = join(folder, 'job.yaml')
  const job = existsSync(path)
    ? parseJob(await readText(path, 'job file', 'Take the vehicle again.'), shown(path))
    : null
  return outputs.map(({ number, label }) => {
    const spec = job?.outputs.find((output) => output.number === number)
    return { number, label, fader: spec?.faderGroup ?? null, pair: spec?.pair ?? null }
  })
}

/** The takes that tell of the map: those at the reference, and with the fader to the front. */
async function* keptTakes(folder: string, result: Result, signal: AbortSignal): AsyncGenerator<Take> {
  for (const { source, sha256, patch, setting, faults } of result.takes) {
    if (setting !== 'reference' && setting !== 'fader_front') continue
    // A recording made elsewhere stands as it was named.
    const path = existsSync(join(folder, source)) ? join(folder, source) : source
    const { audio, info, sha256: found } = await readRecording(path, signal)
    if (found !== sha256) {
      throw new StopError(
        'this take is not the one that was measured: its checksum is another one',
        shown(path),
        'Name another run, or take the vehicle again.',
      )
    }
    yield {
      patchName: patch,
      setting,
      audio,
      captureBits: Math.min(info.bits, 24),
      source,
      sha256: async () => found,
      faults,
    }
  }
}

export interface BlindRequest {
  readonly rigPath: string
  /** As for verify: one file for each patch, in order, or PATCH=FILE, PATCH@fader_front=FILE. */
  readonly recordings: readonly string[]
  /** null: as many as the rig has inputs, for each recording. */
  readonly outputCount: number | null
  readonly now: Date
}

/** @throws StopError when rig or recordings do not fit, or cannot be read */
export async function vehicleOfRecordings(
  { rigPath, recordings, outputCount, now }: BlindRequest,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<NamedVehicle> {
  const text = await readText(rigPath, 'rig file', 'Check the path given to --rig.')
  const rig = { value: parseRig(text, shown(rigPath)), text, path: rigPath }
  const calibration = await loadCalibration(rig)
  const at = `${now.toISOString().slice(0, 19)}Z`
  const known = calibration ? applyCalibration(rig.value, calibration.value, at, CALIBRATION_AGE_DAYS).rig : rig.value
  const isFader = (name: string): boolean => name.includes('@fader_front=')
  const count = outputCount ?? known.inputs.length * recordings.filter((name) => !isFader(name)).length
  const job = unknownJob(count, recordings.some(isFader))
  const patches = planPatches(job, known)
  const named = assignRecordings(recordings, patches, job)
  return {
    source: {
      run: named
        .map(({ path }) => shown(path))
        .join(', ')
        .slice(0, RUN_LENGTH_MAX),
      date: at,
      vehicle: 'recordings made elsewhere',
      verdict: 'not judged',
    },
    platform: null,
    summary: '',
    isSimulated: false,
    labels: job.outputs.map(({ number, label }) => ({ number, label, fader: null, pair: null })),
    isBlind: true,
    measure: () => {
      const takes = recordedTakes(named, known, onProgress, signal)
      return takeLeads(takes, patches, known, onProgress, signal)
    },
  }
}

/** As for a job that says nothing else. */
const CALIBRATION_AGE_DAYS = 365
const OUTPUTS_MAX = 32
/** What a map file takes. */
const RUN_LENGTH_MAX = 400

/** A job that knows no more than how many outputs there are. */
function unknownJob(outputCount: number, hasFader: boolean): ReturnType<typeof parseJob> {
  if (!(outputCount >= 1 && outputCount <= OUTPUTS_MAX)) {
    throw new StopError(`there would be ${outputCount} outputs`, '--outputs', `Give a number from 1 to ${OUTPUTS_MAX}.`)
  }
  const outputs = Array.from({ length: outputCount }, (_, k) => ({
    number: k + 1,
    label: `output ${k + 1}`,
    left: 1,
    right: 1,
    level_vrms: 1,
  }))
  const file = { name: 'unknown', vehicle: { model: 'unknown' }, extra_takes: hasFader ? ['fader_front'] : [], outputs }
  return parseJob(JSON.stringify(file), 'outputs of which nothing is known')
}
