/**
 * What a rig adds by itself, from takes with its inputs shorted or fed by the player's own output.
 *
 * The same readings as for a vehicle's outputs, so that the two can be held against each other. An input may be fed from either
 * side: the one that it hears is read.
 */
import { sectionsOf } from '../stimulus/layout.js'
import type { Located, Transfer } from './analysis.js'
import { dbFromRelative } from './estimate.js'
import { excessPhaseOf, isSettled } from './excess-phase.js'
import { GRID_HZ, gridIndex } from './grid.js'
import { type Intermodulation, readDifferenceTones, readModulation } from './intermodulation.js'
import { readSteadyTone, type SteadyTone } from './steady-tone.js'
import { readTone } from './tone-reading.js'
import { type SweepReference, transferOf } from './transfer.js'

export const OWN_LIMITS_METHOD = 'rig shorted and looped back/1'

/** What the loop-back of one input tells; ratios and levels with expanded uncertainties (k = 2). */
export interface LoopReading {
  /** Peak of the 997 Hz tone, fraction of full scale. */
  readonly tonePeakFs: number
  readonly toneRelativeU: number
  readonly thd: readonly Ratio[]
  readonly intermodulation: readonly (Ratio & { readonly kind: 'smpte' | 'difference' })[]
  readonly response: readonly { readonly freqHz: number; readonly deviationDb: number }[]
  readonly responseU: number
  readonly polarity: 1 | -1 | null
  /** Against the located start of the track; the same start for all inputs of a take. */
  readonly delayS: number | null
  readonly delayU: number | null
}

interface Ratio {
  readonly freqHz: number
  readonly ratio: number
  readonly u: number
  readonly isAtMost: boolean
}

const REFERENCE_HZ = 997
/** A modest grid: third octaves, near enough to their nominal names for a person. */
const RESPONSE_HZ = Array.from({ length: 31 }, (_, k) => 10 ** ((13 + k) / 10))
/** As in the analysis of a vehicle's outputs. */
const SETTLE_S = 0.2
const LEAVE_S = 0.1

/** @param channel one input of a take of the track */
export function readLoop(channel: Float32Array, located: Located, reference: SweepReference): LoopReading {
  const { startSample, samplesPerS } = located
  const inside = ({ startS, durationS }: { startS: number; durationS: number }): Float32Array =>
    channel.subarray(
      Math.max(0, Math.round(startSample + (startS + SETTLE_S) * samplesPerS)),
      Math.round(startSample + (startS + durationS - LEAVE_S) * samplesPerS),
    )
  const sections = sectionsOf()
  const tones = sections
    .filter(({ kind }) => kind === 'tone')
    .map((section) => readTone(inside(section), section.tones[0].freqHz, samplesPerS))
  const level = tones.find(({ freqHz }) => freqHz === REFERENCE_HZ)!

  const { re, im, error, centreS } = heardSide(transferOf(channel, reference))
  const magnitude = (freqHz: number): number => Math.hypot(re[gridIndex(freqHz)], im[gridIndex(freqHz)])
  const relativeU = (freqHz: number): number =>
    (Math.SQRT2 * error[gridIndex(freqHz)]) / Math.max(magnitude(freqHz), 1e-12)
  const found = excessPhaseOf(re, im, error, centreS)
  const excess = found && isSettled(found) ? found : null
  const response = RESPONSE_HZ.map((freqHz) => ({
    freqHz: GRID_HZ[gridIndex(freqHz)],
    deviationDb: 20 * Math.log10(magnitude(freqHz) / magnitude(1000)),
  }))
  return {
    tonePeakFs: level.peakFs,
    toneRelativeU: (2 * level.peakFsU) / Math.max(level.peakFs, 1e-12),
    thd: tones.map(({ freqHz, thdRatio, thdRatioU, thdIsAtMost }) => ({
      freqHz,
      ratio: thdRatio,
      u: 2 * thdRatioU,
      isAtMost: thdIsAtMost,
    })),
    intermodulation: sections
      .filter(({ kind }) => kind === 'two_tone')
      .flatMap((section) => {
        const [low, high] = section.tones
        const isModulation = high.freqHz / low.freqHz > 2
        const read = isModulation ? readModulation : readDifferenceTones
        const found: Intermodulation | null = read(inside(section), samplesPerS, [low, high])
        if (!found) return []
        const { value, u, isAtMost } = found.rms
        return [
          {
            kind: isModulation ? ('smpte' as const) : ('difference' as const),
            freqHz: high.freqHz,
            ratio: value,
            u: 2 * u,
            isAtMost,
          },
        ]
      }),
    response,
    responseU: dbFromRelative(2 * Math.hypot(Math.max(...RESPONSE_HZ.map(relativeU)), relativeU(1000))),
    polarity: excess ? excess.sign : null,
    delayS: excess ? excess.delayS : null,
    delayU: excess?.delayU ?? null,
  }
}

function heardSide(transfer: Transfer): { re: Float64Array; im: Float64Array; error: Float64Array; centreS: number } {
  const { leftRe, leftIm, leftError, rightRe, rightIm, rightError, centreS } = transfer
  const at = gridIndex(REFERENCE_HZ)
  return Math.hypot(leftRe[at], leftIm[at]) >= Math.hypot(rightRe[at], rightIm[at])
    ? { re: leftRe, im: leftIm, error: leftError, centreS }
    : { re: rightRe, im: rightIm, error: rightError, centreS }
}

/** What one input gets of a tone that is on another: levels against that one's. */
export interface CrosstalkReading {
  readonly freqHz: number
  readonly db: number
  readonly u: number
  readonly isAtMost: boolean
}

/** A leak of less than this many times its noise is not told from it: among hundreds of looks, noise alone goes past it once in 2000. */
const CLEAR_OVER = 5

/**
 * @param quiet samples of the input that should hear nothing, while the fed one heard these tones
 *
 * Selective at the tones, so that noise is not counted: AES17-2015 6.5.2.
 */
export function readCrosstalk(
  quiet: Float32Array,
  tones: readonly SteadyTone[],
  sampleRateHz: number,
): CrosstalkReading[] {
  return tones.map(({ freqHz, peakFs: fedFs }) => {
    const leak = readSteadyTone(quiet, freqHz, sampleRateHz)
    const isAtMost = leak.peakFs < CLEAR_OVER * leak.noiseFs
    const peakFs = leak.peakFs + (isAtMost ? 2 * leak.noiseFs : 0)
    return {
      freqHz,
      db: 20 * Math.log10(Math.max(peakFs, 1e-12) / fedFs),
      u: isAtMost ? 0 : dbFromRelative((2 * leak.noiseFs) / leak.peakFs),
      isAtMost,
    }
  })
}
