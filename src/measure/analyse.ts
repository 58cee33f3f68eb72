/** Everything that one input of a take tells, in one pass over its samples: the unit of work that runs in parallel. */
import type { Setting } from '../rig/roles.js'
import { CHIRP, CLOSING_SPACING_S, sectionStartS, sectionsOf } from '../stimulus/layout.js'
import type { Located, Transfer } from './analysis.js'
import { COVERAGE_FACTOR } from './estimate.js'
import { excessPhaseOf } from './excess-phase.js'
import type { InputAnalysis } from './input-analysis.js'
import { CLIPPED_FS } from './input-meter.js'
import { readDifferenceTones, readModulation } from './intermodulation.js'
import { findInterruptions } from './interruptions.js'
import { gainChange, readEnvelope } from './limiting.js'
import { readLossySource } from './lossy-source.js'
import { markerPair } from './marker-pair.js'
import { readNoise } from './noise-reading.js'
import { readStaircase } from './staircase.js'
import { sweepDistortion } from './sweep-distortion.js'
import { sampleAt, samplesPerSAt, spanU } from './time-map.js'
import { readTimeVariance } from './time-variance.js'
import { readTone } from './tone-reading.js'
import { deconvolve, type SweepReference, transferFrom } from './transfer.js'

/** Let a section settle, and stop before it ends: other outputs' latency must not push its edges in. */
const SETTLE_S = 0.2
const LEAVE_S = 0.1
/** Below this share of the power of both sides, what they have in common is cancelled. */
const CANCELLED = 0.1
/** A tone comes through where it is no more than 20 dB below the strongest. */
const CARRIED = 0.1
/** The silence starts later: the marker dies away, and an interface may take a moment to mute. */
const SILENCE_SETTLE_S = 0.8

/**
 * @param channel samples of one input, whole take
 * @param reference the sweeps as this take should hold them
 */
export function analyseInput(
  channel: Float32Array,
  located: Located,
  reference: SweepReference,
  setting: Setting = 'reference',
): InputAnalysis {
  const { samplesPerS } = located
  const stretch = (startS: number, endS: number): Float32Array =>
    channel.subarray(
      Math.max(0, Math.round(sampleAt(located, startS))),
      Math.min(channel.length, Math.round(sampleAt(located, endS))),
    )
  const sections = sectionsOf()
  const inside = (kind: string, settleS: number): Float32Array => {
    const { startS, durationS } = sections.find((section) => section.kind === kind)!
    return stretch(startS + settleS, startS + durationS - LEAVE_S)
  }

  // The responses are overwritten by the next input: all that is read from them is read here.
  const responses = deconvolve(channel, reference)
  const transfer = transferFrom(responses)
  const distortion = sweepDistortion(responses, transfer)
  const markers = markerPair(channel, located)
  const interruptions = findInterruptions(channel, located, markers, transfer, responses)

  const silence = inside('silence', SILENCE_SETTLE_S)
  const idle = readNoise(silence, samplesPerS, null)
  const linesHz = [...(idle.hum?.lineHz ?? []), ...idle.lines.map(({ freqHz }) => freqHz)]
  const loud = sections
    .filter(({ kind }) => kind === 'tone')
    .map(({ startS, durationS, tones: [{ freqHz }] }) => ({
      freqHz,
      // The clocks' ratio while it sounds: that of the whole take would turn its phase.
      ratePerS: samplesPerSAt(located, startS + durationS / 2),
      samples: stretch(startS + SETTLE_S, startS + durationS - LEAVE_S),
    }))
  const tones = loud.map(({ freqHz, samples, ratePerS }) => readTone(samples, freqHz, ratePerS, linesHz))
  const timeVariance = doMarkersTell(transfer)
    ? readTimeVariance(channel, located, markers, responses, tones, interruptions)
    : null
  const strongest = tones.reduce((most, tone) => (tone.peakFs > most.peakFs ? tone : most))
  const carried = tones.filter(({ peakFs }) => peakFs > CARRIED * strongest.peakFs)
  const lines = idle.lines.map(({ freqHz, rmsFs }) => ({ freqHz, peakFs: rmsFs }))
  const staircases = carried.flatMap(({ freqHz }) => {
    const read = readStaircase(channel, located, freqHz, { delayS: transfer.centreS, lines })
    return read ? [read] : []
  })
  const quiet = sections.find(({ kind }) => kind === 'quiet_tone')!
  const quietSamples = inside('quiet_tone', SETTLE_S)
  const [modulation, differenceTones] = sections
    .filter(({ kind }) => kind === 'two_tone')
    .map(({ startS, durationS, tones: [low, high] }) => {
      const read = high.freqHz > 2 * low.freqHz ? readModulation : readDifferenceTones
      return read(stretch(startS + SETTLE_S, startS + durationS - LEAVE_S), samplesPerS, [low, high])
    })
  // Only what figures are read from: the staircase is there to clip.
  const used = stretch(sections.find(({ kind }) => kind === 'silence')!.startS, quiet.startS + quiet.durationS)
  return {
    transfer,
    left: excessPhaseOf(transfer.leftRe, transfer.leftIm, transfer.leftError, transfer.centreS),
    right: excessPhaseOf(transfer.rightRe, transfer.rightIm, transfer.rightError, transfer.centreS),
    tones,
    sweepDistortion: distortion,
    staircases,
    gainChanges: carried.flatMap((tone) => {
      const change = gainChange(transfer, tone, staircases.find(({ freqHz }) => freqHz === tone.freqHz) ?? null)
      return change ? [change] : []
    }),
    envelope: readEnvelope(
      loud.find(({ freqHz }) => freqHz === strongest.freqHz)!.samples,
      strongest.freqHz,
      samplesPerS,
    ),
    modulation,
    differenceTones,
    idle,
    present: readNoise(quietSamples, samplesPerS, quiet.tones[0].freqHz),
    lossySource: readLossySource({ freqHz: quiet.tones[0].freqHz, samples: quietSamples }, loud, samplesPerS, transfer),
    interruptions,
    timeVariance,
    silence: setting === 'engine_running' ? silence.slice() : null,
    samplesPerS,
    sweepsApartU: spanU(located, sectionStartS('sweep_left'), sectionStartS('sweep_right')) / COVERAGE_FACTOR,
    ...peaksOf(used),
  }
}

/**
 * Whether markers and tones, which are alike on both sides, can tell processing that changes with time: not where the sides
 * cancel in an output, nor where it is so late that the chirp runs out of the stretch that it is looked at in.
 */
function doMarkersTell({ leftRe, leftIm, rightRe, rightIm, centreS }: Transfer): boolean {
  let [together, apart] = [0, 0]
  for (let i = 0; i < leftRe.length; i++) {
    together += (leftRe[i] + rightRe[i]) ** 2 + (leftIm[i] + rightIm[i]) ** 2
    apart += leftRe[i] ** 2 + leftIm[i] ** 2 + rightRe[i] ** 2 + rightIm[i] ** 2
  }
  return together > CANCELLED * apart && centreS < CLOSING_SPACING_S - CHIRP.durationS
}

function peaksOf(samples: Float32Array): Pick<InputAnalysis, 'peakFs' | 'clippedSampleCount'> {
  let peakFs = 0
  let clippedSampleCount = 0
  for (let n = 0; n < samples.length; n++) {
    const magnitude = Math.abs(samples[n])
    if (magnitude > peakFs) peakFs = magnitude
    if (magnitude >= CLIPPED_FS) clippedSampleCount++
  }
  return { peakFs, clippedSampleCount }
}
