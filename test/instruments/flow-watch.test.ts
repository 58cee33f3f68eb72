import { describe, expect, test } from 'vitest'
import { FlowWatch } from '../../src/instruments/flow-watch.js'

const RATE_HZ = 48_000
const BLOCK = 960 // 20 ms

/** Feeds 20 ms blocks over a time; `delayS` is how late the block of a time comes, `isLost` whether it comes at all. */
function watchOf(
  durationS: number,
  delayS: (atS: number) => number,
  isLost: (atS: number) => boolean = () => false,
  clockRatio = 1,
): FlowWatch {
  const watch = new FlowWatch(RATE_HZ)
  let lastS = 0
  for (let n = 1; n * BLOCK <= durationS * RATE_HZ; n++) {
    const atS = ((n * BLOCK) / RATE_HZ) * clockRatio
    // Blocks arrive in order: what waits behind a late one comes with it.
    lastS = Math.max(lastS, atS + delayS(atS))
    if (!isLost(atS)) watch.arrived(BLOCK, 100 + lastS)
  }
  return watch
}
/** Up to 15 ms of lateness that repeats without a pattern. */
const jitterS = (atS: number): number => 0.015 * Math.abs(Math.sin(1000 * atS))

describe('a flow of samples', () => {
  test('that jitters is whole', () => {
    expect(watchOf(10, jitterS).fault()).toBeNull()
  })

  test('that stalls for half a second and catches up is whole', () => {
    const stall = (atS: number): number => jitterS(atS) + (atS > 4 && atS < 4.5 ? 4.5 - atS : 0)
    expect(watchOf(10, stall).fault()).toBeNull()
  })

  test('that stalls at its very end, or lasts for less than a second, is whole', () => {
    expect(watchOf(10.04, (atS) => (atS > 9.9 ? 0.4 : 0)).fault()).toBeNull()
    expect(watchOf(0.5, jitterS).fault()).toBeNull()
    expect(new FlowWatch(RATE_HZ).fault()).toBeNull()
  })

  // 300 ppm over 60 s drift by 18 ms, over an hour by a second.
  test.each([1 + 300e-6, 1 - 300e-6])('whose clock runs at %f of ours is whole, for an hour too', (ratio) => {
    expect(watchOf(60, jitterS, () => false, ratio).fault()).toBeNull()
    expect(
      watchOf(
        3600,
        () => 0,
        () => false,
        ratio,
      ).fault(),
    ).toBeNull()
  })

  // Truth: five blocks of 20 ms are left out from 6.0 s on. A loss is placed in the first whole second after it began.
  test('that lost samples tells how many and when', () => {
    const fault = watchOf(
      10,
      () => 0,
      (atS) => atS > 6.001 && atS < 6.101,
    ).fault()
    expect(fault?.kind).toBe('overrun')
    expect(fault?.says).toBe('about 100 ms of samples were lost near 6 s: close other programs and take it again')
    expect(fault?.atS).toBe(6)
  })

  test('that lost a block of 40 ms is found among jitter', () => {
    const fault = watchOf(10, jitterS, (atS) => atS > 3.001 && atS < 3.041).fault()
    expect(fault?.says).toMatch(/^about (3\d|4\d) ms of samples were lost near [34] s/)
  })

  // Closed form: blocks of 20 ms come every 20 ms times the ratio of the rates.
  test.each([
    [48_000 / 44_100, '44100 Hz'],
    [0.5, '96000 Hz'],
    [48_000 / 36_000, 'about 36000 Hz'],
  ])('whose clock runs at %f of what it says tells its rate, and calls nothing lost', (ratio, rate) => {
    const fault = watchOf(16, jitterS, () => false, ratio).fault()
    expect(fault).toEqual({
      kind: 'rate',
      says: `samples come at ${rate} by this computer's clock, not at 48000 Hz: set the device's own rate`,
      atS: null,
    })
  })

  test('that loses samples now and then is not called another rate', () => {
    const watch = watchOf(10, jitterS, (atS) => atS % 3 < 0.1)
    expect(watch.rateFault()).toBeNull()
    expect(watch.fault()?.kind).toBe('overrun')
  })
})
