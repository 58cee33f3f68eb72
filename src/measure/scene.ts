/** What the parts that explain an interruption share: the input, what stands around a place in it, and small sums. */
import type { Interruption } from './interruption.js'
import type { Span } from './local-fit.js'
import type { Stretch } from './stretches.js'

export interface Scene {
  readonly channel: Float32Array
  readonly samplesPerS: number
  readonly startSample: number
  /** Samples in which the output's response has half of its energy. */
  readonly ringSamples: number
}

/** What a kind must explain of the deviation's energy to be named. */
export const NAMED_SHARE = 0.95
/** Shorter ones can't be told from clicks. */
export const RUN_MIN = 8
/** How far a deviation stands above the rms of what is left around it. */
export const OVER_RMS = 6
/** Nothing, so that digital silence gives no division by it. */
export const SILENT_FS = 1e-9

/** A fit spans a few periods of the lowest tone. */
const FIT_S = 0.03
const FIT_S_MOST = 0.2
const FIT_PERIODS = 4

/** Samples that are left out after a break, for the output to die away. */
export const guardOf = ({ ringSamples }: Scene): number => Math.max(8, 4 * Math.round(ringSamples))

export function fitLength({ samplesPerS }: Scene, stretch: Stretch, sample: number): number {
  const lowestHz = Math.min(...stretch.freqsHz(sample), Number.POSITIVE_INFINITY)
  return Math.round(samplesPerS * Math.min(FIT_S_MOST, Math.max(FIT_S, FIT_PERIODS / lowestHz)))
}

/** What is held to be sound before a place, not reaching back behind busyUntil. */
export const spanBefore = (scene: Scene, stretch: Stretch, at: number, busyUntil: number): Span => ({
  from: Math.max(stretch.from, busyUntil, at - 4 - fitLength(scene, stretch, at)),
  to: at - 4,
})

/** The same after a place, up to where the next break is. */
export function spanAfter(scene: Scene, stretch: Stretch, at: number, nextBreak: number): Span {
  const from = at + guardOf(scene)
  return { from, to: Math.min(stretch.to, nextBreak - 4, from + fitLength(scene, stretch, at)) }
}

export function sumOver({ from, to }: Span, value: (sample: number) => number): number {
  let sum = 0
  for (let n = from; n < to; n++) sum += value(n)
  return sum
}

/** So long an output may take to settle after what happened before its filter. */
const SETTLE_S = 0.02
/** Less than this many samples is no more than a response's own shape. */
const SETTLED_SAMPLES = 0.3

/**
 * What an output's ringing adds to the uncertainty of a place: what the description of what comes after it leaves there,
 * counted in samples of the deviation itself. Nothing where it fits from its first sample on, for then it happened behind the
 * filter.
 *
 * @param span from the place on, as far as what comes after it goes
 * @param usual, after squared deviation from what should have gone on and from what came instead
 */
export function ringU(
  scene: Scene,
  { from, to }: Span,
  usual: (sample: number) => number,
  after: (sample: number) => number,
  rms: number,
): number {
  const span = { from, to: Math.min(to, from + Math.round(SETTLE_S * scene.samplesPerS)) }
  const count = span.to - span.from
  if (count < 2) return scene.ringSamples
  const left = sumOver(span, after) - count * rms * rms * (1 + 4 / Math.sqrt(count))
  const samples = (Math.max(0, left) * count) / Math.max(1e-30, sumOver(span, usual))
  return samples < SETTLED_SAMPLES ? 0 : Math.hypot(2 * samples, scene.ringSamples)
}

export const said = (
  { startSample, samplesPerS }: Scene,
  stretch: Stretch,
  rest: Omit<Interruption, 'section' | 'atS'>,
): Interruption => ({ ...rest, section: stretch.kind, atS: (rest.atSample - startSample) / samplesPerS })
