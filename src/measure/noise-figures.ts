/** Noise of an output in volts: from the silence, or from the quiet tone where an output mutes itself. */
import { fullScaleAtLead } from '../rig/rig.js'
import { sectionsOf, TONE_PEAK_FS } from '../stimulus/layout.js'
import { dbFromRatio } from '../units/level.js'
import type { NoiseReading } from './analysis.js'
import { DYNAMIC_RANGE_METHOD, dynamicRange } from './dynamic-range.js'
import { dbFromRelative, type Estimate, estimate } from './estimate.js'
import type { InputAnalysis } from './input-analysis.js'
import type { LeadData } from './lead.js'
import { calibrationBudget, lessOwnNoise } from './rig-reach.js'

export interface NoiseFigures {
  readonly noiseDbv: Estimate
  readonly noiseADbv: Estimate
  readonly noiseCDbv: Estimate
  /** ITU-R BS.468-4 weighting, rms: with unity gain at 1 kHz, and with unity gain at 2 kHz (AES17). */
  readonly noise468Dbv: Estimate
  readonly noiseCcirRmsDbv: Estimate
  readonly humDbv: Estimate
  /** AES17-2015 6.4.1, and the same A-weighted; null where the output gives nothing to refer it to. */
  readonly dynamicRangeDb: Estimate | null
  readonly dynamicRangeADb: Estimate | null
  /** Noise without the mains series: what is left to say once a hum has been named. */
  readonly noiseButHumDbv: { readonly unweighted: number; readonly aWeighted: number }
  /** The idle reading is far below the one with signal: it mutes itself on silence. */
  readonly isMuting: boolean
  readonly noiseCurve: { readonly freqHz: readonly number[]; readonly levelDbv: readonly number[] }
  readonly noiseLines: readonly NoiseLineSaid[]
  /** What hiss is left without the lines, in words: white, pink-like; null in digital silence. */
  readonly hissCharacter: string | null
}

export interface NoiseLineSaid {
  readonly freqHz: number
  readonly levelDbv: number
  readonly kind: 'mains series' | 'whistle' | 'switching spur' | 'harmonic'
}

/** An output's own peak for 0 dBFS at the quiet tone's frequency, by its response. */
export interface FullScale {
  readonly magnitude: number
  /** Relative standard uncertainty. */
  readonly relativeU: number
}

/** @param fullScale null where it is dead, or the quiet tone lies outside its band */
export function noiseFigures(lead: LeadData, fullScale: FullScale | null): NoiseFigures {
  const { analysis, input } = lead
  const fullScaleVrms = fullScaleAtLead(input)
  const dbv = (fs: number): number => dbFromRatio(Math.max(fs, 1e-12) * fullScaleVrms)
  // Where even the quiet tone was muted, what is left of it is no noise.
  const isToneMuted = isQuietToneMuted(analysis)
  const isMuting = isToneMuted || analysis.present.unweightedFs > 3 * analysis.idle.unweightedFs
  const noise = isMuting && !isToneMuted ? analysis.present : analysis.idle
  // An ideal converter's own noise with dither.
  const converterFs = 2 ** -(lead.captureBits - 1) * Math.SQRT1_2
  const floor = input.own?.floor ?? null
  const figure = (
    fs: number,
    relativeU: number,
    method: string,
    ownDbfs: number | null = null,
    isAtMost = false,
  ): Estimate => {
    const own = floor && ownDbfs !== null ? { dbfs: ownDbfs, uDb: floor.noiseU } : null
    const left = lessOwnNoise(fs, relativeU, own, converterFs)
    return estimate(
      dbv(left.fs),
      { ...calibrationBudget(input), averaging: dbFromRelative(left.relativeU) },
      own ? `${method.replace(/\/\d+$/, '')} less the rig's own${method.match(/\/\d+$/)?.[0] ?? ''}` : method,
      { isAtMost: isAtMost || left.isAtMost },
    )
  }
  // A weighting by which the rig was not checked: at most, where its plain figure is.
  const plain = figure(noise.unweightedFs, noise.unweightedU, 'noise 20 Hz to 20 kHz/2', floor?.noiseDbfs)
  const isRigs = plain.isAtMost
  return {
    noiseDbv: plain,
    noiseADbv: figure(noise.aWeightedFs, noise.aWeightedU, 'noise A-weighted/2', floor?.noiseADbfs),
    noiseCDbv: figure(noise.cWeightedFs, noise.cWeightedU, 'noise C-weighted/1', null, isRigs),
    noise468Dbv: figure(noise.bs468Fs, noise.bs468U, 'noise BS.468-4-weighted, rms/1', null, isRigs),
    noiseCcirRmsDbv: figure(noise.ccirRmsFs, noise.bs468U, 'noise BS.468-4, unity at 2 kHz, rms/1', null, isRigs),
    humDbv: noise.hum
      ? figure(
          noise.hum.rmsFs,
          noise.hum.relativeU,
          `hum, multiples of ${noise.hum.freqHz} Hz/2`,
          floor && !floor.isHumAtMost ? floor.humDbfs : null,
        )
      : estimate(dbv(noise.humFloorFs), calibrationBudget(input), 'hum, multiples of 50 or 60 Hz/2', {
          isAtMost: true,
        }),
    ...rangeFigures(analysis, isToneMuted ? null : fullScale, isRigs),
    noiseButHumDbv: {
      unweighted: dbv(Math.sqrt(Math.max(0, noise.unweightedFs ** 2 - (noise.hum?.rmsFs ?? 0) ** 2))),
      aWeighted: dbv(Math.sqrt(Math.max(0, noise.aWeightedFs ** 2 - (noise.hum?.aWeightedFs ?? 0) ** 2))),
    },
    isMuting,
    noiseCurve: { freqHz: noise.bandHz, levelDbv: noise.bandFs.map(dbv) },
    noiseLines: linesOf(noise, dbv),
    hissCharacter: noise.hiss?.character ?? null,
  }
}

