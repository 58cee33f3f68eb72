/** What goes wrong in time on one output's signal: blocks that come twice, gaps, clicks, samples lost or added. */
import type { TimeFaults } from './fault-events.js'

/**
 * Works in place.
 *
 * @param sampleAt place (fractional sample) of a time in seconds from the first sample that is played
 */
export function applyTimeFaults(samples: Float32Array, faults: TimeFaults, sampleAt: (timeS: number) => number): void {
  const at = (timeS: number): number => Math.max(0, Math.min(samples.length, Math.round(sampleAt(timeS))))
  for (const { atS, durationS } of faults.repeats) {
    const [from, start] = [at(atS - durationS), at(atS)]
    samples.copyWithin(start, from, start)
  }
  for (const { atS, durationS } of faults.dropouts) samples.fill(0, at(atS), at(atS + durationS))
  for (const { atS, peakV } of faults.clicks) {
    const place = at(atS)
    if (place < samples.length) samples[place] += peakV
  }
  // From the last to the first: a jump moves all that comes after it.
  for (const { atS, lostSamples } of [...faults.jumps].sort((a, b) => b.atS - a.atS)) {
    const place = at(atS)
    if (lostSamples > 0) {
      samples.copyWithin(place, place + lostSamples)
      samples.fill(0, Math.max(place, samples.length - lostSamples))
    } else {
      const from = Math.max(0, place + lostSamples)
      samples.copyWithin(2 * place - from, place)
      samples.copyWithin(place, from, place)
    }
  }
}
