/**
 * What a person can follow by eye: levels over a third of a second, peaks that stay a while, and clipping that stays until
 * it is taken back.
 */
import { type InputLevel, InputMeter } from './input-meter.js'

export interface HeldLevel {
  /** Rms over that of a full-scale sine, over about WINDOW_S. */
  readonly levelFs: number
  /** Largest peak of the last HOLD_S. */
  readonly heldPeakFs: number
  /** Samples that clipped since the last reset. */
  readonly clippedCount: number
}

/** Long enough to read a number, short enough to see a lead touch. */
const WINDOW_S = 0.3
const HOLD_S = 2

interface Seen {
  readonly atS: number
  readonly levels: readonly InputLevel[]
}

export class HeldLevels {
  private readonly meter: InputMeter
  private seen: Seen[] = []
  private clippedCounts: number[]

  constructor(inputCount: number) {
    this.meter = new InputMeter(inputCount)
    this.clippedCounts = Array.from({ length: inputCount }, () => 0)
  }

  add(block: readonly Float32Array[]): void {
    this.meter.add(block)
  }

  /** @param nowS any steady clock; call it several times a second */
  read(nowS: number): readonly HeldLevel[] {
    const levels = this.meter.read()
    if (levels) {
      this.seen.push({ atS: nowS, levels })
      this.clippedCounts = this.clippedCounts.map((count, k) => count + levels[k].clippedCount)
    }
    this.seen = this.seen.filter(({ atS }) => nowS - atS < HOLD_S)
    // What was read last counts however old it is: where blocks come seldom, a bar must not drop between them.
    const recent = this.seen.filter(({ atS }, i) => nowS - atS < WINDOW_S || i === this.seen.length - 1)
    return this.clippedCounts.map((clippedCount, k) => {
      const frameCount = recent.reduce((sum, one) => sum + one.levels[k].frameCount, 0)
      const power = recent.reduce((sum, one) => sum + one.levels[k].frameCount * one.levels[k].levelFs ** 2, 0)
      return {
        levelFs: frameCount === 0 ? 0 : Math.sqrt(power / frameCount),
        heldPeakFs: this.seen.reduce((most, one) => Math.max(most, one.levels[k].peakFs), 0),
        clippedCount,
      }
    })
  }

  /** Forgets held peaks and clipping. */
  reset(): void {
    this.seen = []
    this.clippedCounts = this.clippedCounts.map(() => 0)
  }
}
