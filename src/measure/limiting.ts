/**
 * Automatic gain: seen in a steady tone whose level changes, and in gains that differ between sweep, tone and staircase.
 *
 * Levels in dB; a gain difference is that of the louder or longer signal less that of the other, so that a limiter gives
 * negative ones.
 */
import { room } from '../dsp/room.js'
import { SWEEP, TONE_PEAK_FS } from '../stimulus/layout.js'
import { DB_PER_NEPER, dbFromRatio } from '../units/level.js'
import type { ToneReading, Transfer } from './analysis.js'
import { gridIndex } from './grid.js'
import type { StaircaseReading } from './staircase.js'

export const ENVELOPE_METHOD = 'envelope of a steady tone/1'
export const GAIN_CHANGE_METHOD = 'gain by level, sweep, tone and staircase/1'

/** A block of 0.1 s holds six periods of the lowest tone; blocks overlap by half. They are made of short pieces. */
const PIECE_S = 0.002
const BLOCK_PIECES = 50
const HOP_PIECES = 25
/** Hann, sum 1. */
const BLOCK_WINDOW = Float64Array.from(
  { length: BLOCK_PIECES },
  (_, k) => (1 - Math.cos((2 * Math.PI * (k + 0.5)) / BLOCK_PIECES)) / BLOCK_PIECES,
)
/** Changes below this are what filters and clocks do (dB). */
const STEADY_DB = 0.03

export interface Envelope {
  /** Middle of each block, seconds from the first sample. */
  readonly timeS: readonly number[]
  /** Level of each block against the last third (dB). */
  readonly levelDb: readonly number[]
  /** Standard uncertainty of each (dB), from noise. */
  readonly levelDbU: number
  /** First block less the last third: above 0 where the gain is drawn back, below where it comes up. */
  readonly driftDb: number
  readonly driftDbU: number
  /** Time until two thirds of the change are done (1 - 1/e), from the first block; null where nothing changes. */
  readonly settleS: number | null
}

/**
 * Level of a tone over time.
 *
 * @param samples one channel from the tone's rise to its fall, both left out, 0.4 s or more
 * @returns null where the tone does not stand 20 dB clear of what else is there
 */
export function readEnvelope(samples: Float32Array, freqHz: number, samplesPerS: number): Envelope | null {
  const pieceLength = Math.round(PIECE_S * samplesPerS)
  const pieceCount = Math.floor(samples.length / pieceLength)
  const blockCount = Math.floor((pieceCount - BLOCK_PIECES) / HOP_PIECES) + 1
  if (blockCount < 6) {
    const want = (BLOCK_PIECES + 5 * HOP_PIECES) * pieceLength
    throw new RangeError(`readEnvelope: ${samples.length} samples, want ${want} or more`)
  }
  const stepRad = (2 * Math.PI * freqHz) / samplesPerS
  const pieces = phasorsOf(samples, pieceLength, pieceCount, stepRad)
  // At a low frequency the image is far from the blocks' band, and short pieces could not tell the two apart.
  if (freqHz * PIECE_S > 0.5) takeOffImage(pieces, pieceLength, stepRad)
  const phasors = Array.from({ length: blockCount }, (_, b) => {
    let [re, im] = [0, 0]
    for (let k = 0; k < BLOCK_PIECES; k++) {
      re += BLOCK_WINDOW[k] * pieces[2 * (b * HOP_PIECES + k)]
      im += BLOCK_WINDOW[k] * pieces[2 * (b * HOP_PIECES + k) + 1]
    }
    return { re, im }
  })
  const peaks = phasors.map(({ re, im }) => Math.hypot(re, im))
  const lastCount = Math.max(2, Math.floor(blockCount / 3))
  const settled = peaks.slice(-lastCount).reduce((sum, peak) => sum + peak, 0) / lastCount
  const scatter = noiseOf(phasors)
  if (!(settled > 10 * scatter)) return null
  const levelDb = peaks.map((peak) => dbFromRatio(peak / settled))
  const levelDbU = (DB_PER_NEPER * scatter) / settled
  const driftDbU = levelDbU * Math.sqrt(1 + OVERLAP_GAIN / lastCount)
  const driftDb = levelDb[0]
  const timeS = peaks.map((_, b) => ((b * HOP_PIECES + 0.5 * BLOCK_PIECES) * pieceLength) / samplesPerS)
  const isChanging = Math.abs(driftDb) > Math.max(STEADY_DB, 3 * driftDbU)
  const settledAt = levelDb.findIndex((level) => Math.abs(level) < Math.abs(driftDb) / Math.E)
  return {
    timeS,
    levelDb,
    levelDbU,
    driftDb,
    driftDbU,
    settleS: isChanging && settledAt > 0 ? timeS[settledAt] - timeS[0] : null,
  }
}

