/**
 * Where samples were lost or added in a take: first between which parts of the track, then to the sample.
 *
 * For a take whose markers are further apart or nearer than the clock of its tones allows, and for a single input whose
 * markers are.
 */
import { CHIRP, CLOSING_SPACING_S, sectionStartS } from '../stimulus/layout.js'
import type { Located } from './analysis.js'
import { GOES_ON } from './bridged.js'
import type { Interruption } from './interruption.js'
import { jumpAmong } from './jump-at-break.js'
import { bracketJump } from './jump-stations.js'
import type { Span } from './local-fit.js'
import { type Lateness, latenessOf, markerPair, silencePower } from './marker-pair.js'
import { chirpTemplate, matchedFilter } from './matched-filter.js'
import { jumpFit, jumpIn } from './moved.js'
import { fitLength, guardOf, type Scene, said, sumOver } from './scene.js'
import { type Stretch, stretchesOf } from './stretches.js'
import { breaksIn } from './transients.js'

/** Markers further apart or nearer than the clock says by this, and by so many standard uncertainties, moved in between. */
const LATE_MIN = 0.5
const LATE_SURE = 8
/** Phase (rms) beside the delay from which on it is no mere delay: a modulated one, or another output's end of it. */
const PHASE_RMS_MAX = 0.2
/** So far away from its place the closing marker is looked for. */
const SEARCH_S = 1.5
/** Longer parts of the track aren't gone through place by place. */
const SCAN_MOST_S = 10
/** A larger jump makes some parts of the track look like others. */
const STEP_S = 0.01
const DISTINCT_HZ = 300
/** A jump must explain a place so much better than none. */
const BETTER = 0.9
/** Phase by which a jump must move a signal to be seen; a sweep's phase moves by itself. */
const PHASE_MIN_RAD = { sweep: 0.02, tone: 0.005 } as const
/** How far (power) a signal must stand out of the silence to show a jump. */
const CLEAR = 20

/** By how many samples everything moved between the markers; 0 where that isn't sure. */
export function movedBetweenMarkers(late: Lateness | null): number {
  if (!late || Math.abs(late.samples) < LATE_MIN || Math.abs(late.samples) < LATE_SURE * late.samplesU) return 0
  if (late.phaseRms > PHASE_RMS_MAX) return 0
  const whole = Math.round(late.samples)
  // Samples lost at another rate than the take's are no whole number of it.
  return Math.abs(late.samples - whole) < 0.02 + 3 * late.samplesU ? whole : late.samples
}

/**
 * @param located start by the opening marker, samplesPerS by the clock of the tones
 * @param lateSamples by how many samples the closing marker is late (negative: early); null: looked for within 1.5 s
 * @param ringSamples in which the output's response has half of its energy
 * @returns null where nothing moved. Where the place can't be told to the sample, atSampleU says what is left open.
 */
export function findJump(
  channel: Float32Array,
  located: Located,
  lateSamples: number | null = null,
  ringSamples = 2,
): Interruption | null {
  const late = lateSamples ?? closingLate(channel, located)
  if (late === 0) return null
  const { samplesPerS, startSample } = located
  const scene: Scene = { channel, samplesPerS, startSample, ringSamples }
  const delaySamples = openingDelay(channel, located)
  const bracket = bracketJump(channel, located, late, delaySamples)
  if (!bracket) return null
  const sample = (s: number): number => Math.round(startSample + s * samplesPerS) + delaySamples
  const span = { from: sample(bracket.fromS), to: sample(bracket.toS) + Math.max(0, Math.ceil(late)) }
  const reach = Math.round(0.25 * samplesPerS)
  const stretches = stretchesOf(located, delaySamples / samplesPerS, channel.length)
    .filter(({ from, to }) => to > span.from - reach && from < span.to + reach)
    .map((stretch) => within(stretch, { from: span.from - reach, to: span.to + reach }))
    .flatMap((stretch) => (Math.abs(late) < STEP_S * samplesPerS ? [stretch] : distinct(stretch)))
    .filter(({ from, to }) => to > from)
  const breaks = breaksIn(channel, stretches, samplesPerS, 0.4 * samplesPerS)
  const isNarrow = bracket.toS - bracket.fromS < SCAN_MOST_S
  const event =
    jumpAmong(scene, breaks, late) ??
    (isNarrow ? scan(scene, stretches, late, CLEAR * silencePower(channel, located)) : null)
  return event ?? somewhereIn(scene, located, span, stretches, late)
}

/**
 * What doesn't look like itself after a large jump. A step of the staircase may come to lie where another should be, and the
 * beginning of a sweep, late by a tenth of a second, is a sweep through other lows.
 */
function distinct(stretch: Stretch): Stretch[] {
  if (stretch.kind === 'staircase') return []
  let { from } = stretch
  while (stretch.isSweep && from < stretch.to && stretch.freqsHz(from)[0] < DISTINCT_HZ) from += 64
  return from < stretch.to ? [{ ...stretch, from }] : []
}

