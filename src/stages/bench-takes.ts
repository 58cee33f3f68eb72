/** Takes from a bench: each patch connected, probed, then the track played, at each setting that the job asks for. */
import type { Job } from '../job/job.js'
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
  const settings: readonly Setting[] = job.hasFaderTake ? ['reference', 'fader_front'] : ['reference']
  let hasMeterWord = false
  for (const patch of patches) {
    await bench.connect(patch.name, signal)
    for (const setting of settings) {
      await bench.set(setting, signal)
      if (setting === 'reference') {
        await softStart(bench, job, rig, patch, onProgress, signal)
        const word = hasMeterWord ? null : await checkAgainstMeter(bench, job, rig, patch, onProgress, signal)
        if (word) {
          hasMeterWord = true
          onMeter(word)
        }
      }
      const name = `takes/${slug(patch.name)}${setting === 'reference' ? '' : '-fader-front'}.wav`
      const { bits } = rig.capture
      const { audio, faults } = await takeOnce(
        bench,
        track,
        (sampleRateHz, channelCount) => store.open(name, { sampleRateHz, channelCount, bits }),
        { step: 'playing and capturing', detail: patch.name },
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

/** A patch's name as a file name. */
const slug = (name: string): string =>
  name
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '') || 'patch'
