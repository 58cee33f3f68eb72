/**
 * Processing that changes with time: surround and decorrelation, chorus, tremolo.
 *
 * No response explains such an output: the same signal comes out differently the next time. The chirps of both markers and what
 * the sweeps' responses make of a chirp are three such times. A share of the energy that differs in all three pairs is
 * the output's doing; one that differs in two of them is an interruption in the third, or distortion, which a marker on both
 * sides drives harder than a sweep on one. A steady tone tells rate and depth of a slow modulation, which moves a sweep's
 * response but leaves it whole.
 */
import { sectionsOf } from '../stimulus/layout.js'
import type { Located, ToneReading } from './analysis.js'
import type { Interruption } from './interruption.js'
import { HARMONICS_S, incoherenceOf, markerIncoherence, partOfNoise, responsePart } from './marker-coherence.js'
import { latenessOf, type MarkerPair, playedOpening } from './marker-pair.js'
import { predictedMarker } from './predicted-marker.js'
import { type Parts, SHARE_MIN, type SideIncoherence, sidesOf } from './side-incoherence.js'
import { readToneModulation, type ToneModulation } from './tone-modulation.js'
import type { ImpulseResponses } from './transfer.js'

export const TIME_VARIANCE_METHOD = 'incoherent energy, markers against sweeps/1'

const SURE = 5
/** So much of its harmonics' energy a clipped signal folds to places that are others each time. */
const OF_DISTORTION = 0.1
/** A tone that is so much weaker than the strongest isn't read. */
const CARRIED = 0.1

export interface TimeVariance {
  /** Energy that no time-invariant response explains, over all energy, markers on both sides; power ratio. */
  readonly ratio: number
  readonly ratioU: number
  /** The ratio is this or less: nothing stands out of noise and of what steady outputs do. */
  readonly isAtMost: boolean
  /** What each source side has of it; null where nothing stands out. */
  readonly left: SideIncoherence | null
  readonly right: SideIncoherence | null
  readonly modulation: ToneModulation | null
  readonly isTimeVariant: boolean
}

/**
 * @param markers of this input; null where they could not be read
 * @param responses of this input, before the next one's overwrite them
 * @param interruptions of this input, which are left out
 */
export function readTimeVariance(
  channel: Float32Array,
  located: Located,
  markers: MarkerPair | null,
  responses: ImpulseResponses,
  tones: readonly ToneReading[],
  interruptions: readonly Interruption[],
): TimeVariance {
  const modulation = modulationOf(channel, located, tones, interruptions)
  if (!markers) {
    return {
      ratio: 1,
      ratioU: 0,
      isAtMost: true,
      left: null,
      right: null,
      modulation,
      isTimeVariant: modulation !== null,
    }
  }
  const moved = interruptions.reduce((sum, { lateSamples }) => sum + (lateSamples ?? 0), 0)
  const late = latenessOf(markers)
  let share = markerIncoherence(markers, late, moved)
  let isDistortion = false
  const isClear = (): boolean => !isDistortion && share.ratio > SHARE_MIN && share.ratio > SURE * share.ratioU
  let sides: readonly (SideIncoherence | null)[] = [null, null]
  if (isClear()) {
    const parts = linearParts(markers, located, responses, moved)
    share = markerIncoherence(parts.pair, late && { ...late, samples: late.samples - moved }, 0)
    for (const time of [parts.pair.opening, parts.pair.closing]) {
      const other = incoherenceOf(time, parts.both, parts.pair, 0, 0)
      if (other.ratio < share.ratio) share = other
    }
    isDistortion = share.ratio < OF_DISTORTION * parts.distortion
    if (isClear()) sides = sidesOf(parts)
  }
  return {
    ratio: isClear() ? share.ratio : Math.max(share.ratio, SURE * share.ratioU),
    ratioU: share.ratioU,
    isAtMost: !isClear(),
    left: sides[0],
    right: sides[1],
    modulation,
    isTimeVariant: isClear() || modulation !== null,
  }
}

/** Chirps and what the sweeps' responses make of one, without what lies elsewhere than near the response. */
function linearParts(markers: MarkerPair, located: Located, responses: ImpulseResponses, moved: number): Parts {
  const played = playedOpening(located)
  const part = (spectrum: Float64Array): Float64Array =>
    responsePart(spectrum, played, responses.centre, markers.samplesPerS)
  const predicted = predictedMarker(responses, located)
  const [left, right] = [part(predicted.left), part(predicted.right)]
  const pair = {
    ...markers,
    opening: part(markers.opening),
    closing: part(turned(markers, moved)),
    noisePower: markers.noisePower * partOfNoise(markers),
  }
  const harmonics = responsePart(markers.opening, played, responses.centre, markers.samplesPerS, HARMONICS_S)
  const distortion = energyOf(harmonics) / Math.max(energyOf(pair.opening), 1e-30)
  return { pair, left, right, both: left.map((value, i) => value + right[i]), distortion }
}

const energyOf = (spectrum: Float64Array): number => spectrum.reduce((sum, value) => sum + value * value, 0)

/** The closing chirp with a jump before it taken off. */
function turned({ closing, size }: MarkerPair, samples: number): Float64Array {
  return closing.map((_, i) => {
    const k = i >> 1
    const [c, s] = [Math.cos((2 * Math.PI * k * samples) / size), Math.sin((2 * Math.PI * k * samples) / size)]
    return i % 2 === 0 ? closing[2 * k] * c - closing[2 * k + 1] * s : closing[2 * k + 1] * c + closing[2 * k] * s
  })
}

function modulationOf(
  channel: Float32Array,
  { startSample, samplesPerS }: Located,
  tones: readonly ToneReading[],
  interruptions: readonly Interruption[],
): ToneModulation | null {
  const strongest = Math.max(...tones.map(({ peakFs }) => peakFs))
  // The middle one where it comes through, for it is in most outputs' bands and high enough to show a small delay.
  const [tone] = tones.filter(({ peakFs }) => peakFs > CARRIED * strongest && peakFs > 0)
  if (!tone) return null
  const { startS, durationS } = sectionsOf().find(
    ({ kind, tones: [first] }) => kind === 'tone' && first.freqHz === tone.freqHz,
  )!
  const at = (s: number): number => Math.round(startSample + s * samplesPerS)
  let [from, to] = [Math.max(0, at(startS + SETTLE_S)), Math.min(channel.length, at(startS + durationS - LEAVE_S))]
  const inside = interruptions.filter((one) => one.atSample < to && one.atSample + one.lengthSamples > from - 1)
  // Behind a jump the phase is another: the longer part is read.
  for (const { atSample, lengthSamples, lateSamples, kind } of inside) {
    if (lateSamples === 0 && kind !== 'disturbance') continue
    if (atSample - from > to - atSample) to = Math.min(to, atSample)
    else from = Math.max(from, atSample + lengthSamples)
  }
  if (to - from < SHORTEST_S * samplesPerS) return null
  const gaps = inside.map(({ atSample, lengthSamples }) => ({
    from: atSample - from - 16,
    to: atSample + lengthSamples - from + 16,
  }))
  return readToneModulation(channel.subarray(from, to), tone.freqHz, samplesPerS, gaps)
}

/** Rise and fall of a tone and what comes late of them. */
const SETTLE_S = 0.15
const LEAVE_S = 0.04
const SHORTEST_S = 0.8