const within = (stretch: Stretch, { from, to }: Span): Stretch => ({
  ...stretch,
  from: Math.max(stretch.from, from),
  to: Math.min(stretch.to, to),
})

/** Tries the jump at every place of the stretches: for those that break nothing, because the signal is slow or by chance. */
function scan(scene: Scene, stretches: readonly Stretch[], late: number, leastPower: number): Interruption | null {
  let best: { readonly score: number; readonly stretch: Stretch; readonly left: Span; readonly right: Span } | null =
    null
  for (const stretch of stretches) {
    if (stretch.freqsHz(stretch.from).length === 0) continue
    for (let at = stretch.from; at < stretch.to; ) {
      const length = fitLength(scene, stretch, at)
      const phaseRad = (2 * Math.PI * Math.max(...stretch.freqsHz(at)) * Math.abs(late)) / scene.samplesPerS
      const hop = Math.round(length / 3)
      const left = { from: Math.max(stretch.from, at - length), to: at }
      const from = at + hop + guardOf(scene) + Math.max(0, Math.ceil(late))
      const right = { from, to: Math.min(stretch.to, from + length) }
      at += hop
      if (phaseRad < (stretch.isSweep ? PHASE_MIN_RAD.sweep : PHASE_MIN_RAD.tone)) continue
      if (left.to - left.from < 0.6 * length || right.to - right.from < 0.6 * length) continue
      if (sumOver(left, (n) => scene.channel[n] ** 2) < leastPower * (left.to - left.from)) continue
      const jump = jumpFit(scene, stretch, left, right, late, true)
      if (!jump || jump.misfit > GOES_ON || jump.misfit > BETTER * jump.misfitWithout) continue
      const score = jump.misfit / jump.misfitWithout
      if (!best || score < best.score) best = { score, stretch, left, right }
    }
  }
  if (!best) return null
  const { stretch, left, right } = best
  const jump = jumpFit(scene, stretch, left, right, late)
  return jump && jumpIn(scene, stretch, { from: left.to, to: right.from }, late, jump)
}

/** Only that it is between two places: the middle, and the spread of a place that may be anywhere between. */
function somewhereIn(
  scene: Scene,
  { startSample, samplesPerS }: Located,
  { from, to }: Span,
  stretches: readonly Stretch[],
  late: number,
): Interruption {
  const middle = Math.round((from + to) / 2)
  const stretch =
    stretches.find((one) => one.to > middle) ?? stretchesOf({ startSample, samplesPerS } as Located, 0, to)[0]
  return said(scene, stretch, {
    kind: 'jump',
    atSample: middle,
    atSampleU: (to - from) / Math.sqrt(12),
    lengthSamples: 0,
    lateSamples: late,
    lagSamples: null,
    peakFs: 0,
    explained: 0,
  })
}

/** By how much the closing marker is late, wherever it is within reach; 0 where it is not, or where none is found. */
function closingLate(channel: Float32Array, located: Located): number {
  const { startSample, samplesPerS } = located
  const from = Math.max(0, Math.round(startSample + (sectionStartS('closing') - SEARCH_S) * samplesPerS))
  const to = Math.round(startSample + (sectionStartS('closing') + SEARCH_S + CHIRP.durationS) * samplesPerS)
  const re = channel.subarray(from, to)
  const fit = matchedFilter({ re, im: new Float32Array(re.length) }, chirpTemplate(samplesPerS))
  // Two chirps, of which the first is meant: the place where it and the one a third of a second later fit best.
  const spacing = Math.round(CLOSING_SPACING_S * samplesPerS)
  let best = 0
  const both = (n: number): number => Math.min(fit[n], fit[n + spacing] ?? 0)
  for (let n = 0; n + spacing < fit.length; n++) if (both(n) > both(best)) best = n
  if (both(best) < 0.2) return 0
  const expected = startSample + sectionStartS('closing') * samplesPerS + openingDelay(channel, located)
  const coarse = Math.round(from + best - expected)
  const pair = markerPair(channel, located, coarse)
  const fine = pair && latenessOf(pair)
  return fine ? movedBetweenMarkers({ ...fine, samples: fine.samples + coarse }) : coarse
}

/** By how many samples the opening chirp comes later than located: the output's own delay. */
function openingDelay(channel: Float32Array, { startSample, samplesPerS }: Located): number {
  const before = Math.round(0.015 * samplesPerS)
  const at = Math.round(startSample + sectionStartS('opening') * samplesPerS)
  const from = Math.max(0, at - before)
  const re = channel.subarray(from, at + Math.round((CHIRP.durationS + 0.1) * samplesPerS))
  const fit = matchedFilter({ re, im: new Float32Array(re.length) }, chirpTemplate(samplesPerS))
  let best = 0
  for (let n = 0; n < Math.min(fit.length, Math.round(0.1 * samplesPerS)); n++) if (fit[n] > fit[best]) best = n
  return from + best - at
}
