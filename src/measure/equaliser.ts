/**
 * Equalisation found: the fewest peaking and shelving sections that explain an output's deviation from flat.
 *
 * Sections are those of the W3C Audio EQ Cookbook at the rate at which the vehicle's own processing is taken to run. Uncertainties
 * are standard ones (k = 1) of the random part, and of what the fit leaves.
 */
import { type BiquadCoefficients, type EqSection, sectionCoefficients, undoing } from '../dsp/cookbook.js'
import { DB_PER_NEPER } from '../units/level.js'
import type { Transfer } from './analysis.js'
import { type EdgeFilter, halfPowerHz } from './edge-filters.js'
import { startsFor } from './equaliser-edges.js'
import {
  type Chain,
  type Fitted,
  fitted,
  inverseOf,
  placeOf,
  productsOf,
  residualOf,
  sizeOf,
  weightedSlopes,
} from './equaliser-fit.js'
import { type LevelCurve, type Region, regionOf } from './equaliser-region.js'
import { searched } from './equaliser-search.js'
import { RESPONSE_WINDOW_SQUARE_S } from './response-window.js'

export const EQUALISER_METHOD = 'equalisation, fewest cookbook sections/1'

export interface FoundSection extends EqSection {
  readonly gainDbU: number
  readonly freqHzU: number
  readonly qU: number
  /** The same section with its gain negated, which undoes it exactly at the same rate. */
  readonly undo: EqSection
}

export interface FoundEdge extends EdgeFilter {
  /** The parameter of its family: -3.01 dB for Butterworth, -6.02 dB for Linkwitz-Riley. */
  readonly cornerHz: number
  /** Where it is 3.01 dB down; outside of the audio band it is carried on from what is seen inside. */
  readonly halfPowerHz: number
  readonly halfPowerHzU: number
}

export interface Equaliser {
  /** False where no few sections follow the curve: then none are listed, and the residual is all of the deviation. */
  readonly isExplained: boolean
  /** By frequency. A shelf is named low or high by where it leaves the larger part of the band alone. */
  readonly sections: readonly FoundSection[]
  readonly lowEdge: FoundEdge | null
  readonly highEdge: FoundEdge | null
  /** Level without sections and edges, in the curve's dB. */
  readonly levelDb: number
  /** What is left in the band when sections, edges and level are taken off: noise included. */
  readonly residualDb: { readonly worst: number; readonly rms: number }
  /** What was looked at. */
  readonly fromHz: number
  readonly toHz: number
}

/** The audio band, where nothing limits an output. */
const AUDIO_HZ = { low: 20, high: 20_000 } as const
/** Left over beyond noise: more, and the sections are not what is there. */
const EXPLAINED_DB = { rms: 0.1, worst: 0.5 } as const
/** Sections that leave more than this share of the deviation do not say what is there. */
const WORTHWHILE = 0.3
/** No model of a real output is better than this, however small the noise. */
const MODEL_DB = 0.005
/** What a model leaves is alike over about a sixth of an octave. */
const MODEL_ERROR_POINTS = 8
/** The curve of an output from its response to both sides, as it hears them. */
export function levelCurveOf(transfer: Transfer, leftGain: number, rightGain: number): LevelCurve {
  const { freqHz, leftRe, leftIm, rightRe, rightIm, leftError, rightError } = transfer
  const size = freqHz.map((_, i) =>
    Math.hypot(leftRe[i] * leftGain + rightRe[i] * rightGain, leftIm[i] * leftGain + rightIm[i] * rightGain),
  )
  return {
    freqHz,
    levelDb: size.map((value) => 20 * Math.log10(value)),
    // Of a complex error only the half along the value moves its size.
    uDb: size.map(
      (value, i) =>
        (DB_PER_NEPER * Math.SQRT1_2 * Math.hypot(leftError[i] * leftGain, rightError[i] * rightGain)) / value,
    ),
    noiseWidthHz: 1 / RESPONSE_WINDOW_SQUARE_S,
  }
}

