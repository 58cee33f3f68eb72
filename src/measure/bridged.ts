/**
 * An interruption after which the signal goes on as if nothing had been: dropout, repeat or click.
 *
 * What stands on both sides of it tells what should be in between. A kind is named where it explains nearly all of the
 * difference; else it is a disturbance.
 */
import { betterRun } from './deviation.js'
import type { Interruption } from './interruption.js'
import { fitAround, type LocalFit, type Span } from './local-fit.js'
import { NAMED_SHARE, OVER_RMS, RUN_MIN, ringU, type Scene, SILENT_FS, said, sumOver } from './scene.js'
import type { Stretch } from './stretches.js'

/** Longer bursts aren't called clicks. */
const CLICK_S = 0.005
/** The fit over a break against those on each side of it: not much worse where the signal goes on as before. */
export const GOES_ON = 1.4
/** How far a deviation stands above the largest of what is left around it. */
const OVER_PEAK = 1.6
const LAG_MOST_S = 0.1
/** Ratio of powers over a break, on sweeps through steep filters. */
const LEVEL_CHANGE = 6
/** What a repeat must explain: on a slow signal wrong lags come near. */
const REPEATED_SHARE = 0.99

/**
 * @returns null where nothing stands out after all; undefined where the signal does not go on as before
 */
export function bridged(scene: Scene, stretch: Stretch, left: Span, right: Span): Interruption | null | undefined {
  const { channel, samplesPerS } = scene
  if (right.to - right.from < 32) return undefined
  const sides = [left, right].map((side) => fitAround(channel, stretch, [side], samplesPerS, 'stiff')?.rms ?? 0)
  const through = fitAround(channel, stretch, [left, right], samplesPerS, 'loose')
  if (!through || sides[0] === 0) return undefined
  const usual = Math.max(...sides, SILENT_FS)
  if (through.spanRms.some((rms) => rms > GOES_ON * usual)) return undefined
  const power = ({ from, to }: Span, value: (n: number) => number): number =>
    sumOver({ from, to }, (n) => value(n) ** 2) / (to - from)
  const [before, after] = [left, right].map((side) => power(side, (n) => channel[n]))
  if (stretch.freqsHz(left.to).length > 0) {
    // A level that differs so much on both sides is no level that goes on, and one that peaks in between was carried too far.
    if (Math.max(before, after) > LEVEL_CHANGE * Math.min(before, after)) return undefined
    const between = power({ from: left.to, to: right.from }, through.at)
    if (between > LEVEL_CHANGE * Math.max(before, after)) return undefined
  }
  return standingOut(scene, stretch, through, left, right)
}

function standingOut(scene: Scene, stretch: Stretch, through: LocalFit, left: Span, right: Span): Interruption | null {
  const { channel, samplesPerS, ringSamples } = scene
  const squared = (n: number): number => (channel[n] - through.at(n)) ** 2
  const peakIn = ({ from, to }: Span): number => {
    let most = 0
    for (let n = from; n < to; n++) most = Math.max(most, squared(n))
    return Math.sqrt(most)
  }
  const open = { from: left.to, to: right.from }
  const rms = Math.max(through.rms, SILENT_FS)
  const peakFs = peakIn(open)
  const usualPeak = Math.max(peakIn(left), peakIn(right))
  if (peakFs < OVER_RMS * rms || peakFs < OVER_PEAK * usualPeak) return null
  const { from, to } = hotSpan(open, squared, Math.max(5 * rms, OVER_PEAK * usualPeak))
  const length = to - from
  const energy = sumOver(open, squared)
  const isSilence = stretch.freqsHz(left.to).length === 0
  if (length >= RUN_MIN && !isSilence) {
    const named = dropoutIn(scene, open, squared, through, rms) ?? repeatIn(scene, open, squared, energy, rms)
    if (named) return said(scene, stretch, { ...named, peakFs, lateSamples: 0 })
  }
  // What is shorter than the output's own ringing came in behind its filter; what is as long may be anything before it.
  const rings = ringSamples > RUN_MIN && length > 0.25 * ringSamples
  const isShort = length <= Math.max(CLICK_S * samplesPerS, isSilence ? 6 * ringSamples : 0)
  const kind = isShort && (isSilence || !rings) ? 'click' : 'disturbance'
  return said(scene, stretch, {
    kind,
    atSample: from,
    atSampleU: Math.hypot(0.5, rings ? ringSamples : 0),
    lengthSamples: length,
    lateSamples: 0,
    lagSamples: null,
    peakFs,
    explained: kind === 'click' ? sumOver({ from, to }, squared) / energy : 0,
  })
}

