/** Takes from a bench: each patch connected, probed, then the track played, at each setting that the job asks for. */
import { type Job, volumeOf } from '../job/job.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Bench, Setting } from '../rig/roles.js'
import { renderTrack } from '../stimulus/render.js'
import { checkAgainstMeter, type MeterWord } from './meter-check.js'
import type { OnProgress } from './progress.js'
import { softStart } from './soft-start.js'
import { type TakeSink, takeOnce } from './take.js'
import type { Take } from './verify.js'

export interface TakeStore {
  /** Opens the file of a take; its name is relative to the run's folder. */
  open(name: string, format: { sampleRateHz: number; channelCount: number; bits: 16 | 24 | 32 }): Promise<TakeSink>
  sha256(name: string): Promise<string>
}

export async function* benchTakes(
  bench: Bench,
  job: Job,
  rig: Rig,
  patches: readonly PatchSpec[],
  store: TakeStore,
  onMeter: (word: MeterWord) => void,
  onProgress: OnProgress,
  signal: AbortSignal,
): AsyncGenerator<Take> {
  onProgress({ step: 'making the track', detail: '', doneS: null, totalS: null })
  const track = await renderTrack(job.track.sampleRateHz)
  const settings: readonly Setting[] = ['reference', ...job.extraTakes]
  let hasMeterWord = false
  for (const patch of patches) {
    await bench.connect(patch.name, signal)
    for (const setting of settings) {
      await bench.set(setting, signal)
      if (isFirstAtLevel(setting, job)) await softStart(bench, job, rig, patch, onProgress, signal)
      if (setting === 'reference') {
        const word = hasMeterWord ? null : await checkAgainstMeter(bench, job, rig, patch, onProgress, signal)
        if (word) {
          hasMeterWord = true
          onMeter(word)
        }
      }
      const name = `takes/${slug(patch.name)}${setting === 'reference' ? '' : `-${slug(setting)}`}.wav`
      const { bits } = rig.capture
      const { audio, faults } = await takeOnce(
        bench,
        track,
        (sampleRateHz, channelCount) => store.open(name, { sampleRateHz, channelCount, bits }),
        { step: 'playing and capturing', detail: takeWords(patch.name, setting) },
        onProgress,
        signal,
      )
      yield {
        patchName: patch.name,
        setting,
        audio,
        // 32 bits are a way to store samples; no converter has more than 24.
        captureBits: Math.min(bits, 24),
        source: name,
        sha256: () => store.sha256(name),
        faults,
      }
    }
  }
}

/** Whether nothing as loud has been played at these leads: the first take, and one at a higher volume. */
function isFirstAtLevel(setting: Setting, { volumeStep }: Job): boolean {
  const volume = volumeOf(setting)
  return setting === 'reference' || (volume !== null && (volumeStep === null || volume > volumeStep))
}

const takeWords = (patchName: string, setting: Setting): string =>
  setting === 'reference' ? patchName : `${patchName}, ${setting.replace('_', ' ')}`

/** A patch's name as a file name. */
const slug = (name: string): string =>
  name
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '') || 'patch'
