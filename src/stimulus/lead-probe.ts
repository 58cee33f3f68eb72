/**
 * The quiet probe in front of every take: the left side alone, then the right side alone, each with two tones in the lows, the
 * mids and the highs.
 *
 * The sides have tones of their own, so that a reading needs no more than the frequency to know which side it was. None lies
 * within 9 Hz of a line of the mains' first harmonics (50 and 60 Hz). Times are seconds from the probe's first sample.
 */
import type { OutputSpec } from '../job/job.js'
import type { Audio } from '../units/audio.js'
import { ratioFromDb } from '../units/level.js'

export type ProbeSide = 'left' | 'right'
export type ProbeBand = 'lows' | 'mids' | 'highs'

export interface ProbeTone {
  readonly side: ProbeSide
  readonly band: ProbeBand
  readonly freqHz: number
}

/** Level while a side sounds: rms of all its tones, against that of a full-scale sine. */
export const LEAD_PROBE_DBFS = -40
export const LEAD_PROBE = { leftS: 0.05, rightS: 0.98, sideS: 0.86, lengthS: 1.9, fadeS: 0.02 } as const

const BANDS: readonly (readonly [ProbeBand, left: number, right: number])[] = [
  ['lows', 41, 38],
  ['lows', 85, 81],
  ['mids', 330, 340],
  ['mids', 1030, 1070],
  ['highs', 5010, 5110],
  ['highs', 9970, 9870],
]

export const PROBE_TONES: readonly ProbeTone[] = (['left', 'right'] as const).flatMap((side) =>
  BANDS.map(([band, left, right]) => ({ side, band, freqHz: side === 'left' ? left : right })),
)
/** Of each tone: six of them have the level together. */
export const PROBE_PEAK_FS = ratioFromDb(LEAD_PROBE_DBFS) / Math.sqrt(BANDS.length)

export const sideStartS = (side: ProbeSide): number => (side === 'left' ? LEAD_PROBE.leftS : LEAD_PROBE.rightS)

/** The probe, stereo; phases run with the square of a tone's number, which keeps the peak down (D. J. Newman, 1965). */
export function renderLeadProbe(sampleRateHz: number): Audio {
  const frameCount = Math.ceil(LEAD_PROBE.lengthS * sampleRateHz)
  const channels = (['left', 'right'] as const).map((side) => {
    const samples = new Float32Array(frameCount)
    const first = Math.ceil(sideStartS(side) * sampleRateHz)
    const count = Math.floor(LEAD_PROBE.sideS * sampleRateHz)
    const tones = PROBE_TONES.filter((tone) => tone.side === side)
    for (let n = 0; n < count; n++) {
      const edge = Math.min(1, n / sampleRateHz / LEAD_PROBE.fadeS, (count - n) / sampleRateHz / LEAD_PROBE.fadeS)
      let sum = 0
      for (const [k, { freqHz }] of tones.entries()) {
        sum += Math.sin((2 * Math.PI * freqHz * n) / sampleRateHz + (Math.PI * k * k) / tones.length)
      }
      samples[first + n] = PROBE_PEAK_FS * (0.5 - 0.5 * Math.cos(Math.PI * edge)) * sum
    }
    return samples
  })
  return { sampleRateHz, channels }
}

/** Rms volts of each tone at an output as the map has it, in the order of PROBE_TONES. */
export const mappedVrms = (spec: OutputSpec): number[] =>
  PROBE_TONES.map(({ side, freqHz }) => {
    const gain = Math.abs(side === 'left' ? spec.leftGain : spec.rightGain)
    return spec.levelVrms * PROBE_PEAK_FS * gain * (bandGain(spec, freqHz) / bandGain(spec, spec.referenceHz))
  })

/** The most that an output may have of the whole probe, rms volts: a tone outside its band counts as one in it. */
export const mostVrms = (spec: OutputSpec): number =>
  spec.levelVrms * ratioFromDb(LEAD_PROBE_DBFS) * Math.max(Math.abs(spec.leftGain), Math.abs(spec.rightGain))

/**
 * Magnitude of the map's band, fourth order.
 * Butterworth: |H|² = 1 / (1 + x^8); Linkwitz-Riley, two second-order Butterworths in a row: |H| = 1 / (1 + x^4).
 */
function bandGain({ crossover: { shape, lowHz, highHz } }: OutputSpec, freqHz: number): number {
  const edge = (x: number): number => (shape === 'linkwitz_riley' ? 1 / (1 + x ** 4) : 1 / Math.sqrt(1 + x ** 8))
  return (lowHz === null ? 1 : edge(lowHz / freqHz)) * (highHz === null ? 1 : edge(freqHz / highHz))
}
