/**
 * A short take for a stage: an excerpt of the track where the program plays, the whole track where a person starts it. Either
 * is located as the track, so that the same code reads both.
 */
import type { Job } from '../job/job.js'
import type { Located } from '../measure/analysis.js'
import { locate } from '../measure/locate.js'
import { locateExcerpt } from '../measure/locate-excerpt.js'
import { isStartedByHand, type PatchSpec } from '../rig/rig.js'
import { type ExcerptKind, excerptOf } from '../stimulus/excerpt.js'
import { renderExcerpt } from '../stimulus/render.js'
import type { Audio } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { listenForTrack } from './listen.js'
import { checkMarker, softStart } from './soft-start.js'
import type { StageContext, StageRecording } from './stage.js'
import { takeOnce } from './take.js'

export interface ExcerptTake extends StageRecording {
  readonly located: Located
}

export interface ExcerptRequest {
  readonly patch: PatchSpec
  readonly kind: ExcerptKind
  /** Its name in the result: volume 24, patch 1. */
  readonly what: string
  /** Has leads and settings as they have to be; not called where the take is on disk already. */
  readonly prepare: () => Promise<void>
  /** With the levels to be expected at this setting: what is held against them before anything loud. */
  readonly expected: Job
  /** `prepare` has had the leads probed at this very setting. */
  readonly isProbed: boolean
}

/** @throws StopError when nothing can be played, a lead is far too loud, or the markers are not in the take */
export async function takeExcerpt(context: StageContext, request: ExcerptRequest): Promise<ExcerptTake> {
  const { rig, bench, guide, memory, onProgress, signal } = context
  const { patch, kind, what, prepare, expected } = request
  if (rig.player.driver === 'none') {
    throw new StopError(
      `the ${kind} cannot be played: this rig reads recordings`,
      `${rig.name}, player`,
      'Run this stage on a rig that captures, with a player or a stick.',
    )
  }
  const isByHand = isStartedByHand(rig.player)
  const excerpt = excerptOf(kind)
  const recording = await memory.take(what, async (makeSink) => {
    await prepare()
    if (isByHand) {
      const onMarker: Parameters<typeof listenForTrack>[1]['onMarker'] = (marker) =>
        checkMarker(marker, expected, rig, patch)
      return listenForTrack(bench, { makeSink, onMarker, say: guide.say }, onProgress, signal)
    }
    if (!request.isProbed) await softStart(bench, expected, rig, patch, onProgress, signal)
    const sound = await soundOf(kind, expected.track.sampleRateHz)
    return takeOnce(bench, sound, makeSink, { step: `playing the ${kind}`, detail: what }, onProgress, signal)
  })
  const { audio, take } = recording
  const channels = patch.leads.map(({ inputNumber }) => audio.channels[inputNumber - 1])
  const heard = { sampleRateHz: audio.sampleRateHz, channels }
  return { ...recording, located: isByHand ? locate(heard, take.source) : locateExcerpt(heard, excerpt, take.source) }
}

let kept: { readonly kind: ExcerptKind; readonly sound: Audio } | null = null

/** The last one is kept: a stage plays the same one again and again. */
async function soundOf(kind: ExcerptKind, sampleRateHz: number): Promise<Audio> {
  if (kept?.kind !== kind || kept.sound.sampleRateHz !== sampleRateHz) {
    kept = { kind, sound: await renderExcerpt(sampleRateHz, excerptOf(kind)) }
  }
  return kept.sound
}