/** Complex peaks of short pieces, all turned to the stretch's first sample: alike as long as the tone is steady. */
function phasorsOf(samples: Float32Array, pieceLength: number, pieceCount: number, stepRad: number): Float64Array {
  const out = room('envelope pieces', 2 * pieceCount)
  const [stepRe, stepIm] = [Math.cos(stepRad), -Math.sin(stepRad)]
  for (let p = 0; p < pieceCount; p++) {
    const first = p * pieceLength
    let re = Math.cos(stepRad * first)
    let im = -Math.sin(stepRad * first)
    let [sumRe, sumIm] = [0, 0]
    for (let n = first; n < first + pieceLength; n++) {
      sumRe += samples[n] * re
      sumIm += samples[n] * im
      const next = re * stepRe - im * stepIm
      im = im * stepRe + re * stepIm
      re = next
    }
    out[2 * p] = (2 * sumRe) / pieceLength
    out[2 * p + 1] = (2 * sumIm) / pieceLength
  }
  return out
}

/**
 * Takes off what a piece reads of the tone's own image at minus its frequency: z = c + I c*, with I the mean of
 * exp(-2 j ω n) over the piece, so c = (z - I z*) / (1 - |I|²).
 */
function takeOffImage(pieces: Float64Array, pieceLength: number, stepRad: number): void {
  const size = Math.sin(stepRad * pieceLength) / (pieceLength * Math.sin(stepRad))
  for (let p = 0; 2 * p < pieces.length; p++) {
    const angle = -stepRad * (2 * p * pieceLength + pieceLength - 1)
    const [imageRe, imageIm] = [size * Math.cos(angle), size * Math.sin(angle)]
    const [re, im] = [pieces[2 * p], pieces[2 * p + 1]]
    pieces[2 * p] = (re - imageRe * re - imageIm * im) / (1 - size * size)
    pieces[2 * p + 1] = (im - imageIm * re + imageRe * im) / (1 - size * size)
  }
}

/** Correlation of half-overlapped Hann blocks in white noise is 1/6: the mean of many has 1 + 2/6 of its variance. */
const OVERLAP = 1 / 6
const OVERLAP_GAIN = 1 + 2 * OVERLAP

/** Standard deviation of the part of a phasor's noise that lies along it, from second differences. */
function noiseOf(phasors: readonly { readonly re: number; readonly im: number }[]): number {
  let sum = 0
  for (let b = 1; b + 1 < phasors.length; b++) {
    const [before, here, after] = [phasors[b - 1], phasors[b], phasors[b + 1]]
    sum += (before.re - 2 * here.re + after.re) ** 2 + (before.im - 2 * here.im + after.im) ** 2
  }
  // Variance of x0 - 2 x1 + x2 where neighbours share OVERLAP: 6 - 8 OVERLAP; two parts, re and im.
  return Math.sqrt(sum / (phasors.length - 2) / (6 - 8 * OVERLAP) / 2)
}

export interface GainChange {
  readonly freqHz: number
  /** Steady tone (-3 dBFS, 2 s) over sweep (-12 dBFS, passing), with its standard uncertainty. */
  readonly toneOverSweepDb: number
  readonly toneOverSweepDbU: number
  /** Staircase at the sweep's level over the sweep: both quiet, so nothing but slow gain changes it. */
  readonly stepOverSweepDb: number | null
  readonly stepOverSweepDbU: number | null
  /** Steady tone over the staircase's step of the same level: 2 s against 0.2 s. */
  readonly toneOverStepDb: number | null
  readonly toneOverStepDbU: number | null
}

