/** Recordings named on the command line, held against the patches and turned into takes. */
import { existsSync } from 'node:fs'
import { readRecording } from '../instruments/recording.js'
import type { Job } from '../job/job.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Setting } from '../rig/roles.js'
import type { OnProgress } from '../stages/progress.js'
import type { Take } from '../stages/verify.js'
import { durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'

export interface NamedRecording {
  readonly patch: PatchSpec
  readonly setting: Setting
  readonly path: string
}

/**
 * Which file is which take: PATCH=FILE, and PATCH@SETTING=FILE for an extra take (PATCH@volume_20=FILE); or plain files in
 * the order in which a bench makes them: all takes of the first patch, then of the next.
 *
 * @throws StopError when a patch has no file or two, a name is unknown, or there are too many files
 */
export function assignRecordings(given: readonly string[], patches: readonly PatchSpec[], job: Job): NamedRecording[] {
  const settings: readonly Setting[] = ['reference', ...job.extraTakes]
  const wanted = patches.flatMap((patch) => settings.map((setting) => ({ patch, setting })))
  const keyOf = ({ patch, setting }: { patch: PatchSpec; setting: Setting }): string =>
    setting === 'reference' ? patch.name : `${patch.name}@${setting}`
  const keys = wanted.map(keyOf)
  const files = new Map<string, string>()
  const stop = (what: string, remedy: string): StopError => new StopError(what, '--recording', remedy)
  for (const text of given) {
    const { key, path } = splitName(text)
    if (path === '') throw stop(`"${text}" names no file`, 'Give --recording FILE, or PATCH=FILE.')
    const free = keys.find((candidate) => !files.has(candidate))
    const at = key ?? free
    if (at === undefined) {
      throw stop(
        `${given.length} recordings for ${keys.length} take${keys.length === 1 ? '' : 's'}`,
        `Give one for each of: ${keys.join(', ')}.`,
      )
    }
    if (!keys.includes(at)) {
      const isExtra = patches.some(({ name }) => at.startsWith(`${name}@`))
      const remedy = `Use one of: ${keys.join(', ')}${isExtra ? '; or ask for it in the job (extra_takes)' : ''}.`
      throw stop(`there is no ${isExtra ? 'take' : 'patch'} "${at}"`, remedy)
    }
    if (files.has(at)) throw stop(`"${at}" has two recordings`, 'Give one file for each patch.')
    files.set(at, path)
  }
  const missing = keys.filter((key) => !files.has(key))
  if (missing.length > 0) {
    const leads = wanted
      .filter((take) => missing.includes(keyOf(take)))
      .map((take) => `${keyOf(take)} (${outputsSaid(take.patch)})`)
    throw stop(
      `no recording for ${leads.join('; ')}`,
      'Give --recording once for each patch, in this order, or as PATCH=FILE.',
    )
  }
  return wanted.map((take) => ({ ...take, path: files.get(keyOf(take))! }))
}

const outputsSaid = ({ leads }: PatchSpec): string =>
  `output${leads.length === 1 ? '' : 's'} ${leads.map(({ outputNumber }) => outputNumber).join(', ')}`

/** A file whose name holds an equals sign is taken as a file when it is there. */
function splitName(text: string): { key: string | null; path: string } {
  const at = text.indexOf('=')
  if (at < 0 || existsSync(text)) return { key: null, path: text }
  return { key: text.slice(0, at).trim(), path: text.slice(at + 1) }
}

export async function* recordedTakes(
  recordings: readonly NamedRecording[],
  rig: Rig,
  onProgress: OnProgress,
  signal: AbortSignal,
): AsyncGenerator<Take> {
  for (const { patch, setting, path } of recordings) {
    onProgress({ step: 'reading', detail: path, doneS: null, totalS: null })
    const { audio, info, sha256 } = await readRecording(path, signal)
    if (info.isCut) {
      throw new StopError(
        `the file ends after ${durationS(audio).toFixed(1)} s, before its header says so: it was cut short`,
        path,
        'Copy the recording again, or record it anew.',
      )
    }
    const inputCount = Math.max(...patch.leads.map(({ inputNumber }) => inputNumber))
    if (audio.channels.length < inputCount) {
      throw new StopError(
        `the recording has ${audio.channels.length} channel${audio.channels.length === 1 ? '' : 's'}, ${patch.name} uses input ${inputCount}`,
        path,
        'Record all inputs of the rig into one file, or name the rig that it was made with (--rig).',
      )
    }
    const wantedHz = rig.capture.driver === 'recording' ? null : rig.capture.sampleRateHz
    if (wantedHz !== null ? audio.sampleRateHz !== wantedHz : audio.sampleRateHz < 44_100) {
      throw new StopError(
        `the recording is at ${audio.sampleRateHz / 1000} kHz, ${wantedHz === null ? 'the track needs 44.1 kHz or more' : `the rig says ${wantedHz / 1000} kHz`}`,
        path,
        wantedHz === null
          ? 'Record at 44.1 kHz or more.'
          : 'Record at the rate of the rig, or correct capture: sample_rate_hz in the rig file.',
      )
    }
    yield {
      patchName: patch.name,
      setting,
      audio,
      captureBits: Math.min(info.bits, 24),
      source: path,
      sha256: async () => sha256,
      faults: [],
    }
  }
}
