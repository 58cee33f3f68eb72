/**
 * Modulation of a steady tone: how fast and how far its level and its phase swing.
 *
 * The tone is turned to 0 Hz and read every 10 ms. What a slow drift of the level or of the clocks does is a straight line and
 * is taken off; what is left swings at a rate of 0.5 to 20 Hz, or at none in particular. A hum or whistle close to the tone beats
 * with it, but has one sideband only, where modulation has two.
 */
import { bent, bestRate, meanSquare, type Rate, type Swing, straightened } from './swing.js'

/** Read every so often, through a Hann window of twice the length: nulls at 100 Hz and up. */
const HOP_S = 0.01
/** Swings (peak) that are smaller don't count: what converters, codecs and clocks do. */
const LEVEL_MIN = 0.003
const PHASE_MIN_RAD = 0.01
/** A rate is named where it explains so much of the swing. */
const NAMED_SHARE = 0.8
/** And so much of few swings, which anything slow looks like. */
const NAMED_SHARE_SLOW = 0.97
/** The weaker half of a tone has this of the other one's swing: what settles is no modulation. */
const HALVES_MIN = 0.25
/**
 * Mean square of second differences over the mean square: 6 - 8/6 = 4.7 for noise in readings whose Hann windows overlap by half
 * (which correlates neighbours by 1/6), (2 - 2 cos)² = 1.9 and less for a swing of 20 Hz and less. Between the two.
 */
const NOISE_BENTNESS = 3.3
/** Noise of such readings is 1 + 2/6 times as strong at low rates as on the average over all rates. */
const OVERLAP = 4 / 3
/** A level that drifts, as a limiter's does, is no modulation: so many whole swings must have been seen. */
const SWINGS_MIN = 2
/** Sidebands that differ by more are none of a modulation. */
const SIDEBAND_RATIO_MAX = 2

export const TONE_MODULATION_METHOD = 'modulation of a steady tone, 0.5 to 20 Hz/1'

export interface ToneModulation {
  readonly freqHz: number
  /** Null: it swings, but at no one rate. */
  readonly rateHz: number | null
  /** Standard uncertainty of the rate, Hz; 0 where there is none. */
  readonly rateU: number
  /** Peak of the level's swing over the level: 0.1 is 10 %. With its standard uncertainty. */
  readonly levelDepth: number
  readonly levelDepthU: number
  /** Peak of the phase's swing in radians, and the same as a delay. */
  readonly phaseDepthRad: number
  readonly phaseDepthU: number
  readonly delayDepthS: number
  /** Energy of all that swings over the energy of the tone, dB. */
  readonly sidebandsDb: number
}

/**
 * @param samples one input while the tone is steady, 1 s or more
 * @param freqHz of the tone, on the player's clock; samplesPerS is the capture's rate on that clock
 * @param gaps parts of the samples that aren't to be read: interruptions
 * @returns null where the tone is steady
 * @throws RangeError when there are fewer samples than for twenty readings
 */
export function readToneModulation(
  samples: Float32Array,
  freqHz: number,
  samplesPerS: number,
  gaps: readonly { readonly from: number; readonly to: number }[] = [],
): ToneModulation | null {
  const track = trackOf(samples, freqHz, samplesPerS, gaps)
  if (track.timeS.length < 20) throw new RangeError(`readToneModulation: ${samples.length} samples, want more`)
  const level = straightened(track.timeS, track.level)
  const phase = straightened(track.timeS, track.phaseRad)
  const swing = (values: Float64Array): number => Math.SQRT2 * Math.sqrt(meanSquare(values))
  const [levelSwing, phaseSwing] = [swing(level), swing(phase)]
  if (levelSwing < LEVEL_MIN && phaseSwing < PHASE_MIN_RAD) return null
  const isNoise = (values: Float64Array): boolean => bentness(values) > NOISE_BENTNESS * meanSquare(values)
  if ((levelSwing < LEVEL_MIN || isNoise(level)) && (phaseSwing < PHASE_MIN_RAD || isNoise(phase))) return null

  const best = bestRate(track.timeS, level, phase)
  const seenS = track.timeS[track.timeS.length - 1] - track.timeS[0]
  const isNamed = best.share > (best.rateHz * seenS < 3 ? NAMED_SHARE_SLOW : NAMED_SHARE)
  const depth = (fitted: Swing, all: number): number =>
    isNamed ? Math.hypot(fitted.cosine, fitted.sine) / passedBy(best.rateHz) : all
  const [levelDepth, phaseDepthRad] = [depth(best.level, levelSwing), depth(best.phase, phaseSwing)]
  if (levelDepth < LEVEL_MIN && phaseDepthRad < PHASE_MIN_RAD) return null
  if (phaseDepthRad < PHASE_MIN_RAD && (swing(bent(level)) < LEVEL_MIN || settles(track))) return null
  if (isNamed && phaseDepthRad < PHASE_MIN_RAD && best.rateHz * seenS < SWINGS_MIN) return null
  if (isNamed && phaseDepthRad < 0.3 && isOneSided(best)) return null
  const count = track.timeS.length
  const amplitudeU = (values: Float64Array, fitted: Swing): number =>
    Math.sqrt((2 * OVERLAP * Math.max(0, meanSquare(values) - fitted.power)) / (count - 5))
  // Rife and Boorstyn 1974: variance of a frequency is 6 sigma² / (pi² A² T² N) with T the length seen.
  const rateU = (values: Float64Array, fitted: Swing): number => {
    const amplitude = Math.hypot(fitted.cosine, fitted.sine)
    return (Math.sqrt(count / 2) * amplitudeU(values, fitted) * Math.sqrt(6 / count)) / (Math.PI * amplitude * seenS)
  }
  const isByPhase = best.phaseShare * phaseSwing >= best.levelShare * levelSwing
  return {
    freqHz,
    rateHz: isNamed ? best.rateHz : null,
    rateU: isNamed ? (isByPhase ? rateU(phase, best.phase) : rateU(level, best.level)) : 0,
    levelDepth,
    levelDepthU: amplitudeU(level, best.level),
    phaseDepthRad,
    phaseDepthU: amplitudeU(phase, best.phase),
    delayDepthS: phaseDepthRad / (2 * Math.PI * freqHz),
    sidebandsDb: 10 * Math.log10(Math.max(1e-20, track.sidebandShare)),
  }
}

