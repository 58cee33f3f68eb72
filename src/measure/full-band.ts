/**
 * Full-band level: what an output gives over its whole band, for programme and not for one frequency.
 *
 * Rms of the response's magnitude over the band, each octave weighted alike: the level that pink noise of 0 dBFS rms within
 * the band comes out with. The same with each hertz weighted alike, for white noise, stands beside it. In capture full scale
 * over source full scale, so volts follow by the input's full scale as for a tone.
 */
import type { Heard } from './heard.js'
import { type BandPower, bandPower } from './smoothing.js'

export const FULL_BAND_METHOD = 'full-band level, rms per octave/1'

export interface FullBandLevel {
  readonly pinkGain: number
  /** Relative standard uncertainty, from noise. */
  readonly pinkGainU: number
  readonly whiteGain: number
  readonly whiteGainU: number
  readonly lowHz: number
  readonly highHz: number
}

/** @throws RangeError when the band does not lie inside 10 Hz to 22 kHz or is empty */
export function fullBandLevel(response: Heard, lowHz: number, highHz: number): FullBandLevel {
  const [pink, white] = (['octave', 'hertz'] as const).map((per) => gainOf(bandPower(response, lowHz, highHz, per)))
  return { pinkGain: pink.gain, pinkGainU: pink.u, whiteGain: white.gain, whiteGainU: white.u, lowHz, highHz }
}

/** Half the power's relative uncertainty is the gain's. */
function gainOf({ power, powerU }: BandPower): { gain: number; u: number } {
  const held = Math.max(power, powerU, Number.MIN_VALUE)
  return { gain: Math.sqrt(held), u: (0.5 * powerU) / held }
}