/** Against full scale: the capture's volts cancel out. */
function rangeFigures(
  { present }: InputAnalysis,
  fullScale: FullScale | null,
  isRigs: boolean,
): Pick<NoiseFigures, 'dynamicRangeDb' | 'dynamicRangeADb'> {
  const range =
    fullScale !== null && fullScale.magnitude > 0 && present.tonePeakFs !== null
      ? dynamicRange(present, fullScale.magnitude)
      : null
  if (!fullScale || !range) return { dynamicRangeDb: null, dynamicRangeADb: null }
  const options = { isAtLeast: isRigs, freqHz: QUIET_TONE.freqHz }
  const level = dbFromRelative(fullScale.relativeU)
  return {
    dynamicRangeDb: estimate(
      range.ccirRmsDb,
      { averaging: range.ccirRmsDbU, 'level of full scale': level },
      DYNAMIC_RANGE_METHOD,
      options,
    ),
    dynamicRangeADb: estimate(
      range.aWeightedDb,
      { averaging: range.aWeightedDbU, 'level of full scale': level },
      'dynamic range A-weighted from 997 Hz at -60 dBFS/1',
      options,
    ),
  }
}

const QUIET_TONE = sectionsOf().find(({ kind }) => kind === 'quiet_tone')!.tones[0]
export const QUIET_TONE_HZ = QUIET_TONE.freqHz

/** The quiet tone against the steady one of the same frequency: it should be 57 dB lower, and not less than that. */
function isQuietToneMuted({ tones, present }: InputAnalysis): boolean {
  const steady = tones.find(({ freqHz }) => freqHz === QUIET_TONE.freqHz)
  if (!steady || present.tonePeakFs === null) return false
  const expectedFs = steady.peakFs * (QUIET_TONE.peakFs / TONE_PEAK_FS)
  return expectedFs > 30 * present.humFloorFs && present.tonePeakFs < 0.7 * expectedFs
}

function linesOf(noise: NoiseReading, dbv: (fs: number) => number): NoiseLineSaid[] {
  const mains: NoiseLineSaid[] = noise.hum
    ? [{ freqHz: noise.hum.lineHz[0], levelDbv: dbv(noise.hum.rmsFs), kind: 'mains series' }]
    : []
  return [...mains, ...noise.lines.map(({ freqHz, rmsFs, kind }) => ({ freqHz, levelDbv: dbv(rmsFs), kind }))]
}
