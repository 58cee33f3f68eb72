/**
 * What one lead tells of its output when no map says what to expect: sides, band, level, sign, time, fader.
 *
 * Gains of the sides add up to 1 (1 and 0, 0.5 and 0.5), and the level is for a side heard with gain 1, as in a channel map.
 * Uncertainties are expanded ones (k = 2).
 */
import { cornersOf } from '../job/crossover.js'
import type { BandShape, OutputSpec } from '../job/job.js'
import { defaultReferenceHz } from '../job/parse.js'
import { fullScaleAtLead } from '../rig/rig.js'
import { vrms } from '../units/level.js'
import type { ExcessPhase } from './analysis.js'
import { type BandEdge, bandEdgesOf } from './band-edges.js'
import { magnitudeAt } from './between-points.js'
import { type FoundEdge, findEqualiser, levelCurveOf } from './equaliser.js'
import { COVERAGE_FACTOR, type Estimate } from './estimate.js'
import { isSettled } from './excess-phase.js'
import { weighted } from './heard.js'
import type { LeadData } from './lead.js'
import { levelFigures } from './level-figures.js'
import { faderDropDb } from './outputs.js'
import { type Passband, passbandOf } from './passband.js'

export const BLIND_METHOD = 'output without a map/1'

/** A side this far below the other one is crosstalk, not a share of the map. Common practice, no source. */
const SHARE_MIN = 0.1
/** Both sides as good as alike: the left one counts as the first. */
const ALIKE = 0.9
/** Nearer to the ends of the audio band it is coupling and converters that end a response, as for a passband. */
const AUDIO_HZ = { low: 24, high: 17_500 } as const
/** A fader turned to the front takes this much off what belongs to the rear. */
export const FADER_DROP_DB = 12

export interface BlindEdge {
  /** Where it is 3.01 dB down. */
  readonly hz: number
  readonly u: number
  /** The same edge as its family of filters names it: Linkwitz-Riley corners are where it is 6 dB down. */
  readonly namedHz: number
  /** null where the response does not go far enough down. */
  readonly slopeDbPerOctave: number | null
  /** null where no family of filters follows it. */
  readonly shape: BandShape | null
}

export interface BlindOutput {
  readonly lead: LeadData
  readonly passband: Passband
  readonly leftGain: number
  readonly rightGain: number
  /** Of either gain: they add up to 1. */
  readonly gainU: number
  readonly low: BlindEdge | null
  readonly high: BlindEdge | null
  /** Sign against the source; null where it is not settled. */
  readonly sign: 1 | -1 | null
  /** Where the sign is settled: its delay against the located start of the take, from the sweep of this side. */
  readonly excess: ExcessPhase | null
  readonly side: 'left' | 'right'
  /** What the fader turned to the front takes off; null where no such take was made. */
  readonly faderDropDb: number | null
}

/** @returns null where nothing comes out of it */
export function blindOutput(lead: LeadData): BlindOutput | null {
  const { transfer, left, right } = lead.analysis
  const passband = passbandOf(transfer)
  if (passband === null) return null
  const gains = gainsOf(lead, passband)
  const curve = levelCurveOf(transfer, gains.leftGain, gains.rightGain)
  const equaliser = findEqualiser(curve, passband)
  const edges = bandEdgesOf(curve, equaliser)
  const side = Math.abs(gains.leftGain) >= ALIKE * Math.abs(gains.rightGain) ? 'left' : 'right'
  const excess = side === 'left' ? left : right
  const isSure = excess !== null && isSettled(excess)
  const faderFront = lead.others.get('fader_front')
  return {
    lead,
    passband,
    ...gains,
    low: edgeOf(edges.low, equaliser?.lowEdge ?? null),
    high: edgeOf(edges.high, equaliser?.highEdge ?? null),
    sign: isSure ? excess.sign : null,
    excess: isSure ? excess : null,
    side,
    faderDropDb: faderFront ? faderDropDb(lead.analysis, faderFront) : null,
  }
}

