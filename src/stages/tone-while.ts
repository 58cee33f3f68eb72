/** A steady tone that goes on while a person turns something. */
import { renderTones } from '../stimulus/render.js'
import { ratioFromDb } from '../units/level.js'
import type { StageContext } from './stage.js'

/** Played again and again. */
const TONE_S = 20

/** The model turns nothing while it plays: there it plays when the meter reads. */
export async function whileTone<T>(
  { bench, job, signal }: StageContext,
  freqHz: number,
  levelDbfs: number,
  work: (signal: AbortSignal) => Promise<T>,
): Promise<T> {
  if (bench.isSimulated) return work(signal)
  const tone = await renderTones(job.track.sampleRateHz, TONE_S, [
    { startS: 0, durationS: TONE_S, tones: [{ freqHz, peakFs: ratioFromDb(levelDbfs) }] },
  ])
  const [done, failed] = [new AbortController(), new AbortController()]
  const sounding = AbortSignal.any([signal, done.signal])
  const playing = (async () => {
    while (!sounding.aborted) await bench.player.play(tone, sounding)
  })().catch((error: unknown) => {
    if (!sounding.aborted) failed.abort(error)
  })
  try {
    return await work(AbortSignal.any([signal, failed.signal]))
  } finally {
    done.abort()
    await playing
  }
}
