/** Says what happened where a signal breaks: the order in which explanations are tried. */
import { bridged } from './bridged.js'
import type { Interruption } from './interruption.js'
import { movedAt, silentBetween } from './moved.js'
import { guardOf, type Scene, spanAfter, spanBefore } from './scene.js'
import type { Stretch } from './stretches.js'
import type { Break } from './transients.js'

/** A sweep's level can't be carried over longer gaps. */
const SWEEP_GAP_S = 0.1
/** Ends of an interruption that happen to fit, as a dropout that starts where the signal is zero, break nothing. */
const HIDDEN_END_S = [0.006, 0.012, 0.024, 0.048, 0.096] as const

/**
 * @param breaks of one stretch, in order of time
 * @param isMoved samples were lost or added at a place that isn't known
 */
export function explain(scene: Scene, stretch: Stretch, breaks: readonly Break[], isMoved: boolean): Interruption[] {
  const found: Interruption[] = []
  let busyUntil = stretch.from
  for (let i = 0; i < breaks.length; i++) {
    const { event, last } = explainOne(scene, stretch, breaks, i, busyUntil, isMoved)
    if (event) found.push(event)
    i = last
    busyUntil = breaks[last].to + guardOf(scene)
  }
  return found
}

/** What the break of an index begins, and the index of the break that it ends with. */
function explainOne(
  scene: Scene,
  stretch: Stretch,
  breaks: readonly Break[],
  index: number,
  busyUntil: number,
  isMoved: boolean,
): { readonly event: Interruption | null; readonly last: number } {
  const first = breaks[index]
  const nextOf = (i: number): number => breaks[i + 1]?.from ?? stretch.to
  const left = spanBefore(scene, stretch, first.from, busyUntil)
  // Alone first, then with the next ones: a dropout or a repeat breaks the signal where it starts and where it ends.
  let isNothing = false
  for (let last = index; last < Math.min(breaks.length, index + 3); last++) {
    const { to } = breaks[last]
    if (stretch.isSweep && last > index && to - first.from > SWEEP_GAP_S * scene.samplesPerS) break
    const event = bridged(scene, stretch, left, spanAfter(scene, stretch, to, nextOf(last)))
    if (event) return { event, last }
    if (event === null && last === index) isNothing = true
  }
  if (breaks[index + 1] && !isNothing) {
    const event = silentBetween(scene, stretch, left, first, breaks[index + 1], nextOf(index + 1))
    if (event) return { event, last: index + 1 }
  }
  // Where everything has moved, a phase that is another from here on is no repeat without an end.
  const event = isMoved ? undefined : withHiddenEnd(scene, stretch, first, busyUntil, nextOf(index))
  if (event || isNothing) return { event: event ?? null, last: index }
  const right = spanAfter(scene, stretch, first.to, nextOf(index))
  return { event: movedAt(scene, stretch, left, first, right), last: index }
}

/** A dropout or a repeat of which one end only is seen; undefined where there is none. */
function withHiddenEnd(
  scene: Scene,
  stretch: Stretch,
  { from, to }: Break,
  busyUntil: number,
  nextBreak: number,
): Interruption | undefined {
  for (const reachS of HIDDEN_END_S) {
    const reach = Math.round(reachS * scene.samplesPerS)
    for (const gap of [
      { from: from - reach, to },
      { from, to: to + reach },
    ]) {
      if (gap.from - 64 < busyUntil || gap.to + 64 > nextBreak) continue
      const left = spanBefore(scene, stretch, gap.from, busyUntil)
      const event = bridged(scene, stretch, left, spanAfter(scene, stretch, gap.to, nextBreak))
      if (event?.kind === 'dropout' || event?.kind === 'repeat') return event
    }
  }
  return undefined
}
