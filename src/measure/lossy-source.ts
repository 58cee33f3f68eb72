/**
 * Signs that the source came through a lossy coder, and what can then still be said.
 *
 * A coder spends few bits where a loud tone hides the error, so noise gathers about each tone and follows its level, while
 * the quiet tone and the silence stay clean. Many also stop at a steep band limit. A noisy, distorted or muting output
 * does neither: its noise doesn't gather, its distortion stands in lines. Gain that flutters or a clock that jitters does
 * put noise about a tone, but in sidebands that mirror each other. A weak single sign makes the source `unsure`.
 */
import type { Transfer } from './analysis.js'
import { FLOOR_BANDS, mirrorOf, readToneFloor, type ToneFloor } from './tone-floor.js'

export const LOSSY_SOURCE_METHOD = 'signs of a lossy source/1'

export interface UnderTone {
  readonly freqHz: number
  /** All under the steady tone but its harmonics, 20 Hz to 20 kHz (rms, fraction of a full-scale sine's). */
  readonly floorFs: number
  /** How much its noise is above that of the quiet tone: in the tone's own third octave, and an octave or more away (dB). */
  readonly ownRiseDb: number
  readonly farRiseDb: number
  /** The lowest THD of this tone that what lies beside the harmonics lets be seen. */
  readonly thdReachRatio: number
}

export interface LossySource {
  readonly isLossy: 'yes' | 'no' | 'unsure'
  /** In words for the report; empty where there is no sign. */
  readonly because: readonly string[]
  /** Where the response falls off a cliff, if it does. */
  readonly bandLimitHz: number | null
  /** Under 997 Hz, or the tone that is heard: noise and THD of the output are at most what these let be seen. Null where none is. */
  readonly floorUnderToneFs: number | null
  readonly thdReachRatio: number | null
  /** The same for each tone that is heard. */
  readonly under: readonly UnderTone[]
}

/** A steady tone of the track as it was captured. */
export interface SteadyTone {
  readonly freqHz: number
  readonly samples: Float32Array
}

/** The least by which noise rises about a tone to count: the scatter of a band's middle bin is 0.8 dB (two blocks). */
const RISE_DB = 4
/** So much rises about a tone by a coder alone. */
const STRONG_RISE_DB = 10
/** Some resamplers and all converters stop at 20 kHz or above; below that, little but a coder or a lower rate does. */
const ORDINARY_LIMIT_HZ = 19_500
/** The sweep's own end. */
const SWEEP_LIMIT_HZ = 20_800
/** Cliff: this much within an eighth of an octave, out of a band that was flat. A filter of order 8 falls by 6 dB. */
const CLIFF_DB = 12
/** A tone is heard where it stands this far above the noise under it (power). */
const HEARD = 1e4
/** Sidebands mirror each other from here on: noise that is added reaches 0.4 once in a thousand times. */
const MIRRORED = 0.5
/** A coder puts up to 7 times more on harmonics than beside them (Opus at 6.3 kHz; SBC, AAC, MP3 and Vorbis less). */
const REACH_OVER_BESIDE = 8

/**
 * @param quiet the quiet tone (997 Hz at -60 dBFS); loud: the steady tones near full level
 * @param samplesPerS the capture's rate on the player's clock
 * @param transfer of the sweep: a band limit is looked for on the side that is heard best
 * @throws RangeError when a stretch is shorter than about 0.34 s
 */
export function readLossySource(
  quiet: SteadyTone,
  loud: readonly SteadyTone[],
  samplesPerS: number,
  transfer: Transfer,
): LossySource {
  const under = readToneFloor(quiet.samples, quiet.freqHz, samplesPerS)
  const readings = loud
    .map(({ freqHz, samples }) => ({ floor: readToneFloor(samples, freqHz, samplesPerS), samples }))
    .filter(({ floor }) => floor.tonePeakFs ** 2 > HEARD * sumOf(floor.bandPower))
    .map(({ floor, samples }) => ({ ...readingOf(under, floor), samples }))
  // Below the bands there is no telling where noise gathers.
  const witnesses = readings.filter(({ own }) => own !== null)
  const gathered = witnesses
    .filter(({ own, far }) => own! > RISE_DB && own! - far > RISE_DB)
    .filter(({ freqHz, samples }) => mirrorOf(samples, freqHz, samplesPerS) < MIRRORED)
  const isStrong = gathered.some(({ own, far }) => own! > STRONG_RISE_DB && own! - far > RISE_DB)
  const bandLimitHz = bandLimitOf(transfer)
  const isLimited = bandLimitHz !== null && bandLimitHz < ORDINARY_LIMIT_HZ
  const isDropping = gathered.some(({ dropCount }) => dropCount > FLOOR_BANDS.length / 3)

  const signs = [
    ...gathered.map(
      ({ freqHz, own, far }) =>
        `noise about the ${hz(freqHz)} tone is ${own!.toFixed(0)} dB above that of the quiet tone, ` +
        `away from it ${Math.max(0, far).toFixed(0)} dB`,
    ),
    ...(isDropping ? ['away from the tone the noise falls while the tone plays'] : []),
    ...(isLimited ? [`the response ends in a cliff at ${hz(bandLimitHz)}`] : []),
  ]
  const isSure = isStrong || gathered.length > 1 || (gathered.length > 0 && bandLimitHz !== null)
  const canTell = witnesses.length > 0
  const best = readings.find(({ freqHz }) => freqHz === quiet.freqHz) ?? readings[0]
  return {
    isLossy: isSure ? 'yes' : signs.length > 0 || !canTell ? 'unsure' : 'no',
    because:
      signs.length > 0 || canTell ? signs : ['no tone in the middle of the band is heard well enough here to tell'],
    bandLimitHz,
    floorUnderToneFs: best?.floorFs ?? null,
    thdReachRatio: best?.thdReachRatio ?? null,
    under: readings.map(({ freqHz, floorFs, own, far, thdReachRatio }) => ({
      freqHz,
      floorFs,
      ownRiseDb: own ?? 0,
      farRiseDb: far,
      thdReachRatio,
    })),
  }
}

