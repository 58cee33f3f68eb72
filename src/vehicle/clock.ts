/** The capture's clock against the player's: a rate that is off, and that may go on changing a little. */

export interface CaptureClock {
  /** Samples in each of the player's seconds at the start of the capture. */
  readonly samplesPerS: number
  /** How much faster it runs after each of the player's seconds, as a part of the rate. */
  readonly growthPerS: number
  /** Place (fractional sample) of a time in the player's seconds from the start of the capture. */
  sampleAt(timeS: number): number
}

/** Time of a place: t = u - growth u² / 2, u = place / samplesPerS. The place of a time is the inverse, in closed form. */
export function captureClock(sampleRateHz: number, offsetPpm: number, driftPpmPerMin: number): CaptureClock {
  const samplesPerS = sampleRateHz * (1 + offsetPpm * 1e-6)
  const growthPerS = (driftPpmPerMin * 1e-6) / 60
  return {
    samplesPerS,
    growthPerS,
    sampleAt: (timeS) => (samplesPerS * 2 * timeS) / (1 + Math.sqrt(1 - 2 * growthPerS * timeS)),
  }
}

/**
 * Where the captured samples lie in a track: `resample`'s firstAt, step and bend.
 *
 * @param startS when the track's first sample arrives, in the player's seconds from the start of the capture
 */
export function placesIn(
  { samplesPerS, growthPerS }: CaptureClock,
  startS: number,
  trackRateHz: number,
): { firstAt: number; step: number; bend: number } {
  // The time of sample n, n / S - growth n² / (2 S²), in terms of n and n (n - 1) / 2.
  const bend = (-trackRateHz * growthPerS) / samplesPerS ** 2
  return { firstAt: -startS * trackRateHz, step: trackRateHz / samplesPerS + 0.5 * bend, bend }
}
