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
import { readToneModulation, type ToneModulation } from './tone-modulation.js'
import type { ImpulseResponses } from './transfer.js'

export const TIME_VARIANCE_METHOD = 'incoherent energy, markers against sweeps/1'

/** Less than this share is what codecs, clocks and an automatic gain do. */
const SHARE_MIN = 1e-3
const SURE = 5
/** So much of its harmonics' energy a clipped signal folds to places that are others each time. */
const OF_DISTORTION = 0.1
/** A tone that is so much weaker than the strongest isn't read. */
const CARRIED = 0.1
/** The chirp's first 20 ms lie below; an output may open its mute in them. */
const FROM_HZ = 45
/** Responses that share more than one less this of their energy are the same one. */
const ALIKE = 0.3

export interface SideIncoherence {
  /** Energy driven by this side's sweep that no time-invariant response explains, over all that it drives. */
  readonly ratio: number
  readonly ratioU: number
  /** The same over the energy of the whole output, both sides: what of it is heard. */
  readonly ofOutput: number
  /** It is this side that comes through changed, and not only what the other one's leaves unclear. */
  readonly isTimeVariant: boolean
}

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

interface Parts {
  readonly pair: MarkerPair
  readonly left: Float64Array
  readonly right: Float64Array
  /** Both sides' predictions together. */
  readonly both: Float64Array
  /** Energy of the harmonics over that of the response. */
  readonly distortion: number
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

/**
 * How much of each side's response is there again in the chirps: third octaves, the response's share by least squares on both
 * sides. A share of 1 is all of it; what is short of that, in the better of the two chirps, has changed.
 */
function sidesOf({ pair, left, right }: Parts): readonly (SideIncoherence | null)[] {
  const times = [pair.opening, pair.closing]
  const binHz = pair.samplesPerS / pair.size
  const lost = times.map(() => [[], []] as [number[], number[]])
  const energies: [number[], number[]] = [[], []]
  let total = 0
  for (let lowHz = FROM_HZ; lowHz < Math.min(20_000, 0.45 * pair.samplesPerS); lowHz *= 2 ** (1 / 3)) {
    const span = { first: Math.ceil(lowHz / binHz), last: Math.ceil((lowHz * 2 ** (1 / 3)) / binHz) - 1 }
    const sides = { l: dot(left, left, span).re, r: dot(right, right, span).re, lr: dot(left, right, span) }
    energies[0].push(sides.l)
    energies[1].push(sides.r)
    total += dot(pair.opening, pair.opening, span).re
    // Bins are not independent: each part of the spectrum is as wide as the response's part is short.
    const count = Math.max(1, (span.last - span.first + 1) * partOfNoise(pair))
    times.forEach((time, i) => {
      const own = { l: dot(time, left, span), r: dot(time, right, span), all: dot(time, time, span).re }
      lostShares(own, sides, count).forEach((value, side) => {
        lost[i][side].push(value)
      })
    })
  }
  const sides = [0, 1].map((side): SideIncoherence | null => {
    const energy = energies[side].reduce((a, b) => a + b, 0)
    // A side that isn't heard is noise, of which nothing can be there again.
    if (energy < SHARE_MIN * total) return null
    const means = lost.map((time) => weighted(time[side], energies[side]))
    const best = means[0] <= means[1] ? 0 : 1
    // Spread of the bands about their mean, as that mean's own.
    const spread = lost[best][side].map((value) => (value - means[best]) ** 2)
    const parts =
      energy ** 2 /
      Math.max(
        1e-30,
        energies[side].reduce((sum, value) => sum + value * value, 0),
      )
    const ratio = Math.min(1, Math.max(0, means[best]))
    return {
      ratio,
      ratioU: Math.sqrt(weighted(spread, energies[side]) / Math.max(1, parts - 1)),
      ofOutput: (ratio * energy) / Math.max(total, 1e-30),
      isTimeVariant: false,
    }
  })
  const most = Math.max(...sides.map((side) => side?.ofOutput ?? 0))
  return sides.map(
    (side) =>
      side && {
        ...side,
        isTimeVariant: side.ratio > SHARE_MIN && side.ratio > 2 * side.ratioU && side.ofOutput > 0.5 * most,
      },
  )
}

const weighted = (values: readonly number[], weights: readonly number[]): number =>
  values.reduce((sum, value, i) => sum + value * weights[i], 0) /
  Math.max(
    1e-30,
    weights.reduce((a, b) => a + b, 0),
  )

interface Complex {
  readonly re: number
  readonly im: number
}

/** Sum of a times b's conjugate over bins. */
function dot(a: Float64Array, b: Float64Array, { first, last }: { first: number; last: number }): Complex {
  let [re, im] = [0, 0]
  for (let k = first; k <= last && 2 * k + 1 < a.length; k++) {
    re += a[2 * k] * b[2 * k] + a[2 * k + 1] * b[2 * k + 1]
    im += a[2 * k + 1] * b[2 * k] - a[2 * k] * b[2 * k + 1]
  }
  return { re, im }
}

interface SidePowers {
  readonly l: number
  readonly r: number
  /** <left, right> */
  readonly lr: Complex
}

/**
 * What of each side's response is missing in a chirp, as power over the response's own: |1 - share|², with the share by least
 * squares on both sides, less what the rest of the chirp adds to it by chance. At most 2: all of it, replaced by as much else.
 */
function lostShares(
  own: { readonly l: Complex; readonly r: Complex; readonly all: number },
  { l, r, lr }: SidePowers,
  count: number,
): readonly [number, number] {
  const lost = (share: Complex, variance: number): number =>
    Math.min(2, (1 - share.re) ** 2 + share.im * share.im - variance)
  const det = l * r - lr.re * lr.re - lr.im * lr.im
  if (det < ALIKE * l * r) {
    // Both sides have the same response: what is missing can't be told apart, and is missing of both.
    const power = l + r + 2 * lr.re
    const share = { re: (own.l.re + own.r.re) / power, im: (own.l.im + own.r.im) / power }
    const rest = Math.max(0, own.all - (share.re ** 2 + share.im ** 2) * power)
    const both = lost(share, rest / (count * power))
    return [both, both]
  }
  // Normal equations [l, conj lr; lr, r] of <chirp, left> and <chirp, right>.
  const left = {
    re: (own.l.re * r - (own.r.re * lr.re + own.r.im * lr.im)) / det,
    im: (own.l.im * r - (own.r.im * lr.re - own.r.re * lr.im)) / det,
  }
  const right = {
    re: (own.r.re * l - (own.l.re * lr.re - own.l.im * lr.im)) / det,
    im: (own.r.im * l - (own.l.re * lr.im + own.l.im * lr.re)) / det,
  }
  const fitted = left.re * own.l.re + left.im * own.l.im + right.re * own.r.re + right.im * own.r.im
  const rest = Math.max(0, own.all - fitted) / count
  return [lost(left, (rest * r) / det), lost(right, (rest * l) / det)]
}