/**
 * @param band corners that the channel map expects; null where nothing limits the output. They say where to expect an
 *   edge, the curve says where it is
 * @param sampleRateHz at which the vehicle's processing is taken to run
 * @returns null where less than an octave of the curve can be read
 */
export function findEqualiser(
  curve: LevelCurve,
  band: { readonly lowHz: number | null; readonly highHz: number | null },
  sampleRateHz = 48_000,
): Equaliser | null {
  const region = regionOf(curve, sampleRateHz)
  if (!region) return null
  const { data, referenceDb, endsBelow, ownNoise } = region
  const starts = startsFor(data, referenceDb, {
    low: endsBelow.low || band.lowHz !== null,
    high: endsBelow.high || band.highHz !== null,
  })
  const noiseMisfit = ownNoise.reduce((sum, variance, i) => sum + variance * data.rootWeight[i] ** 2, 0)
  return resultOf(polished(searched(starts, data, noiseMisfit), region), region)
}

/** The last fit, with weights that go down to what noise allows: the search's are wider, to see no ghosts. */
function polished(best: Fitted, { data, noise }: Region): Fitted {
  const rootWeight = data.rootWeight.map((value, i) => 1 / Math.hypot(Math.sqrt(noise[i]), POLISH / value))
  return fitted(best, { ...data, rootWeight }, 60)
}

/** Share of the search's deviations that is kept in the last fit. */
const POLISH = 0.1

function resultOf(best: Fitted, region: Region): Equaliser {
  const { data } = region
  const { freqHz } = data
  const variances = variancesOf(best, region)
  const left = leftOver(best, region)
  const edgeAt = (side: 'low' | 'high'): FoundEdge | null => {
    const k = best.parts.findIndex((part) => part.kind === 'edge' && part.edge.side === side)
    const part = best.parts[k]
    if (part?.kind !== 'edge') return null
    const at = placeOf(best, k)
    const cornerHz = Math.exp(best.values[at])
    const hz = halfPowerHz(part.edge, cornerHz, data.sampleRateHz)
    return { ...part.edge, cornerHz, halfPowerHz: hz, halfPowerHzU: hz * Math.sqrt(variances[at]) }
  }
  const [lowEdge, highEdge] = [edgeAt('low'), edgeAt('high')]
  const bandHz = [
    Math.max(AUDIO_HZ.low, lowEdge?.halfPowerHz ?? 0),
    Math.min(AUDIO_HZ.high, highEdge?.halfPowerHz ?? AUDIO_HZ.high),
  ]
  const middleHz = Math.sqrt(bandHz[0] * bandHz[1])
  const shared = { lowEdge, highEdge, fromHz: freqHz[0], toHz: freqHz[freqHz.length - 1] }
  const bare = withoutSections(best, region)
  const bareLeft = leftOver(bare, region)
  if (!left.isExplained || left.excess > WORTHWHILE * bareLeft.excess) {
    const residualDb = { worst: bareLeft.worst, rms: bareLeft.rms }
    return { ...shared, isExplained: bareLeft.isExplained, sections: [], levelDb: bare.values[0], residualDb }
  }
  let levelDb = best.values[0]
  const sections = best.parts.flatMap((part, k): FoundSection[] => {
    if (part.kind === 'edge') return []
    const at = placeOf(best, k)
    const [gainDb, hz, q] = [best.values[at], Math.exp(best.values[at + 1]), Math.exp(best.values[at + 2])]
    const isHighShelf = part.kind === 'low_shelf' && hz > middleHz
    if (isHighShelf) levelDb += gainDb
    const section: EqSection = {
      kind: isHighShelf ? 'high_shelf' : part.kind,
      gainDb: isHighShelf ? -gainDb : gainDb,
      freqHz: hz,
      q,
    }
    const [gainDbU, lnFreqU, lnQU] = [at, at + 1, at + 2].map((place) => Math.sqrt(variances[place]))
    return [{ ...section, gainDbU, freqHzU: hz * lnFreqU, qU: q * lnQU, undo: undoing(section) }]
  })
  sections.sort((a, b) => a.freqHz - b.freqHz)
  return { ...shared, isExplained: true, sections, levelDb, residualDb: { worst: left.worst, rms: left.rms } }
}

