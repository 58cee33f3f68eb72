/**
 * Places after which the signal goes on, but moved: samples were lost or added there.
 *
 * A fit over such a place whose phases move by the right number of samples there is as good as those on each side of it.
 */
import { changeBetween } from './deviation.js'
import type { Interruption } from './interruption.js'
import { fitAround, type LocalFit, type Span } from './local-fit.js'
import {
  guardOf,
  NAMED_SHARE,
  OVER_RMS,
  RUN_MIN,
  ringU,
  type Scene,
  SILENT_FS,
  said,
  spanAfter,
  sumOver,
} from './scene.js'
import type { Stretch } from './stretches.js'
import type { Break } from './transients.js'

/** The stretch as it is when everything from a sample on comes later by so many samples. */
export const movedFrom = (stretch: Stretch, at: number, lateSamples: number): Stretch => ({
  ...stretch,
  to: stretch.to + lateSamples,
  freqsHz: (n) => stretch.freqsHz(n >= at ? n - lateSamples : n),
  phasesRad: (n) => stretch.phasesRad(n >= at ? n - lateSamples : n),
})

/** What a fit may leave (power) of what it is to describe. */
const DESCRIBED = 0.2

/** How well a jump by a known number of samples explains a place. */
export interface JumpFit {
  /** Rms that is left with it, over what is left on each side anyway; 1 is as good as can be. */
  readonly misfit: number
  /** The same without it. */
  readonly misfitWithout: number
  readonly fit: LocalFit
  readonly rms: number
}

/** @returns null where there is too little on one of the sides */
export function jumpFit(
  scene: Scene,
  stretch: Stretch,
  left: Span,
  right: Span,
  lateSamples: number,
  isQuick = false,
): JumpFit | null {
  const { channel, samplesPerS } = scene
  if (right.to - right.from < 32 || stretch.freqsHz(left.to).length === 0) return null
  const moved = movedFrom(stretch, left.to, lateSamples)
  const sides = [left, right].map((side) => fitAround(channel, moved, [side], samplesPerS, 'stiff', isQuick))
  const fit = fitAround(channel, moved, [left, right], samplesPerS, 'loose', isQuick)
  const without = fitAround(channel, stretch, [left, right], samplesPerS, 'loose', isQuick)
  if (!fit || !without || !sides[0] || !sides[1]) return null
  // A side that the stretch doesn't describe at all, as one that is elsewhere in the track, says nothing.
  const isDescribed = [left, right].every((span, i) => {
    const meanSquare = sumOver(span, (n) => channel[n] ** 2) / (span.to - span.from)
    return sides[i]!.rms ** 2 < DESCRIBED * meanSquare
  })
  if (!isDescribed) return null
  const usual = Math.max(sides[0].rms, sides[1].rms, SILENT_FS)
  return {
    misfit: Math.max(...fit.spanRms) / usual,
    misfitWithout: Math.max(...without.spanRms) / usual,
    fit,
    rms: Math.max(fit.rms, SILENT_FS),
  }
}

/** The jump inside a gap, to the sample. */
export function jumpIn(scene: Scene, stretch: Stretch, gap: Span, lateSamples: number, jump: JumpFit): Interruption {
  const { channel } = scene
  const before = (n: number): number => channel[n] - jump.fit.withPhases(n, stretch.phasesRad(n))
  const after = (n: number): number => channel[n] - jump.fit.withPhases(n, stretch.phasesRad(n - lateSamples))
  const squaredAfter = (n: number): number => after(n) ** 2
  const { at, atU } = changeBetween(gap, (n) => before(n) ** 2, squaredAfter, jump.rms)
  let peakFs = 0
  for (let n = at; n < gap.to; n++) peakFs = Math.max(peakFs, Math.abs(before(n)))
  const event = said(scene, stretch, {
    kind: 'jump',
    atSample: at,
    atSampleU: Math.hypot(
      atU,
      ringU(scene, { from: at, to: gap.to + guardOf(scene) }, (n) => before(n) ** 2, squaredAfter, jump.rms),
    ),
    lengthSamples: 0,
    lateSamples,
    lagSamples: null,
    peakFs,
    explained: Math.max(0, 1 - Math.max(0, jump.misfit ** 2 - 1) / Math.max(1e-12, jump.misfitWithout ** 2 - 1)),
  })
  return isRepeated(scene, event)
    ? { ...event, kind: 'repeat', lengthSamples: lateSamples, lagSamples: lateSamples }
    : event
}

/** What was added is what was there just before: these samples are there twice. */
function isRepeated({ channel }: Scene, { atSample, lateSamples }: Interruption): boolean {
  if (lateSamples === null || !Number.isInteger(lateSamples) || lateSamples < 2 * RUN_MIN) return false
  const span = { from: atSample, to: Math.min(channel.length, atSample + lateSamples) }
  const away = sumOver(span, (n) => (channel[n] - channel[n - lateSamples]) ** 2)
  return away < (1 - NAMED_SHARE) * sumOver(span, (n) => channel[n] ** 2)
}

