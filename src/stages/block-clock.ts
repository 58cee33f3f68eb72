/** A card's rate by the clock of the computer: how many samples came in how much time. */
import type { Capture } from '../rig/roles.js'
import { isNearRate, usualRateNear } from '../rig/schema-sound.js'

/** Less time than this says too little. */
const SPAN_S_MIN = 2

export class BlockClock {
  private firstMs: number | null = null
  private lastMs = 0
  /** Without the first block, which was under way before the clock was read. */
  private frameCount = 0
  /** The longest stretch of blocks so far. */
  private best = { spanS: 0, frameCount: 0 }

  watching(capture: Capture): Capture {
    return {
      where: capture.where,
      start: (onBlock, signal) => {
        this.firstMs = null
        return capture.start((block) => {
          this.arrived(block[0].length, performance.now())
          onBlock(block)
        }, signal)
      },
    }
  }

  /** @param nowMs any steady clock */
  arrived(frameCount: number, nowMs: number): void {
    if (this.firstMs === null) {
      this.firstMs = nowMs
      this.frameCount = 0
    } else this.frameCount += frameCount
    this.lastMs = nowMs
    const spanS = (this.lastMs - this.firstMs) / 1000
    if (spanS > this.best.spanS) this.best = { spanS, frameCount: this.frameCount }
  }

  /** The standard rate that it runs at, if that is another one than said; the rate itself where none fits; null if as said. */
  otherRateHz(saidHz: number): number | null {
    const { spanS, frameCount } = this.best
    if (spanS < SPAN_S_MIN) return null
    const rateHz = frameCount / spanS
    return isNearRate(rateHz, saidHz) ? null : (usualRateNear(rateHz) ?? Math.round(rateHz))
  }
}