/** From the first to the last sample that stands out. */
function hotSpan(open: Span, squared: (sample: number) => number, leastFs: number): Span {
  let [from, to] = [open.to, open.from]
  for (let n = open.from; n < open.to; n++) {
    if (squared(n) < leastFs * leastFs) continue
    from = Math.min(from, n)
    to = n + 1
  }
  return { from, to }
}

type Named = Pick<Interruption, 'kind' | 'atSample' | 'atSampleU' | 'lengthSamples' | 'lagSamples' | 'explained'>

/** Both ends are seen; a run that reaches an end of what was looked at goes on behind it. */
const isInside = (run: Span, open: Span): boolean => run.from > open.from && run.to < open.to

/** A run in which next to nothing is there. */
function dropoutIn(
  scene: Scene,
  open: Span,
  squared: (sample: number) => number,
  through: LocalFit,
  rms: number,
): Named | null {
  const nothing = (n: number): number => scene.channel[n] ** 2
  const run = betterRun(open, squared, nothing, rms)
  if (!run || run.to - run.from < RUN_MIN || !isInside(run, open)) return null
  const count = run.to - run.from
  const predicted = sumOver(run, (n) => through.at(n) ** 2)
  // What is left outside the run must be explained too.
  const rest = sumOver(open, squared) - sumOver(run, squared) - (open.to - open.from - count) * rms * rms
  const left = Math.max(0, sumOver(run, nothing) - count * rms * rms) + Math.max(0, rest)
  const explained = 1 - left / predicted
  if (predicted < 25 * count * rms * rms || explained < NAMED_SHARE) return null
  return {
    kind: 'dropout',
    atSample: run.from,
    atSampleU: Math.hypot(run.fromU, ringU(scene, run, squared, nothing, rms)),
    lengthSamples: count,
    lagSamples: null,
    explained,
  }
}

/** A run that was there before: the lag is the run's own length, or is the only one that fits. */
function repeatIn(
  scene: Scene,
  open: Span,
  squared: (sample: number) => number,
  energy: number,
  rms: number,
): Named | null {
  const { channel, samplesPerS } = scene
  const hot = hotSpan(open, squared, 5 * rms)
  const length = hot.to - hot.from
  if (length < 2 * RUN_MIN) return null
  const away = (lag: number) => (n: number) => (channel[n] - channel[n - lag]) ** 2
  // The ends may be off by a few samples, so the inner part decides.
  const inner = { from: hot.from + 3, to: Math.min(hot.to - 3, hot.from + 3 + 1024) }
  const innerEnergy = sumOver(inner, squared)
  const misfit = (lag: number): number =>
    Math.max(0, sumOver(inner, away(lag)) - 2 * (inner.to - inner.from) * rms * rms) / innerEnergy
  const lag = ownLag(misfit, length, hot.from) ?? onlyLag(misfit, Math.min(hot.from, LAG_MOST_S * samplesPerS))
  if (lag === null) return null
  const run = betterRun(open, squared, away(lag), Math.SQRT2 * rms)
  if (!run || !isInside(run, open)) return null
  const unexplained = energy - sumOver(run, squared) + sumOver(run, away(lag))
  const left = Math.max(0, unexplained - 2 * (open.to - open.from) * rms * rms) / energy
  if (left > 1 - REPEATED_SHARE) return null
  return {
    kind: 'repeat',
    atSample: run.from,
    atSampleU: Math.hypot(run.fromU, ringU(scene, run, squared, away(lag), Math.SQRT2 * rms)),
    lengthSamples: run.to - run.from,
    lagSamples: lag,
    explained: 1 - left,
  }
}

/** A lag as long as the run, give or take its ends; most repeats are of what stood just before. */
function ownLag(misfit: (lag: number) => number, length: number, most: number): number | null {
  let best = Math.max(RUN_MIN, length - 4)
  for (let lag = Math.max(RUN_MIN, length - 64); lag <= Math.min(most, length + 64); lag++) {
    if (misfit(lag) < misfit(best)) best = lag
  }
  return best <= most && Math.abs(best - length) <= 4 && misfit(best) < 1 - REPEATED_SHARE ? best : null
}

/** The lag that fits far better than any that isn't its neighbour; a steady tone has many alike. */
function onlyLag(misfit: (lag: number) => number, most: number): number | null {
  const values = Float64Array.from({ length: Math.max(0, Math.floor(most) - RUN_MIN) }, (_, i) => misfit(i + RUN_MIN))
  let best = 0
  for (let i = 1; i < values.length; i++) if (values[i] < values[best]) best = i
  if (!(values[best] < 1 - REPEATED_SHARE)) return null
  for (let i = 0; i < values.length; i++) {
    if (Math.abs(i - best) > 2 && values[i] < 4 * values[best] + 0.05) return null
  }
  return best + RUN_MIN
}
