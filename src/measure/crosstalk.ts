/**
 * Crosstalk against frequency: the side that an output should not hear against the one that it should.
 *
 * Power over power in third octaves of the passband, dB; what noise adds is taken off both. Read from sweeps, so it is
 * selective: noise is not counted (AES17-2015 6.5.2 asks for that; IEC 60268-3 has the definition).
 */
import { fractionalOctaveBands } from '../dsp/bands.js'
import type { Transfer } from './analysis.js'
import { weighted } from './heard.js'
import { bandPower } from './smoothing.js'

export const CROSSTALK_METHOD = 'crosstalk from sweep, third octaves, noise taken off/2'

/** Wanted power this far below the largest is out of the passband. */
const PASSBAND_POWER = 0.25
/** So many standard uncertainties above nothing: over thirty bands noise alone hardly ever gets there. */
const CLEAR = 5
/** Bands wholly inside what the sweeps tell; in all of them. */
const CENTRES_HZ = [19.9, 18_000] as const

export interface CrosstalkPoint {
  readonly freqHz: number
  readonly levelDb: number
  /** Standard uncertainty, dB, from noise. */
  readonly levelDbU: number
  /** Noise hides it: it is this or less (97.7 % sure). */
  readonly isAtMost: boolean
}

export interface Crosstalk {
  readonly curve: readonly CrosstalkPoint[]
  /**
   * The largest that stands clear of the noise. Where none does, the middle one of what the bands are at most: a hum in one
   * band is no crosstalk.
   */
  readonly worst: CrosstalkPoint
}

/** @returns null where the wanted side is not heard clearly in any band */
export function crosstalkCurve(transfer: Transfer, hearsLeft: boolean): Crosstalk | null {
  const wanted = weighted(transfer, hearsLeft ? 1 : 0, hearsLeft ? 0 : 1)
  const other = weighted(transfer, hearsLeft ? 0 : 1, hearsLeft ? 1 : 0)
  const bands = fractionalOctaveBands(3, ...CENTRES_HZ).map(({ centreHz, lowHz, highHz }) => ({
    centreHz,
    own: bandPower(wanted, lowHz, highHz),
    leaked: bandPower(other, lowHz, highHz),
  }))
  const largest = Math.max(...bands.map(({ own }) => own.power))
  const curve = bands
    .filter(({ own }) => own.power > PASSBAND_POWER * largest && own.power > CLEAR * own.powerU)
    .map(({ centreHz, own, leaked }) => {
      const isAtMost = leaked.power < CLEAR * leaked.powerU
      const power = isAtMost ? Math.max(0, leaked.power) + 2 * leaked.powerU : leaked.power
      return {
        freqHz: centreHz,
        levelDb: 10 * Math.log10(Math.max(power, Number.MIN_VALUE) / own.power),
        levelDbU:
          (10 / Math.LN10) * Math.hypot(leaked.powerU / Math.max(power, Number.MIN_VALUE), own.powerU / own.power),
        isAtMost,
      }
    })
  if (curve.length === 0) return null
  const falling = (points: CrosstalkPoint[]): CrosstalkPoint[] => points.sort((a, b) => b.levelDb - a.levelDb)
  const clear = falling(curve.filter(({ isAtMost }) => !isAtMost))
  return { curve, worst: clear[0] ?? falling([...curve])[curve.length >> 1] }
}
