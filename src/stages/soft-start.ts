/**
 * The soft start: a quiet probe before anything loud. If a lead reads far more than the map expects, nothing louder is
 * played. It protects speakers and ears from a wrong gain, and the capture from a lead with a speaker-level signal on it.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { fullScaleAtLead, type PatchSpec, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { TONE_HZ } from '../stimulus/layout.js'
import { renderTones } from '../stimulus/render.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { inVolts } from '../units/words.js'
import type { OnProgress } from './progress.js'
import { takeOnce } from './take.js'

const PROBE_DBFS = -40
const OVER_DB_MAX = 6
const PROBE_S = 1.5

/** @throws StopError when a lead of the patch reads more than 6 dB over what the map expects of the probe */
export async function softStart(
  bench: Bench,
  job: Job,
  rig: Rig,
  patch: PatchSpec,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<void> {
  const tones = TONE_HZ.map((freqHz) => ({ freqHz, peakFs: ratioFromDb(PROBE_DBFS) / TONE_HZ.length }))
  const probe = await renderTones(job.track.sampleRateHz, PROBE_S + 0.4, [{ startS: 0.2, durationS: PROBE_S, tones }])
  const { audio } = await takeOnce(bench, probe, null, { step: 'quiet probe', detail: patch.name }, onProgress, signal)
  for (const { inputNumber, outputNumber } of patch.leads) {
    const spec = job.outputs.find(({ number }) => number === outputNumber)!
    const readVrms =
      loudestRms(audio.channels[inputNumber - 1], audio.sampleRateHz) *
      fullScaleAtLead(rig.inputs[inputNumber - 1]) *
      Math.SQRT2
    const expectedVrms = expectedRms(spec)
    if (readVrms > expectedVrms * ratioFromDb(OVER_DB_MAX)) {
      throw new StopError(
        `output ${spec.number} ${spec.label} reads ${inVolts(readVrms)} on the quiet probe, the map expects ${inVolts(expectedVrms)}; nothing louder was played`,
        `${patch.name}, input ${inputNumber}`,
        'Check that this lead is a line output, the volume, the level in the map, and the pad in the rig file.',
        'instrument',
      )
    }
  }
}

/** Rms volts of the probe's tones at an output; a tone outside its band counts as much as one in it, to be on the safe side. */
function expectedRms(spec: OutputSpec): number {
  const peakFs = (ratioFromDb(PROBE_DBFS) / TONE_HZ.length) * (Math.abs(spec.leftGain) + Math.abs(spec.rightGain))
  return spec.levelVrms * peakFs * Math.sqrt(TONE_HZ.length)
}

/** Rms (fraction of full scale) of the loudest half second. */
export function loudestRms(channel: Float32Array, sampleRateHz: number): number {
  const step = Math.floor(sampleRateHz / 10)
  const powers: number[] = []
  for (let from = 0; from + step <= channel.length; from += step) {
    let sum = 0
    for (let n = from; n < from + step; n++) sum += channel[n] * channel[n]
    powers.push(sum / step)
  }
  let loudest = 0
  for (let i = 0; i + 5 <= powers.length; i++) {
    loudest = Math.max(loudest, powers.slice(i, i + 5).reduce((a, b) => a + b) / 5)
  }
  return Math.sqrt(loudest)
}
