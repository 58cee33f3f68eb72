import { describe, expect, test } from 'vitest'
import type { TimeFaults } from '../../src/vehicle/fault-events.js'
import { applyTimeFaults } from '../../src/vehicle/time-faults.js'

const NONE: TimeFaults = { dropouts: [], repeats: [], jumps: [], clicks: [] }
/** Twenty samples 1 to 20 at 1 kHz; the sound begins at the third. */
function changed(faults: Partial<TimeFaults>): number[] {
  const samples = Float32Array.from({ length: 20 }, (_, n) => n + 1)
  applyTimeFaults(samples, { ...NONE, ...faults }, (timeS) => 2 + 1000 * timeS)
  return [...samples]
}
const from = (first: number, last: number): number[] => Array.from({ length: last - first + 1 }, (_, k) => first + k)

// Truth: counted by hand on the ramp 1, 2, 3 ... 20. A time of 5 ms is place 7, where the ramp is 8.
describe('on a ramp', () => {
  test('nothing wrong changes nothing', () => {
    expect(changed({})).toEqual(from(1, 20))
  })

  test('a repeat plays the block before it again, in place of what should follow', () => {
    expect(changed({ repeats: [{ atS: 0.005, durationS: 0.003 }] })).toEqual([...from(1, 7), 5, 6, 7, ...from(11, 20)])
  })

  test('a dropout is silent for as long as it says', () => {
    expect(changed({ dropouts: [{ atS: 0.005, durationS: 0.002 }] })).toEqual([...from(1, 7), 0, 0, ...from(10, 20)])
  })

  test('a click is one sample', () => {
    expect(changed({ clicks: [{ atS: 0.005, peakV: -100 }] })).toEqual([...from(1, 7), -92, ...from(9, 20)])
  })

  test('lost samples are missing from there on, and silence ends it', () => {
    expect(changed({ jumps: [{ atS: 0.005, lostSamples: 3 }] })).toEqual([...from(1, 7), ...from(11, 20), 0, 0, 0])
  })

  test('added samples are the last ones again, and what leaves at the end is gone', () => {
    expect(changed({ jumps: [{ atS: 0.005, lostSamples: -2 }] })).toEqual([...from(1, 7), 6, 7, ...from(8, 18)])
    expect(changed({ jumps: [{ atS: 0.005, lostSamples: -1 }] })).toEqual([...from(1, 7), 7, ...from(8, 19)])
  })

  test('two jumps stand each at its own time of the sound, in whatever order they are written', () => {
    const jumps = [
      { atS: 0.003, lostSamples: 1 },
      { atS: 0.01, lostSamples: 2 },
    ]
    const wanted = [...from(1, 5), ...from(7, 12), ...from(15, 20), 0, 0, 0]
    expect(changed({ jumps })).toEqual(wanted)
    expect(changed({ jumps: jumps.toReversed() })).toEqual(wanted)
  })

  test('what lies outside is no fault', () => {
    const atS = 1
    const all = changed({
      repeats: [{ atS, durationS: 0.5 }],
      dropouts: [{ atS, durationS: 1 }],
      clicks: [{ atS, peakV: 1 }],
      jumps: [{ atS, lostSamples: 5 }],
    })
    expect(all).toEqual(from(1, 20))
  })
})
