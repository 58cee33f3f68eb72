/** What an earlier command left of a run, looked at before it counts: takes by their checksum, halves by name. */
import { join } from 'node:path'
import type { RunJournal, TakeEntry } from '../archive/run-journal.js'
import { readRecording } from '../instruments/recording.js'
import { durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { partsIn } from './run-store.js'

/**
 * Takes out of the journal what is no longer as it was.
 * @returns what a person should know of it, a line each
 */
export async function checkKeptTakes(journal: RunJournal): Promise<string[]> {
  const lines: string[] = []
  const entries: TakeEntry[] = []
  for (const entry of journal.state.takes) {
    const checked = entry.state === 'kept' ? await checkedTake(journal.folder, entry) : entry
    if (checked !== null) entries.push(checked)
    if (checked?.state !== entry.state && !(checked === null && entry.sha256 === null)) {
      lines.push(`${entry.file} ${checked?.why ?? 'is gone'}: it is taken again.`)
    }
    const isMadeSince = journal.state.takes.some(
      ({ patch, setting, state }) => state === 'kept' && patch === entry.patch && setting === entry.setting,
    )
    if (entry.state === 'refused' && !isMadeSince) {
      lines.push(`${entry.file} could not be measured: it is taken again.`)
    }
  }
  if (entries.some((entry, k) => entry !== journal.state.takes[k]) || entries.length !== journal.state.takes.length) {
    await journal.note({ takes: entries })
  }
  for (const part of await partsIn(journal.folder)) lines.push(await partWords(journal.folder, part))
  return lines
}

/** @returns null where there is no file */
async function checkedTake(folder: string, entry: TakeEntry): Promise<TakeEntry | null> {
  const refused = (why: string): TakeEntry => ({ ...entry, state: 'refused', why })
  try {
    const { audio, info, sha256 } = await readRecording(join(folder, entry.file))
    if (entry.sha256 !== null) {
      return sha256 === entry.sha256 ? entry : refused('has changed since it was made (its checksum is another one)')
    }
    const isWhole =
      !info.isCut &&
      audio.channels.length === entry.inputCount &&
      info.frameCount === entry.frameCount &&
      info.sampleRateHz === entry.sampleRateHz
    return isWhole ? { ...entry, sha256 } : refused('is not what was captured')
  } catch (error) {
    if (!(error instanceof StopError)) throw error
    const isGone = (error.cause as NodeJS.ErrnoException | undefined)?.code === 'ENOENT'
    return isGone ? null : refused(`cannot be used (${error.what})`)
  }
}

async function partWords(folder: string, part: string): Promise<string> {
  const length = await readRecording(join(folder, part)).then(
    ({ audio }) => `the first ${durationS(audio).toFixed(1)} s`,
    () => 'a part',
  )
  return `${part} is ${length} of a take that did not end: it is not used, and goes when that take has been made.`
}
