/** Everything that one input of a take tells, in one pass over its samples: the unit of work that runs in parallel. */
import { sectionsOf, TRACK_REVISION, trackDurationS } from '../stimulus/layout.js'
import type { InputAnalysis, Located } from './analysis.js'
import { excessPhaseOf } from './excess-phase.js'
import { readNoise } from './noise-reading.js'
import { readTone } from './tone-reading.js'
import { type SweepReference, sweepReference, transferOf } from './transfer.js'

/** Let a section settle, and stop before it ends: other outputs' latency must not push its edges in. */
const SETTLE_S = 0.2
const LEAVE_S = 0.1
/** The silence starts later: the marker dies away, and an interface may take a moment to mute. */
const SILENCE_SETTLE_S = 0.8
/** The capture's full scale, less a few codes of a 16-bit word: where a converter stops. */
const CLIPPED_FS = 1 - 2 ** -13

/**
 * Analyses silence once, while there is still time: transforms and windows are made, and the code is warm when the first
 * input comes.
 */
export function warmUp(sampleRateHz: number): void {
  const located: Located = {
    startSample: 0,
    samplesPerS: sampleRateHz,
    clockOffsetPpm: 0,
    clockOffsetPpmU: 0,
    revision: TRACK_REVISION,
    match: 1,
  }
  analyseInput(new Float32Array(Math.ceil(trackDurationS() * sampleRateHz)), located, sweepReference(located))
}

/**
 * @param channel samples of one input, whole take
 * @param reference the sweeps as this take should hold them
 */
export function analyseInput(channel: Float32Array, located: Located, reference: SweepReference): InputAnalysis {
  const { samplesPerS, startSample } = located
  const stretch = (startS: number, endS: number): Float32Array =>
    channel.subarray(
      Math.max(0, Math.round(startSample + startS * samplesPerS)),
      Math.min(channel.length, Math.round(startSample + endS * samplesPerS)),
    )
  const sections = sectionsOf()
  const inside = (kind: string, settleS: number): Float32Array => {
    const { startS, durationS } = sections.find((section) => section.kind === kind)!
    return stretch(startS + settleS, startS + durationS - LEAVE_S)
  }

  const transfer = transferOf(channel, reference)
  const idle = readNoise(inside('silence', SILENCE_SETTLE_S), samplesPerS, null)
  const linesHz = [...(idle.hum?.lineHz ?? []), ...idle.lines.map(({ freqHz }) => freqHz)]
  const tones = sections
    .filter(({ kind }) => kind === 'tone')
    .map(({ startS, durationS, tones: [{ freqHz }] }) =>
      readTone(stretch(startS + SETTLE_S, startS + durationS - LEAVE_S), freqHz, samplesPerS, linesHz),
    )
  const quiet = sections.find(({ kind }) => kind === 'quiet_tone')!
  // Only what figures are read from: the staircase is there to clip.
  const used = stretch(sections.find(({ kind }) => kind === 'silence')!.startS, quiet.startS + quiet.durationS)
  return {
    transfer,
    left: excessPhaseOf(transfer.leftRe, transfer.leftIm, transfer.leftError, transfer.centreS),
    right: excessPhaseOf(transfer.rightRe, transfer.rightIm, transfer.rightError, transfer.centreS),
    tones,
    idle,
    present: readNoise(inside('quiet_tone', SETTLE_S), samplesPerS, quiet.tones[0].freqHz),
    ...peaksOf(used),
  }
}

function peaksOf(samples: Float32Array): Pick<InputAnalysis, 'peakFs' | 'clippedSampleCount'> {
  let peakFs = 0
  let clippedSampleCount = 0
  for (let n = 0; n < samples.length; n++) {
    const magnitude = Math.abs(samples[n])
    peakFs = Math.max(peakFs, magnitude)
    if (magnitude >= CLIPPED_FS) clippedSampleCount++
  }
  return { peakFs, clippedSampleCount }
}
