/**
 * Dropouts, repeats, clicks and jumps of one input, located to the sample; and which of them all inputs of a take share.
 *
 * A cheap look at every sample (`transients.ts`) and the distance of the markers on this input (`marker-pair.ts`) come first;
 * only where they say something is it worked out what happened (`explain.ts`).
 */
import type { Located, Transfer } from './analysis.js'
import { explain } from './explain.js'
import { findJump, movedBetweenMarkers } from './find-jump.js'
import type { Interruption } from './interruption.js'
import { jumpAmong } from './jump-at-break.js'
import { latenessOf, type MarkerPair } from './marker-pair.js'
import { movedFrom } from './moved.js'
import { guardOf, type Scene } from './scene.js'
import { type Stretch, stretchesOf } from './stretches.js'
import type { ImpulseResponses } from './transfer.js'
import { breaksIn } from './transients.js'

export const INTERRUPTIONS_METHOD = 'interruptions, predicted minus captured/1'

/** Breaks of one stretch that are worked out: of a signal with more, these are enough to say what is wrong with it. */
const BREAKS_MOST = 40

/**
 * @param channel one input of the take
 * @param markers its marker chirps, null where they could not be read
 * @param transfer, responses of this input, as read from its sweeps
 * @returns in order of time
 */
export function findInterruptions(
  channel: Float32Array,
  located: Located,
  markers: MarkerPair | null,
  transfer: Transfer,
  responses: ImpulseResponses,
): readonly Interruption[] {
  const { samplesPerS, startSample } = located
  const stretches = stretchesOf(located, transfer.centreS, channel.length)
  const breaks = breaksIn(channel, stretches, samplesPerS, topOf(transfer))
  const late = markers === null ? 0 : movedBetweenMarkers(latenessOf(markers))
  if (breaks.length === 0 && !late) return []
  const scene: Scene = { channel, samplesPerS, startSample, ringSamples: ringOf(responses) }
  const jump = late ? (jumpAmong(scene, breaks, late) ?? findJump(channel, located, late, scene.ringSamples)) : null
  const isUnplaced = late !== 0 && (jump === null || jump.explained === 0)
  const found = jump ? [jump] : []
  for (const stretch of stretches) {
    const own = breaks.filter((one) => one.stretch === stretch).slice(0, BREAKS_MOST)
    if (own.length > 0) found.push(...explain(scene, afterJump(stretch, jump), own, isUnplaced))
  }
  return settled(
    found.sort((a, b) => a.atSample - b.atSample),
    jump,
    scene,
  )
}

/** What rings on after an interruption, or is but its other end, is not said again. */
const SAME_S = 0.005
/** Phases that move twice within this, and by nothing in all, did not move. */
const THERE_AND_BACK_S = 0.25

function settled(found: readonly Interruption[], jump: Interruption | null, scene: Scene): Interruption[] {
  const near = SAME_S * scene.samplesPerS + guardOf(scene)
  const out: Interruption[] = []
  for (const event of found) {
    const isEcho =
      jump !== null &&
      event !== jump &&
      jump.atSampleU < near &&
      event.atSample > jump.atSample - near &&
      event.atSample < jump.atSample + jump.lengthSamples + near
    if (isEcho) continue
    const last = out.at(-1)
    const isBack =
      last?.kind === 'jump' &&
      event.kind === 'jump' &&
      last.lateSamples === null &&
      event.lateSamples === null &&
      event.atSample - last.atSample < THERE_AND_BACK_S * scene.samplesPerS
    if (last && isBack) out[out.length - 1] = thereAndBack(last, event)
    else out.push(event)
  }
  return out
}

const thereAndBack = (one: Interruption, two: Interruption): Interruption => ({
  ...one,
  kind: 'disturbance',
  lengthSamples: two.atSample - one.atSample,
  lateSamples: 0,
  peakFs: Math.max(one.peakFs, two.peakFs),
  explained: 0,
})

