/** The whine of a running engine on a lead: a harmonic series whose fundamental moves. */
import type { Vrms } from '../units/level.js'

export interface EngineModel {
  readonly whine: {
    /** At atRpm; it goes with the engine's speed. */
    readonly freqHz: number
    readonly atRpm: number
    /** How much higher it is at the end of what is played than at its beginning. */
    readonly driftHz: number
    /** Lines from the fundamental up. */
    readonly rms: readonly Vrms[]
    readonly phaseRad: number
  } | null
  /** Noise that is added, 20 Hz to 20 kHz. */
  readonly noise: Vrms
}

/** The whine at a speed; null: at the one for which it is given. */
export const whineAt = (
  whine: NonNullable<EngineModel['whine']>,
  speedRpm: number | null,
): NonNullable<EngineModel['whine']> => ({ ...whine, freqHz: (whine.freqHz * (speedRpm ?? whine.atRpm)) / whine.atRpm })

/** Lines nearer than this part of the rate to its half are left out, as a card's filter does. */
const BAND_RATIO = 0.45

/**
 * Adds the series to volts on a lead, in place. The fundamental moves evenly and goes on moving before and after the sound.
 *
 * @param startSample where the first played sample arrives
 * @param playedS length of what is played
 */
export function addWhine(
  volts: Float32Array,
  whine: NonNullable<EngineModel['whine']>,
  { samplesPerS, startSample, playedS }: { samplesPerS: number; startSample: number; playedS: number },
  laterRad: number,
): void {
  const { freqHz, driftHz, phaseRad } = whine
  const freqHzAt = (n: number): number => freqHz + (driftHz * (n - startSample)) / samplesPerS / playedS
  const topHz = Math.max(freqHzAt(0), freqHzAt(volts.length))
  const lines = whine.rms.filter((_, k) => (k + 1) * topHz < BAND_RATIO * samplesPerS).map((rms) => Math.SQRT2 * rms)
  for (let n = 0; n < volts.length; n++) {
    const timeS = (n - startSample) / samplesPerS
    const turn = 2 * Math.PI * timeS * (freqHz + (0.5 * driftHz * timeS) / playedS) + phaseRad + laterRad
    // sin(k turn) by the recurrence of Chebyshev.
    const double = 2 * Math.cos(turn)
    let [before, sine] = [0, Math.sin(turn)]
    for (const peak of lines) {
      volts[n] += peak * sine
      ;[before, sine] = [sine, double * sine - before]
    }
  }
}
