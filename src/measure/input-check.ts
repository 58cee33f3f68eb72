/**
 * What an input of a card makes of silence and of a quiet probe: alive or not, which side it hears, hum, clipping, steps.
 *
 * The probe has tones of its own on each side, so that one stretch tells the sides apart. Amplitudes are peaks as
 * fractions of full scale.
 */
import { windowPowers } from '../dsp/projection.js'
import { inputLevel } from './input-meter.js'
import { readNoise } from './noise-reading.js'
import { readSteadyTone } from './steady-tone.js'

export interface ProbeTones {
  readonly leftHz: readonly number[]
  readonly rightHz: readonly number[]
}

export interface ProbeTone {
  readonly freqHz: number
  readonly peakFs: number
  readonly isHeard: boolean
}

export interface InputReading {
  /** Level with nothing played, rms over that of a full-scale sine. */
  readonly floorFs: number
  readonly hum: { readonly levelFs: number; readonly freqHz: number } | null
  /** Level while the probe sounds. */
  readonly levelFs: number
  readonly left: readonly ProbeTone[]
  readonly right: readonly ProbeTone[]
  readonly clippedCount: number
  /** The same sample all the time, or nothing but zeros. */
  readonly stuck: 'zeros' | 'constant' | null
  /** Bits that the samples make use of; null where nothing but one value came. */
  readonly usedBits: 16 | 24 | 32 | null
}

/** A tone has to stand this far out of the noise beside it, and of what was at its place in silence. */
const HEARD_OVER_NOISE = 10
const HEARD_OVER_REST = 3
const PEAK_FS_MIN = 1e-7
/** Blocks whose sums make up a window of any length. */
const BLOCK_S = 0.05
/** The shortest stretch whose noise can be read. */
const NOISE_S_MIN = 1.5

/**
 * Where the tones are loudest against silence, over all inputs together. Amplitudes and no powers are added up: one loud input
 * must not outvote the others, and noise of many must not outvote one that hears.
 *
 * @param windowS shorter than the probe, so that one window at least lies inside it
 * @returns first sample of the window
 */
export function findProbe(
  take: readonly Float32Array[],
  rest: readonly Float32Array[],
  freqHz: readonly number[],
  windowS: number,
  sampleRateHz: number,
): number {
  const blockCount = Math.round(BLOCK_S * sampleRateHz)
  const wide = Math.round(windowS / BLOCK_S)
  const placeCount = Math.max(1, Math.floor(take[0].length / blockCount) - wide + 1)
  const loudness = new Float64Array(placeCount)
  take.forEach((channel, k) => {
    for (const hz of freqHz) {
      const stepRad = (2 * Math.PI * hz) / sampleRateHz
      const sums = windowPowers(channel, stepRad, blockCount, wide)
      const before = windowPowers(rest[k], stepRad, blockCount, wide)
      const restPower = Math.max(1e-18, before.reduce((sum, power) => sum + power, 0) / Math.max(1, before.length))
      for (let i = 0; i < placeCount; i++) loudness[i] += Math.sqrt((sums[i] ?? 0) / restPower)
    }
  })
  return loudness.indexOf(Math.max(...loudness)) * blockCount
}

/**
 * @param rest one channel with nothing played
 * @param take the same channel while the probe was played; the probe sounds all through from first to first + count
 */
export function readInput(
  rest: Float32Array,
  take: Float32Array,
  { first, count }: { readonly first: number; readonly count: number },
  tones: ProbeTones,
  sampleRateHz: number,
): InputReading {
  const probe = take.subarray(first, first + count)
  const silence = rest.subarray(Math.max(0, rest.length - count))
  const read = (freqHz: number): ProbeTone => {
    const tone = readSteadyTone(probe, freqHz, sampleRateHz)
    const before = readSteadyTone(silence, freqHz, sampleRateHz)
    const least = Math.max(HEARD_OVER_NOISE * tone.noiseFs, HEARD_OVER_REST * before.peakFs, PEAK_FS_MIN)
    return { freqHz, peakFs: tone.peakFs, isHeard: tone.peakFs > least }
  }
  const [inRest, inTake] = [inputLevel(rest), inputLevel(take)]
  const stuck = stuckAt(rest, take)
  return {
    floorFs: inRest.levelFs,
    hum: stuck === null ? humOf(rest, sampleRateHz) : null,
    levelFs: inputLevel(probe).levelFs,
    left: tones.leftHz.map(read),
    right: tones.rightHz.map(read),
    clippedCount: inRest.clippedCount + inTake.clippedCount,
    stuck,
    usedBits: stuck === null ? usedBits(rest, take) : null,
  }
}

/** Whether two inputs hold the same samples, which no two converters ever do. Stuck ones say nothing. */
export const areSame = (a: Float32Array, b: Float32Array): boolean =>
  a.length === b.length && a.every((sample, n) => sample === b[n])

function stuckAt(...stretches: readonly Float32Array[]): InputReading['stuck'] {
  const value = stretches[0][0] ?? 0
  if (!stretches.every((samples) => samples.every((sample) => sample === value))) return null
  return value === 0 ? 'zeros' : 'constant'
}

function humOf(rest: Float32Array, sampleRateHz: number): InputReading['hum'] {
  if (rest.length < NOISE_S_MIN * sampleRateHz || rest.every((sample) => sample === rest[0])) return null
  const { hum } = readNoise(rest, sampleRateHz, null)
  return hum && { levelFs: hum.rmsFs, freqHz: hum.freqHz }
}

/** The fewest bits that hold every sample exactly. */
function usedBits(...stretches: readonly Float32Array[]): 16 | 24 | 32 {
  const fits = (bits: number): boolean => {
    const steps = 2 ** (bits - 1)
    return stretches.every((samples) => samples.every((sample) => Number.isInteger(sample * steps)))
  }
  return fits(16) ? 16 : fits(24) ? 24 : 32
}
