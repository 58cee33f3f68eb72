/** Which of the places where a signal breaks is the one where samples were lost or added, when their number is known. */
import { GOES_ON } from './bridged.js'
import type { Interruption } from './interruption.js'
import { jumpFit, jumpIn } from './moved.js'
import { type Scene, spanAfter, spanBefore } from './scene.js'
import type { Break } from './transients.js'

/** A jump must do so much better than none. */
const BETTER = 0.75

/** @returns null where no break is explained by it */
export function jumpAmong(scene: Scene, breaks: readonly Break[], lateSamples: number): Interruption | null {
  let best: { readonly misfit: number; readonly event: Interruption } | null = null
  for (let i = 0; i < breaks.length; i++) {
    const { stretch, from, to } = breaks[i]
    const [before, after] = [breaks[i - 1], breaks[i + 1]].map((one) => (one?.stretch === stretch ? one : null))
    const left = spanBefore(scene, stretch, from, before ? before.to : stretch.from)
    // What was added may break the signal where it ends, too.
    const until = after && after.from - to > Math.max(0, lateSamples) + 64 ? after.from : stretch.to
    const right = spanAfter(scene, stretch, to + Math.max(0, Math.ceil(lateSamples)), until)
    const jump = jumpFit(scene, stretch, left, right, lateSamples)
    if (!jump || jump.misfit > GOES_ON || jump.misfit > BETTER * jump.misfitWithout) continue
    if (best && best.misfit <= jump.misfit) continue
    const gap = { from: left.to, to: right.from }
    best = { misfit: jump.misfit, event: jumpIn(scene, stretch, gap, lateSamples, jump) }
  }
  return best?.event ?? null
}