/** A stretch as it is after a jump before or in it. */
function afterJump(stretch: Stretch, jump: Interruption | null): Stretch {
  if (!jump?.lateSamples || jump.atSample >= stretch.to) return stretch
  return movedFrom(stretch, jump.atSample, jump.lateSamples)
}

/** Where the output's band ends: the highest frequency within 12 dB of the largest response. */
function topOf({ freqHz, leftRe, leftIm, rightRe, rightIm }: Transfer): number {
  const power = freqHz.map((_, i) => leftRe[i] ** 2 + leftIm[i] ** 2 + rightRe[i] ** 2 + rightIm[i] ** 2)
  const least = power.reduce((most, value) => Math.max(most, value), 0) / 16
  for (let i = power.length - 1; i > 0; i--) if (power[i] >= least && power[i - 1] >= least) return freqHz[i]
  return freqHz[freqHz.length - 1]
}

/** The shortest stretch of the response that holds half of its energy, in samples. */
function ringOf({ left, right, centre, samplesPerS }: ImpulseResponses): number {
  const size = left.length
  const reach = Math.round(0.1 * samplesPerS)
  const sums = new Float64Array(2 * reach + 1)
  for (let i = 0; i < 2 * reach; i++) {
    const n = (((centre - reach + i) % size) + size) % size
    sums[i + 1] = sums[i] + left[n] * left[n] + right[n] * right[n]
  }
  let [shortest, from] = [2 * reach, 0]
  for (let to = 1; to <= 2 * reach; to++) {
    while (sums[to] - sums[from + 1] >= 0.5 * sums[2 * reach]) from++
    if (sums[to] - sums[from] >= 0.5 * sums[2 * reach]) shortest = Math.min(shortest, to - from)
  }
  return shortest
}

/** An interruption and the inputs that have it. */
export interface SharedInterruption {
  readonly interruption: Interruption
  /** Indices of the inputs, in order. */
  readonly inputs: readonly number[]
  /** All inputs that could show it do: the player, the link or the recording is to blame, and no single output. */
  readonly isCommon: boolean
}

/**
 * Groups the interruptions of all inputs of a take by their place.
 *
 * @param inputs one list for each input; null for an input on which nothing can be seen, as on a dead output
 * @param samplesPerS of the take
 */
export function commonTo(
  inputs: readonly (readonly Interruption[] | null)[],
  samplesPerS: number,
): readonly SharedInterruption[] {
  const all = inputs
    .flatMap((list, input) => (list ?? []).map((interruption) => ({ interruption, input })))
    .sort((a, b) => a.interruption.atSample - b.interruption.atSample)
  const live = inputs.filter((list) => list !== null).length
  const groups: { interruption: Interruption; input: number }[][] = []
  for (const one of all) {
    const group = groups.find((members) => isSame(members[0].interruption, one.interruption, samplesPerS))
    if (group && !group.some(({ input }) => input === one.input)) group.push(one)
    else groups.push([one])
  }
  return groups.map((members) => {
    const interruption = sharpest(members.map((member) => member.interruption))
    const having = members.map(({ input }) => input).sort((a, b) => a - b)
    return { interruption, inputs: having, isCommon: live > 1 && having.length === live }
  })
}

/** Outputs are up to some milliseconds late against each other, and each place has its own uncertainty. */
const SAME_WITHIN_S = 0.025

function isSame(one: Interruption, other: Interruption, samplesPerS: number): boolean {
  const reach = SAME_WITHIN_S * samplesPerS + 3 * Math.hypot(one.atSampleU, other.atSampleU)
  return Math.abs(one.atSample - other.atSample) <= reach
}

/** The one that says most: named before unnamed, then the best known place. */
const sharpest = (members: readonly Interruption[]): Interruption =>
  [...members].sort(
    (a, b) => Number(a.kind === 'disturbance') - Number(b.kind === 'disturbance') || a.atSampleU - b.atSampleU,
  )[0]
