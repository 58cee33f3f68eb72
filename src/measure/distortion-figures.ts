/** Distortion of an output: from the steady tone that fits its band. */
import type { OutputSpec } from '../job/job.js'
import type { ToneReading } from './analysis.js'
import { type Estimate, estimate } from './estimate.js'

export interface DistortionFigures {
  readonly tone: ToneReading | null
  readonly thdPct: Estimate | null
  readonly thdNPct: Estimate | null
}

export function distortionFigures(heard: OutputSpec, tones: readonly ToneReading[]): DistortionFigures {
  const tone = toneFor(heard, tones)
  if (!tone) return NO_DISTORTION
  return {
    tone,
    thdPct: thdOf(tone),
    thdNPct: estimate(100 * tone.thdNRatio, { tone: tone.thdNRatio }, 'thd+n over total, bins removed/1', {
      freqHz: tone.freqHz,
    }),
  }
}

export const NO_DISTORTION: DistortionFigures = { tone: null, thdPct: null, thdNPct: null }

/** The steady tone that stands deepest inside the output's band, in octaves from its nearer edge. */
function toneFor(spec: OutputSpec, tones: readonly ToneReading[]): ToneReading | null {
  // An output that hears the sides in opposition gets nothing from a tone that is alike on both.
  if (spec.leftGain * spec.rightGain < 0) return null
  const depth = ({ freqHz }: ToneReading): number =>
    Math.min(Math.log2(freqHz / (spec.lowHz ?? 20)), Math.log2((spec.highHz ?? 20_000) / freqHz))
  // A tone that hardly comes through, because the band is another than the map says, tells of noise only.
  const strongest = Math.max(...tones.map(({ peakFs }) => peakFs))
  const [best] = tones.filter(({ peakFs }) => peakFs > 0.1 * strongest).sort((a, b) => depth(b) - depth(a))
  return depth(best) > 0 ? best : null
}

function thdOf(tone: ToneReading): Estimate {
  const { thdRatio, thdRatioFloor, freqHz, harmonicsFs } = tone
  return estimate(
    100 * thdRatio,
    { tone: 100 * 0.01 * thdRatio, noise: 100 * thdRatioFloor },
    `thd over the fundamental, orders 2 to ${harmonicsFs.length + 1}/1`,
    { isAtMost: thdRatio < 2 * thdRatioFloor, freqHz },
  )
}
