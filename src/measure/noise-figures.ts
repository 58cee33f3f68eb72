/** Noise of an output in volts: from the silence, or from the quiet tone where an output mutes itself. */
import { fullScaleAtLead } from '../rig/rig.js'
import { sectionsOf, TONE_PEAK_FS } from '../stimulus/layout.js'
import { dbFromRatio } from '../units/level.js'
import type { InputAnalysis, NoiseReading } from './analysis.js'
import { dbFromRelative, type Estimate, estimate } from './estimate.js'
import type { LeadData } from './lead.js'
import { calibrationDb } from './level-figures.js'

export interface NoiseFigures {
  readonly noiseDbv: Estimate
  readonly noiseADbv: Estimate
  readonly humDbv: Estimate
  /** Noise without the mains series: what is left to say once a hum has been named. */
  readonly noiseButHumDbv: { readonly unweighted: number; readonly aWeighted: number }
  /** The idle reading is far below the one with signal: it mutes itself on silence. */
  readonly isMuting: boolean
  readonly noiseCurve: { readonly freqHz: readonly number[]; readonly levelDbv: readonly number[] }
  readonly noiseLines: readonly { readonly freqHz: number; readonly levelDbv: number; readonly isMains: boolean }[]
}

export function noiseFigures(lead: LeadData): NoiseFigures {
  const { analysis, input } = lead
  const fullScaleVrms = fullScaleAtLead(input)
  const dbv = (fs: number): number => dbFromRatio(Math.max(fs, 1e-12) * fullScaleVrms)
  // Where even the quiet tone was muted, what is left of it is no noise.
  const isToneMuted = isQuietToneMuted(analysis)
  const isMuting = isToneMuted || analysis.present.unweightedFs > 3 * analysis.idle.unweightedFs
  const noise = isMuting && !isToneMuted ? analysis.present : analysis.idle
  // An ideal converter's own noise with dither; nearer than 6 dB to it, what is read may be the card's.
  const converterFs = 2 ** -(lead.captureBits - 1) * Math.SQRT1_2
  const figure = (fs: number, method: string, relativeU = noise.relativeU): Estimate =>
    estimate(dbv(fs), { 'input calibration': calibrationDb(input), averaging: dbFromRelative(relativeU) }, method, {
      isAtMost: fs < 2 * converterFs,
    })
  return {
    noiseDbv: figure(noise.unweightedFs, 'noise 20 Hz to 20 kHz/1'),
    noiseADbv: figure(noise.aWeightedFs, 'noise A-weighted/1'),
    humDbv: noise.hum
      ? figure(noise.hum.rmsFs, `hum, multiples of ${noise.hum.freqHz} Hz/1`, noise.hum.relativeU)
      : estimate(
          dbv(noise.humFloorFs),
          { 'input calibration': calibrationDb(input) },
          'hum, multiples of 50 or 60 Hz/1',
          { isAtMost: true },
        ),
    noiseButHumDbv: {
      unweighted: dbv(Math.sqrt(Math.max(0, noise.unweightedFs ** 2 - (noise.hum?.rmsFs ?? 0) ** 2))),
      aWeighted: dbv(Math.sqrt(Math.max(0, noise.aWeightedFs ** 2 - (noise.hum?.aWeightedFs ?? 0) ** 2))),
    },
    isMuting,
    noiseCurve: { freqHz: noise.bandHz, levelDbv: noise.bandFs.map(dbv) },
    noiseLines: linesOf(noise, dbv),
  }
}

const QUIET_TONE = sectionsOf().find(({ kind }) => kind === 'quiet_tone')!.tones[0]

/** The quiet tone against the steady one of the same frequency: it should be 57 dB lower, and not less than that. */
function isQuietToneMuted({ tones, present }: InputAnalysis): boolean {
  const steady = tones.find(({ freqHz }) => freqHz === QUIET_TONE.freqHz)
  if (!steady || present.tonePeakFs === null) return false
  const expectedFs = steady.peakFs * (QUIET_TONE.peakFs / TONE_PEAK_FS)
  return expectedFs > 30 * present.humFloorFs && present.tonePeakFs < 0.7 * expectedFs
}

function linesOf(noise: NoiseReading, dbv: (fs: number) => number): NoiseFigures['noiseLines'] {
  const mains = noise.hum ? [{ freqHz: noise.hum.lineHz[0], levelDbv: dbv(noise.hum.rmsFs), isMains: true }] : []
  return [...mains, ...noise.lines.map(({ freqHz, rmsFs }) => ({ freqHz, levelDbv: dbv(rmsFs), isMains: false }))]
}
