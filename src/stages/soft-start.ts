/**
 * The soft start: a quiet probe before anything loud. If a lead reads far more than the map expects, nothing louder is
 * played. It protects speakers and ears from a wrong gain, and the capture from a lead with a speaker-level signal on it.
 *
 * The same probe tells which outputs each lead may be on, before a whole take is spent.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { readLeadProbe } from '../measure/lead-probe.js'
import { judgeLeads, type LeadVerdict } from '../measure/lead-probe-fit.js'
import { fullScaleAtLead, type PatchSpec, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { CHIRP } from '../stimulus/layout.js'
import { mostVrms, renderLeadProbe } from '../stimulus/lead-probe.js'
import type { Audio } from '../units/audio.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { inVolts } from '../units/words.js'
import type { OnProgress } from './progress.js'
import { takeOnce } from './take.js'

const OVER_DB_MAX = 6

/**
 * @returns one for each lead of the patch, in its order
 * @throws StopError when a lead of the patch reads more than 6 dB over what the map expects of the probe, or the capture breaks off
 */
export async function softStart(
  bench: Bench,
  job: Job,
  rig: Rig,
  patch: PatchSpec,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<readonly LeadVerdict[]> {
  const probe = renderLeadProbe(job.track.sampleRateHz)
  const says = { step: 'quiet probe', detail: patch.name }
  const { audio, faults, isBrokenOff } = await takeOnce(bench, probe, null, says, onProgress, signal)
  if (isBrokenOff) {
    const remedy = 'Check the card and its cable, then start the run again.'
    throw new StopError(`the quiet probe broke off: ${faults.join('; ')}`, bench.capture.where, remedy, 'instrument')
  }
  const readings = readLeadProbe(
    audio,
    patch.leads.map(({ inputNumber }) => inputNumber),
  )
  const verdicts = judgeLeads(readings ?? new Map(), patch.leads, job.outputs, rig)
  for (const verdict of verdicts) checkNotTooLoud(verdict, audio, job, rig, patch.name)
  return verdicts
}

/** A lead that is plainly on another output is held against that one: it is a wrong lead, not a wrong gain. */
function checkNotTooLoud(verdict: LeadVerdict, audio: Audio, job: Job, rig: Rig, patchName: string): void {
  const { kind, inputNumber, outputNumber, mayBe } = verdict
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const spec = specOf(outputNumber)
  const readVrms =
    loudestRms(audio.channels[inputNumber - 1], audio.sampleRateHz) *
    fullScaleAtLead(rig.inputs[inputNumber - 1]) *
    Math.SQRT2
  const judgedAs = kind === 'other' ? specOf(mayBe[0]) : spec
  if (readVrms <= mostVrms(judgedAs) * ratioFromDb(OVER_DB_MAX)) return
  throw new StopError(
    `output ${spec.number} ${spec.label} reads ${inVolts(readVrms)} on the quiet probe, the map expects ${inVolts(mostVrms(spec))}; nothing louder was played`,
    `${patchName}, input ${inputNumber}`,
    'Check that this lead is a line output, the volume, the level in the map, and the pad in the rig file.',
    'instrument',
  )
}

/**
 * The soft start of a track that a person starts, which nothing quiet can come before: its opening marker, 12 dB under the
 * loudest that follows.
 *
 * @param marker both chirps of the opening marker as captured
 * @throws StopError when a lead of the patch reads more than 6 dB over what the map expects of the marker
 */
export function checkMarker(marker: Audio, job: Job, rig: Rig, patch: PatchSpec): void {
  for (const { inputNumber, outputNumber } of patch.leads) {
    const spec = job.outputs.find(({ number }) => number === outputNumber)!
    const readVrms =
      loudestRms(marker.channels[inputNumber - 1], marker.sampleRateHz, 0.01) *
      fullScaleAtLead(rig.inputs[inputNumber - 1]) *
      Math.SQRT2
    const expectedVrms = spec.levelVrms * CHIRP.peakFs * (Math.abs(spec.leftGain) + Math.abs(spec.rightGain))
    if (readVrms <= expectedVrms * ratioFromDb(OVER_DB_MAX)) continue
    throw new StopError(
      `output ${spec.number} ${spec.label} reads ${inVolts(readVrms)} on the track's marker, the map expects ${inVolts(expectedVrms)}; louder sound comes next`,
      `${patch.name}, input ${inputNumber}`,
      'Stop the track at the head unit now. Then check this lead, the volume, the level in the map, and the pad in the rig file.',
      'instrument',
    )
  }
}

/** Rms (fraction of full scale) of the loudest half second, or of five steps of another length. */
export function loudestRms(channel: Float32Array, sampleRateHz: number, stepS = 0.1): number {
  const step = Math.floor(stepS * sampleRateHz)
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