interface Track {
  readonly timeS: number[]
  /** Over its mean, less 1. */
  readonly level: number[]
  readonly phaseRad: number[]
  /** Power of what isn't the mean, over all. */
  readonly sidebandShare: number
}

function trackOf(
  samples: Float32Array,
  freqHz: number,
  samplesPerS: number,
  gaps: readonly { readonly from: number; readonly to: number }[],
): Track {
  const hop = Math.round(HOP_S * samplesPerS)
  const stepRad = (2 * Math.PI * freqHz) / samplesPerS
  const [stepRe, stepIm] = [Math.cos(stepRad), -Math.sin(stepRad)]
  const timeS: number[] = []
  const points: { readonly re: number; readonly im: number }[] = []
  const window = Float64Array.from({ length: 2 * hop }, (_, i) => 0.5 - 0.5 * Math.cos((Math.PI * (i + 0.5)) / hop))
  for (let from = 0; from + 2 * hop <= samples.length; from += hop) {
    if (gaps.some((gap) => gap.from < from + 2 * hop && gap.to > from)) continue
    let [c, s] = [Math.cos(stepRad * from), -Math.sin(stepRad * from)]
    let [re, im] = [0, 0]
    for (let i = 0; i < 2 * hop; i++) {
      const value = window[i] * samples[from + i]
      re += value * c
      im += value * s
      const next = c * stepRe - s * stepIm
      s = s * stepRe + c * stepIm
      c = next
    }
    timeS.push((from + hop) / samplesPerS)
    points.push({ re, im })
  }
  const magnitudes = points.map(({ re, im }) => Math.hypot(re, im))
  const mean = magnitudes.reduce((a, b) => a + b, 0) / Math.max(1, magnitudes.length)
  let [unwrapped, last] = [0, 0]
  const phaseRad = points.map(({ re, im }, i) => {
    const phase = Math.atan2(im, re)
    unwrapped = i === 0 ? phase : unwrapped + phase - last - 2 * Math.PI * Math.round((phase - last) / (2 * Math.PI))
    last = phase
    return unwrapped
  })
  const [sumRe, sumIm] = [points.reduce((a, p) => a + p.re, 0), points.reduce((a, p) => a + p.im, 0)]
  const power = points.reduce((a, p) => a + p.re * p.re + p.im * p.im, 0)
  return {
    timeS,
    level: magnitudes.map((value) => value / Math.max(mean, 1e-30) - 1),
    phaseRad,
    sidebandShare: 1 - (sumRe * sumRe + sumIm * sumIm) / Math.max(points.length * power, 1e-30),
  }
}

/** A level that moves in one half of the tone only. */
function settles({ timeS, level }: Track): boolean {
  const middle = level.length >> 1
  const halves = [
    straightened(timeS.slice(0, middle), level.slice(0, middle)),
    straightened(timeS.slice(middle), level.slice(middle)),
  ]
  const [one, two] = halves.map((half) => Math.sqrt(meanSquare(half)))
  return Math.min(one, two) < HALVES_MIN * Math.max(one, two)
}

/** Mean square of second differences. */
function bentness(values: Float64Array): number {
  let sum = 0
  for (let i = 2; i < values.length; i++) sum += (values[i] - 2 * values[i - 1] + values[i - 2]) ** 2
  return sum / (values.length - 2)
}

/** What the Hann window of a reading leaves of a swing: sin(pi x) / (pi x (1 - x²)), x its length in periods. */
function passedBy(rateHz: number): number {
  const x = 2 * HOP_S * rateHz
  return Math.sin(Math.PI * x) / (Math.PI * x * (1 - x * x))
}

/** Upper and lower sideband of 1 + level + j phase: a line beside the tone has one of them only. */
function isOneSided({ level, phase }: Rate): boolean {
  // level = Re((a - jb) e^jwt), so its halves stand at both sidebands; those of j phase are turned by a quarter.
  const upper = Math.hypot(level.cosine + phase.sine, phase.cosine - level.sine)
  const lower = Math.hypot(level.cosine - phase.sine, phase.cosine + level.sine)
  return Math.max(upper, lower) > SIDEBAND_RATIO_MAX * Math.min(upper, lower)
}
