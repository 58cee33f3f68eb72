/** linetrue track JOB --out FILE */
import { checkOutsideRuns } from '../archive/seal.js'
import { writeWavFile } from '../instruments/take-file.js'
import { TRACK_REVISION } from '../stimulus/layout.js'
import { renderTrack } from '../stimulus/render.js'
import { durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { EXIT } from './exit.js'
import { loadJob, shown } from './files.js'

/** Any fixed number: the dither of a track is the same each time, so a track file can be compared. */
const DITHER_SEED = 1

export async function trackCommand(jobPath: string, outPath: string, signal: AbortSignal): Promise<number> {
  const { value: job } = await loadJob(jobPath)
  if (!/\.wav$/i.test(outPath)) {
    throw new StopError('the track is written as WAV', outPath, 'Give --out a name that ends in .wav.')
  }
  checkOutsideRuns(outPath)
  const track = await renderTrack(job.track.sampleRateHz)
  signal.throwIfAborted()
  await writeWavFile(outPath, track, job.track.bits, DITHER_SEED)
  process.stdout.write(
    `${shown(outPath)}: track revision ${TRACK_REVISION}, ${durationS(track).toFixed(1)} s, ${job.track.sampleRateHz / 1000} kHz, ${job.track.bits} bits, dithered.\n` +
      'It reaches full scale: amplifier gains down or amplifiers unplugged before you play it.\n',
  )
  return EXIT.pass
}