/** The chain's edges with nothing else, and the level that suits them. */
function withoutSections(chain: Chain, region: Region): Chain {
  const kept = [...chain.parts.keys()].filter((k) => chain.parts[k].kind === 'edge')
  const edges: Chain = {
    parts: kept.map((k) => chain.parts[k]),
    values: [
      0,
      ...kept.flatMap((k) => chain.values.slice(placeOf(chain, k), placeOf(chain, k) + sizeOf(chain.parts[k]))),
    ],
  }
  const residual = residualOf(edges, region.data)
  const inBand = residual.filter((_, i) => region.isInBand(i))
  const mean = inBand.reduce((sum, value) => sum + value, 0) / inBand.length
  return { parts: edges.parts, values: [mean, ...edges.values.slice(1)] }
}

interface LeftOver {
  readonly worst: number
  readonly rms: number
  /** Rms beyond what noise may be: its expected power, and three times what that scatters by. */
  readonly excess: number
  readonly isExplained: boolean
}

function leftOver(chain: Chain, region: Region): LeftOver {
  const residual = residualOf(chain, region.data)
  let [squares, noise, scatter, count, worst, worstExcess] = [0, 0, 0, 0, 0, 0]
  for (let i = 0; i < residual.length; i++) {
    if (!region.isInBand(i)) continue
    const size = Math.abs(residual[i])
    squares += size * size
    noise += region.ownNoise[i]
    scatter += 2 * region.ownNoise[i] * region.noise[i]
    count++
    worst = Math.max(worst, size)
    worstExcess = Math.max(worstExcess, size - 4 * Math.sqrt(region.ownNoise[i]))
  }
  const excess = Math.sqrt(Math.max(0, squares - noise - 3 * Math.sqrt(scatter)) / count)
  const isExplained = excess <= EXPLAINED_DB.rms && worstExcess <= EXPLAINED_DB.worst
  return { worst, rms: Math.sqrt(squares / count), excess, isExplained }
}

/**
 * Variances of all parameters: the fit's weights are one thing, what the points really scatter by is another (a sandwich
 * of one between the other). What is left beyond noise counts as an error of the model.
 * Source: P. J. Huber, Proc. 5th Berkeley Symp. 1, 221 (1967).
 */
function variancesOf(chain: Chain, { data, noise, ownNoise }: Region): Float64Array {
  const size = chain.values.length
  const count = data.levelDb.length
  const residual = residualOf(chain, data)
  let [seen, expected, weights, independent] = [0, 0, 0, 0]
  for (let i = 0; i < count; i++) {
    const weight = data.rootWeight[i] ** 2
    seen += weight * residual[i] ** 2
    expected += weight * ownNoise[i]
    weights += weight
    independent += ownNoise[i] / Math.max(noise[i], Number.MIN_VALUE)
  }
  const degrees = Math.max(1, independent - size)
  // Twice what the sum scatters by itself is still noise.
  const modelError = Math.max(MODEL_DB ** 2, (seen - expected * (1 + 2 * Math.sqrt(2 / degrees))) / weights)
  const slopes = weightedSlopes(chain, data)
  const bread = inverseOf(productsOf(slopes), size)
  for (const slope of slopes) {
    for (let i = 0; i < count; i++) {
      slope[i] *= data.rootWeight[i] * Math.sqrt(noise[i] + MODEL_ERROR_POINTS * modelError)
    }
  }
  const filling = productsOf(slopes)
  return Float64Array.from({ length: size }, (_, k) => {
    let sum = 0
    for (let m = 0; m < size; m++) {
      for (let n = 0; n < size; n++) sum += bread[k * size + m] * filling[m * size + n] * bread[n * size + k]
    }
    return sum
  })
}

/** Coefficients of the sections that undo what was found, for a processor that runs at a rate. */
export const undoCoefficients = (sections: readonly FoundSection[], sampleRateHz: number): BiquadCoefficients[] =>
  sections.map(({ undo }) => sectionCoefficients(undo, sampleRateHz))