/** The stronger side is heard with a positive gain: what is turned as a whole is polarity. */
function gainsOf(
  { analysis: { transfer } }: LeadData,
  passband: Passband,
): Pick<BlindOutput, 'leftGain' | 'rightGain' | 'gainU'> {
  const referenceHz = defaultReferenceHz(passband.lowHz, passband.highHz)
  const [atLeft, atRight] = [weighted(transfer, 1, 0), weighted(transfer, 0, 1)].map((one) =>
    magnitudeAt(one, referenceHz),
  )
  const [left, right] = [atLeft.magnitude, atRight.magnitude]
  if (right < SHARE_MIN * left) return { leftGain: 1, rightGain: 0, gainU: 0 }
  if (left < SHARE_MIN * right) return { leftGain: 0, rightGain: 1, gainU: 0 }
  const [l, r] = [left / (left + right), right / (left + right)]
  const weaker = passband.sidePhase < 0 ? -1 : 1
  const isLeftFirst = l >= ALIKE * r
  return {
    leftGain: isLeftFirst ? l : weaker * l,
    rightGain: isLeftFirst ? weaker * r : r,
    // l = L / (L + R): dl = l r (dL / L - dR / R)
    gainU: COVERAGE_FACTOR * l * r * Math.hypot(atLeft.relativeU, atRight.relativeU),
  }
}

function edgeOf(edge: BandEdge | null, fitted: FoundEdge | null): BlindEdge | null {
  if (!edge || edge.cornerHz < AUDIO_HZ.low || edge.cornerHz > AUDIO_HZ.high) return null
  const isKnown = edge.isFromFit && fitted !== null
  return {
    hz: edge.cornerHz,
    u: COVERAGE_FACTOR * edge.cornerHzU,
    namedHz: isKnown ? fitted.cornerHz : edge.cornerHz,
    slopeDbPerOctave: edge.slopeDbPerOctave,
    shape: isKnown ? (fitted.isSquared ? 'linkwitz_riley' : 'butterworth') : null,
  }
}

/** An edge as slopes of a shape name it: from its family where that is the same, else from where it is 3 dB down. */
export function namedIn(edge: BlindEdge, side: 'low' | 'high', shape: BandShape): number {
  if (edge.shape === shape) return edge.namedHz
  const ratio = cornersOf({ shape, lowHz: 1, highHz: null }).lowHz!
  return side === 'low' ? edge.hz / ratio : edge.hz * ratio
}

/** A map entry that asks for nothing but a level of 1 V: what figures of a lead need to know of its output. */
export const blindSpec = (
  { lead, leftGain, rightGain, low, high }: BlindOutput,
  referenceHz = defaultReferenceHz(low?.hz ?? null, high?.hz ?? null),
): OutputSpec => ({
  number: lead.outputNumber,
  label: '',
  leftGain,
  rightGain,
  lowHz: low?.hz ?? null,
  highHz: high?.hz ?? null,
  crossover: { shape: 'butterworth', lowHz: low?.hz ?? null, highHz: high?.hz ?? null },
  levelVrms: vrms(1),
  levelToleranceDb: 0,
  polarity: 1,
  faderGroup: 'none',
  delayS: 0,
  pair: null,
  referenceHz,
})

/** Level (dBV) for 0 dBFS on a side heard with gain 1, with its budget. */
export function blindLevel(output: BlindOutput, referenceHz?: number): Estimate {
  const spec = blindSpec(output, referenceHz)
  const { transfer } = output.lead.analysis
  return levelFigures(transfer, output.lead.input, spec, spec, 'as mapped', output.passband).deviationDb
}

/** Level (V) of the whole passband on both sides: what tells an output from leakage and noise. */
export const passbandVrms = ({ lead, passband }: BlindOutput): number => passband.gain * fullScaleAtLead(lead.input)

/** One later than the other, with its expanded uncertainty; sweeps of two sides have the clock between them. */
export function delayBetween(one: BlindOutput, other: BlindOutput): { readonly delayS: number; readonly u: number } {
  if (one === other) return { delayS: 0, u: 0 }
  const clockU =
    one.side === other.side
      ? 0
      : COVERAGE_FACTOR * Math.max(one.lead.analysis.sweepsApartU, other.lead.analysis.sweepsApartU)
  return {
    delayS: one.excess!.delayS - other.excess!.delayS,
    u: Math.hypot(one.excess!.delayU, other.excess!.delayU, clockU),
  }
}

/**
 * Sign that most outputs have together: a path that turns all of them says nothing of any.
 *
 * @param signs against the source, or against what a map expects; null where not settled
 * @returns 1 where as many are turned as not and the first is not
 */
export function commonSign(signs: readonly (1 | -1 | null)[]): 1 | -1 {
  const known = signs.filter((sign) => sign !== null)
  const sum = known.reduce<number>((total, sign) => total + sign, 0)
  return sum === 0 ? (known[0] ?? 1) : sum > 0 ? 1 : -1
}