/** A dropout too long to carry the signal over it, or after which everything has moved. */
export function silentBetween(
  scene: Scene,
  stretch: Stretch,
  left: Span,
  start: Break,
  end: Break,
  nextBreak: number,
): Interruption | undefined {
  const { channel, samplesPerS } = scene
  if (stretch.freqsHz(start.from).length === 0) return undefined
  const right = spanAfter(scene, stretch, end.to, nextBreak)
  const before = fitAround(channel, stretch, [left], samplesPerS, 'stiff')
  const after = fitAround(channel, stretch, [right], samplesPerS, 'stiff')
  if (!before || !after) return undefined
  const inside = { from: start.to, to: end.from }
  const squared = (n: number): number => channel[n] ** 2
  const meanSquare = (span: Span): number => sumOver(span, squared) / (span.to - span.from)
  const should = Math.min(meanSquare(left), meanSquare(right))
  const rms = Math.max(before.rms, after.rms, SILENT_FS)
  if (inside.to - inside.from < RUN_MIN || should < 25 * rms * rms) return undefined
  const is = Math.max(0, meanSquare(inside) - rms * rms)
  if (is > (1 - NAMED_SHARE) * should) return undefined
  const opening = { from: start.from - 4, to: start.to }
  const closing = { from: end.from - 4, to: end.to }
  const from = changeBetween(opening, (n) => (channel[n] - before.at(n)) ** 2, squared, rms)
  const to = changeBetween(closing, squared, (n) => (channel[n] - after.at(n)) ** 2, rms)
  // Over so long a gap a sweep's phase moves by itself; a steady tone's doesn't.
  const hasMoved = stretch.isSweep || Math.abs(phaseBetween(before, after, to.at)) > phaseU(before, after, left, right)
  return said(scene, stretch, {
    kind: 'dropout',
    atSample: from.at,
    atSampleU: Math.hypot(
      from.atU,
      ringU(scene, { from: from.at, to: to.at }, () => should, squared, rms),
    ),
    lengthSamples: to.at - from.at,
    lateSamples: hasMoved ? null : 0,
    lagSamples: null,
    peakFs: Math.sqrt(2 * should),
    explained: 1 - is / should,
  })
}

/** A place after which the signal goes on, but not as before: a jump where its phase has moved and its level has not. */
export function movedAt(scene: Scene, stretch: Stretch, left: Span, place: Break, right: Span): Interruption | null {
  const { channel, samplesPerS } = scene
  const before = fitAround(channel, stretch, [left], samplesPerS, 'stiff')
  const after = fitAround(channel, stretch, [right], samplesPerS, 'stiff')
  if (!before || !after || stretch.freqsHz(place.from).length === 0) return null
  const rms = Math.max(Math.min(before.rms, after.rms), SILENT_FS)
  const squaredBefore = (n: number): number => (channel[n] - before.at(n)) ** 2
  const squaredAfter = (n: number): number => (channel[n] - after.at(n)) ** 2
  const open = { from: left.to, to: right.from }
  const change = changeBetween(open, squaredBefore, squaredAfter, rms)
  const [one, two] = [before, after].map((fit) => fit.levelAt(change.at))
  const ratio = Math.hypot(two.re, two.im) / Math.max(Math.hypot(one.re, one.im), 1e-12)
  // An output that opens or shuts its mute: nothing is lost, it is another matter.
  if (ratio < 0.1 || ratio > 10) return null
  let peakFs = 0
  for (let n = change.at; n < right.from; n++) peakFs = Math.max(peakFs, Math.abs(channel[n] - before.at(n)))
  if (peakFs < OVER_RMS * rms) return null
  const isJump =
    Math.abs(ratio - 1) < 0.12 && Math.abs(phaseBetween(before, after, change.at)) > phaseU(before, after, left, right)
  return said(scene, stretch, {
    kind: isJump ? 'jump' : 'disturbance',
    atSample: change.at,
    atSampleU: Math.hypot(
      change.atU,
      ringU(scene, { from: change.at, to: right.to }, squaredBefore, squaredAfter, rms),
    ),
    lengthSamples: isJump ? 0 : place.to - place.from,
    lateSamples: null,
    lagSamples: null,
    peakFs,
    explained: isJump ? 1 : 0,
  })
}

function phaseBetween(before: LocalFit, after: LocalFit, at: number): number {
  const [one, two] = [before.levelAt(at), after.levelAt(at)]
  return Math.atan2(two.im * one.re - two.re * one.im, two.re * one.re + two.im * one.im)
}

/** Ten standard uncertainties of the phase between two fits: what noise can't do. */
function phaseU(before: LocalFit, after: LocalFit, left: Span, right: Span): number {
  const ofOne = (fit: LocalFit, { from, to }: Span): number => {
    const { re, im } = fit.levelAt(to)
    return (fit.rms * Math.sqrt(2 / (to - from))) / Math.max(Math.hypot(re, im), 1e-12)
  }
  return 0.002 + 10 * Math.hypot(ofOne(before, left), ofOne(after, right))
}