/** What the cut of the impulse response and the place between grid points may add, standard (dB). */
const SWEEP_GAIN_DB = 0.002

/**
 * Gains of one input at one frequency from signals of different level and length.
 *
 * @param staircase of the tone's frequency, if it was read
 * @returns null where tone or sweep do not come through, as on an output that hears the sides in opposition
 */
export function gainChange(
  transfer: Transfer,
  tone: ToneReading,
  staircase: StaircaseReading | null,
): GainChange | null {
  const { gain: sweepGain, u: sweepU } = gainOfBoth(transfer, tone.freqHz)
  if (!(sweepGain > 10 * sweepU) || !(tone.peakFs > 10 * tone.peakFsU) || tone.peakFs === 0) return null
  const toneGain = tone.peakFs / TONE_PEAK_FS
  const toneU = tone.peakFsU / tone.peakFs
  const sweepRelativeU = Math.hypot(sweepU / sweepGain, SWEEP_GAIN_DB / DB_PER_NEPER)
  // The steps of the staircase that have the levels of the tone and, to 0.04 dB, of the sweep.
  const stepGain = (levelDbfs: number): { gain: number; u: number } | null => {
    const step = staircase?.steps.find(({ sourceDbfs }) => Math.abs(sourceDbfs - levelDbfs) < 0.1)
    return step ? { gain: step.peakFs / 10 ** (step.sourceDbfs / 20), u: step.peakFsU / step.peakFs } : null
  }
  const low = stepGain(dbFromRatio(SWEEP.peakFs))
  const high = stepGain(dbFromRatio(TONE_PEAK_FS))
  return {
    freqHz: tone.freqHz,
    toneOverSweepDb: dbFromRatio(toneGain / sweepGain),
    toneOverSweepDbU: DB_PER_NEPER * Math.hypot(toneU, sweepRelativeU),
    stepOverSweepDb: low && dbFromRatio(low.gain / sweepGain),
    stepOverSweepDbU: low && DB_PER_NEPER * Math.hypot(low.u, sweepRelativeU),
    toneOverStepDb: high && dbFromRatio(toneGain / high.gain),
    toneOverStepDbU: high && DB_PER_NEPER * Math.hypot(high.u, toneU),
  }
}

/** Length of the response that the transfer is read from, about. */
const RESPONSE_S = 0.5

/** Gain for both sides alike, as tones are played, at a frequency between grid points: a cubic through four of them. */
function gainOfBoth({ freqHz: grid, ...t }: Transfer, freqHz: number): { gain: number; u: number } {
  const nearest = gridIndex(freqHz)
  const below = Math.min(grid.length - 3, Math.max(1, grid[nearest] > freqHz ? nearest - 1 : nearest))
  const x = Math.log(freqHz / grid[below]) / Math.log(grid[below + 1] / grid[below])
  const weights = [
    (-x * (x - 1) * (x - 2)) / 6,
    ((x + 1) * (x - 1) * (x - 2)) / 2,
    (-(x + 1) * x * (x - 2)) / 2,
    ((x + 1) * x * (x - 1)) / 6,
  ]
  let [gain, variance] = [0, 0]
  weights.forEach((weight, k) => {
    const i = below - 1 + k
    gain += weight * Math.hypot(t.leftRe[i] + t.rightRe[i], t.leftIm[i] + t.rightIm[i])
    variance += weight * weight * 0.5 * (t.leftError[i] ** 2 + t.rightError[i] ** 2)
  })
  // Low grid points lie closer than the response's length tells apart: they share one noise.
  const isShared = grid[below + 1] - grid[below] < 1 / RESPONSE_S
  if (isShared) variance = 0.5 * (t.leftError[below] ** 2 + t.rightError[below] ** 2)
  return { gain, u: Math.sqrt(variance) }
}