/** What all outputs say of the one source that they share: a sure sign on one is enough. Null where there is none. */
export function commonSource(readings: readonly LossySource[]): LossySource | null {
  const rank = ({ isLossy, bandLimitHz, under }: LossySource): number => {
    if (isLossy === 'yes') return 3
    if (isLossy === 'no') return 1
    return under.some(({ freqHz }) => freqHz > FLOOR_BANDS[0].lowHz) || bandLimitHz !== null ? 2 : 0
  }
  return readings.reduce<LossySource | null>((best, one) => (best && rank(best) >= rank(one) ? best : one), null)
}

const hz = (value: number): string => (value < 1000 ? `${value.toFixed(0)} Hz` : `${(value / 1000).toFixed(1)} kHz`)
const sumOf = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0)

function middleOf(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  return sorted[sorted.length >> 1] ?? 0
}

function readingOf(quiet: ToneFloor, { freqHz, bandPower, restPower, onHarmonicsRatio }: ToneFloor) {
  // Digital silence under the quiet tone is no noise to compare with: 24 bits are the least that anything has.
  const least = 1e-15 / FLOOR_BANDS.length
  const riseDb = bandPower.map((power, k) => 10 * Math.log10((power + least) / (quiet.bandPower[k] + least)))
  const band = FLOOR_BANDS.findIndex(({ lowHz, highHz }) => freqHz >= lowHz && freqHz < highHz)
  const away = riseDb.filter((_, k) => Math.abs(Math.log2(FLOOR_BANDS[k].centreHz / freqHz)) > 1)
  return {
    freqHz,
    floorFs: Math.sqrt(restPower),
    thdReachRatio: REACH_OVER_BESIDE * onHarmonicsRatio,
    /** Rise in the tone's own band; null where there is none. */
    own: band < 0 ? null : riseDb[band],
    far: middleOf(away),
    /** Bands whose noise falls by 6 dB or more. */
    dropCount: riseDb.filter((rise) => rise < -6).length,
  }
}

/** Where the magnitude falls by CLIFF_DB in an eighth of an octave and stays there (6 dB down), above 10 kHz. */
function bandLimitOf(transfer: Transfer): number | null {
  const { freqHz, leftRe, leftIm, rightRe, rightIm } = transfer
  const [left, right] = [
    leftRe.map((re, i) => Math.hypot(re, leftIm[i])),
    rightRe.map((re, i) => Math.hypot(re, rightIm[i])),
  ]
  const sum = (values: Float64Array): number => values.reduce((total, value) => total + value, 0)
  const [magnitude, error] = sum(left) >= sum(right) ? [left, transfer.leftError] : [right, transfer.rightError]
  const db = magnitude.map((value) => 20 * Math.log10(Math.max(value, 1e-12)))
  const perOctave = Math.round(1 / Math.log2(freqHz[1] / freqHz[0]))
  const [eighth, third] = [Math.round(perOctave / 8), Math.round(perOctave / 3)]
  const largest = db.reduce((a, b) => Math.max(a, b), Number.NEGATIVE_INFINITY)
  for (let i = third; i + eighth < db.length; i++) {
    if (freqHz[i] < 10_000 || db[i] < largest - 20 || magnitude[i] < 10 * error[i]) continue
    const before = middleOf([...db.subarray(i - third, i + 1)])
    if (Math.abs(db[i] - before) > 3 || db[i] - db[i + eighth] < CLIFF_DB) continue
    if (db.subarray(i + eighth).some((value) => value > before - CLIFF_DB)) continue
    for (let k = i; k <= i + eighth; k++) {
      if (db[k] < before - 6) return freqHz[k] < SWEEP_LIMIT_HZ ? freqHz[k] : null
    }
  }
  return null
}
