/**
 * Notices samples that went missing between a capture device and us, and a device that runs at another rate than it says,
 * from when samples arrived.
 *
 * The time that has passed minus the time that the samples hold is a delay: it jumps up and comes back when the
 * computer is busy, but it stays up when samples were lost. So the least delay of each second is what counts. At another
 * rate it grows, or shrinks, by the same in every second.
 */
import type { CaptureFault } from '../rig/roles.js'
import { usualRateNear } from '../rig/schema-sound.js'

const WINDOW_S = 1
/** Blocks come every few hundredths of a second: less cannot be told from their spacing. */
const LOST_S_MIN = 0.03
/** A capture clock this far off is no clock; what drifts less is not lost. */
const CLOCK_RATIO_MAX = 500e-6
/** Neighbours among the usual rates differ by 8 % and more; the delay then moves by as much in every second. */
const RATE_STEP_S_MIN = 0.02
/** How far such steps may differ: blocks and a busy computer shift them. */
const RATE_STEP_SPREAD_S_MAX = 0.06
/** Seconds after which a rate is known. */
const RATE_WINDOW_COUNT = 4

export class FlowWatch {
  private startS = 0
  private frameCount = 0
  private readonly leastDelayS: number[] = []

  constructor(private readonly sampleRateHz: number) {}

  /** @param nowS any steady clock, when the block of this many frames arrived */
  arrived(frameCount: number, nowS: number): void {
    if (this.leastDelayS.length === 0) this.startS = nowS
    else this.frameCount += frameCount // the first block was under way before the clock was read
    const elapsedS = nowS - this.startS
    const delayS = elapsedS - this.frameCount / this.sampleRateHz
    const window = Math.floor(elapsedS / WINDOW_S)
    this.leastDelayS[window] = Math.min(this.leastDelayS[window] ?? Number.POSITIVE_INFINITY, delayS)
  }

  /** Samples that come at another rate, as a fault of the take; null when they don't, or too few came to tell. */
  rateFault(): CaptureFault | null {
    const whole = this.leastDelayS.slice(0, -1)
    if (whole.length < RATE_WINDOW_COUNT) return null
    const steps = whole.slice(1).map((delayS, window) => delayS - whole[window])
    const [least, most] = [Math.min(...steps), Math.max(...steps)]
    const isSteady = most - least <= RATE_STEP_SPREAD_S_MAX
    if (!isSteady || (least < RATE_STEP_S_MIN && most > -RATE_STEP_S_MIN)) return null
    const stepS = (whole[whole.length - 1] - whole[0]) / steps.length
    const rateHz = this.sampleRateHz * (1 - stepS / WINDOW_S)
    const usualHz = usualRateNear(rateHz)
    const isUsual = usualHz !== undefined && usualHz !== this.sampleRateHz
    const found = isUsual ? `${usualHz} Hz` : `about ${Math.round(rateHz / 100) * 100} Hz`
    return {
      kind: 'rate',
      says: `samples come at ${found} by this computer's clock, not at ${this.sampleRateHz} Hz: set the device's own rate`,
      atS: null,
    }
  }

  /** What was lost, or another rate, as a fault of the take; null when the take is whole. */
  fault(): CaptureFault | null {
    const rate = this.rateFault()
    if (rate !== null) return rate
    let leastDelayS = Number.POSITIVE_INFINITY
    let atS = 0
    let lostS = 0
    // From the end: what the delay came back from was no loss.
    // The last window may hold a single late block, so it alone proves nothing.
    const settled = [...this.leastDelayS.keys()]
      .slice(0, -1)
      .map((window) => this.leastDelayS[window] ?? Number.POSITIVE_INFINITY)
      .reverse()
      .map((delayS) => {
        leastDelayS = Math.min(leastDelayS, delayS)
        return leastDelayS
      })
      .reverse()
    settled.forEach((delayS, window) => {
      const riseS = delayS - settled[0]
      if (riseS <= LOST_S_MIN + CLOCK_RATIO_MAX * window * WINDOW_S) return
      if (lostS === 0) atS = window * WINDOW_S
      lostS = riseS
    })
    if (lostS === 0) return null
    const lostMs = Math.round(1000 * lostS)
    return {
      kind: 'overrun',
      says: `about ${lostMs} ms of samples were lost near ${atS} s: close other programs and take it again`,
      atS,
    }
  }
}
