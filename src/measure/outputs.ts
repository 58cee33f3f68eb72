/**
 * Figures of every output: from the analyses of all leads, by identity, to volts, decibels and seconds.
 *
 * A lead is judged as the output that it was identified as; that it hangs on the wrong lead is one fault, not ten.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { fullScaleAtLead } from '../rig/rig.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import type { Transfer } from './analysis.js'
import { type BandEdges, bandEdgesOf } from './band-edges.js'
import { magnitudeAt } from './between-points.js'
import { type Polarity, polarityOf, relativeDelay, type Timed } from './delay-figures.js'
import { type DistortionFigures, distortionFigures, NO_DISTORTION } from './distortion-figures.js'
import { type Equaliser, findEqualiser, levelCurveOf } from './equaliser.js'
import type { LevelCurve } from './equaliser-region.js'
import type { Estimate } from './estimate.js'
import { GRID_HZ, gridIndex } from './grid.js'
import { weighted } from './heard.js'
import { type Identity, identify, type LeadFeatures } from './identity.js'
import type { InputAnalysis } from './input-analysis.js'
import { type FoundInterruption, interruptionsOf } from './interruption-figures.js'
import type { LeadData } from './lead.js'
import { type LevelFigures, levelFigures } from './level-figures.js'
import { type FullScale, type NoiseFigures, noiseFigures, QUIET_TONE_HZ } from './noise-figures.js'
import { median, type Passband, passbandOf } from './passband.js'
import { type ResponseCurve, responseOf } from './response.js'
import { NO_RESPONSE, type ResponseFigures, responseFigures } from './response-figures.js'
import { NO_SETTINGS, type SettingsFigures, settingsFigures } from './settings-figures.js'
import { heardBy, type Sides, sidesOf } from './source-sides.js'

export interface OutputMeasures
  extends LevelFigures,
    ResponseFigures,
    NoiseFigures,
    DistortionFigures,
    SettingsFigures {
  readonly lead: LeadData
  readonly identity: Identity
  /** The map entry by which it is judged: the identified one, or its own when it is dead. */
  readonly spec: OutputSpec
  readonly isDead: boolean
  readonly passband: Passband | null
  readonly sides: Sides
  readonly polarity: Polarity | null
  /** Later than the other outputs of its patch, less what the map expects; null where nothing can be compared. */
  readonly delayS: Estimate | null
  readonly response: ResponseCurve | null
  /** Sections and band edges that explain the response; null where it is dead or too little can be read. */
  readonly equaliser: Equaliser | null
  /** What that was found in; and where its band ends. */
  readonly levelCurve: LevelCurve | null
  readonly edges: BandEdges | null
  readonly isClipped: boolean
  readonly interruptions: readonly FoundInterruption[]
}

export function measureOutputs(job: Job, leads: readonly LeadData[]): OutputMeasures[] {
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const features = leads.map((lead) => featuresOf(lead, specOf(lead.outputNumber), job.limits.deadDbBelow))
  const identities = identify(features, job.outputs)
  const interruptions = interruptionsOf(leads, (lead) => features[leads.indexOf(lead)].passband === null)
  const singles = leads.map((lead, i) => {
    const spec = specOf(identities[i].identifiedAs ?? lead.outputNumber)
    return { ...measureOne(lead, identities[i], spec, features[i].passband), interruptions: interruptions.get(lead)! }
  })
  return singles.map((one) => ({ ...one, delayS: relativeDelay(one, singles) }))
}

export function featuresOf(lead: LeadData, own: OutputSpec, deadDbBelow: number): LeadFeatures {
  const { transfer } = lead.analysis
  const fullScaleVrms = fullScaleAtLead(lead.input)
  const magnitudeAt = (from: InputAnalysis, freqHz: number): number => {
    const i = gridIndex(freqHz)
    const { leftRe, leftIm, rightRe, rightIm } = from.transfer
    return Math.hypot(leftRe[i], leftIm[i], rightRe[i], rightIm[i])
  }
  const passband = passbandOf(transfer)
  const faderFront = lead.others.get('fader_front')
  const expectedVrms = own.levelVrms * Math.hypot(own.leftGain, own.rightGain)
  const isDead = passband === null || passband.gain * fullScaleVrms < expectedVrms * ratioFromDb(-deadDbBelow)
  return {
    outputNumber: lead.outputNumber,
    passband: isDead ? null : passband,
    levelDbvAt: (freqHz) => dbFromRatio(Math.max(magnitudeAt(lead.analysis, freqHz), 1e-12) * fullScaleVrms),
    faderDropDb: faderFront && passband && !isDead ? faderDropDb(lead.analysis, faderFront) : null,
  }
}

/** Median over the passband of what the fader took away. */
export function faderDropDb(before: InputAnalysis, after: InputAnalysis): number {
  const power = ({ transfer: t }: InputAnalysis, i: number): number =>
    Math.hypot(t.leftRe[i], t.leftIm[i], t.rightRe[i], t.rightIm[i])
  const largest = Math.max(...GRID_HZ.map((_, i) => power(before, i)))
  const drops: number[] = []
  GRID_HZ.forEach((_, i) => {
    if (power(before, i) > 0.3 * largest) drops.push(dbFromRatio(power(before, i) / Math.max(power(after, i), 1e-12)))
  })
  return median(drops)
}

const NO_EQUALISER = { equaliser: null, levelCurve: null, edges: null } as const

function equaliserFigures(
  transfer: Transfer,
  spec: OutputSpec,
  { leftGain, rightGain }: OutputSpec,
): Pick<OutputMeasures, 'equaliser' | 'levelCurve' | 'edges'> {
  const levelCurve = levelCurveOf(transfer, leftGain, rightGain)
  const equaliser = findEqualiser(levelCurve, spec)
  return { equaliser, levelCurve, edges: bandEdgesOf(levelCurve, equaliser) }
}

/** Peak of a source tone of 0 dBFS on both sides, at the quiet tone's frequency; null where that lies outside its band. */
function quietToneFullScale({ leftGain, rightGain, lowHz, highHz }: OutputSpec, transfer: Transfer): FullScale | null {
  if (leftGain * rightGain < 0 || (lowHz ?? 0) > QUIET_TONE_HZ || (highHz ?? 1e5) < QUIET_TONE_HZ) return null
  return magnitudeAt(weighted(transfer, 1, 1), QUIET_TONE_HZ)
}

type Single = Omit<OutputMeasures, 'delayS' | 'interruptions'> & Timed

function measureOne(lead: LeadData, identity: Identity, spec: OutputSpec, passband: Passband | null): Single {
  const { analysis, input } = lead
  const { transfer } = analysis
  const isDead = passband === null
  const sides = sidesOf(spec, passband)
  const heard = heardBy(spec, sides)
  const hearsLeft = Math.abs(heard.leftGain) >= Math.abs(heard.rightGain)
  const excess = isDead ? null : hearsLeft ? analysis.left : analysis.right
  const polarity = excess && polarityOf(excess, Math.sign(hearsLeft ? heard.leftGain : heard.rightGain))
  return {
    lead,
    identity,
    spec,
    isDead,
    passband,
    sides,
    ...levelFigures(transfer, input, spec, heard, sides, passband),
    ...(isDead ? NO_RESPONSE : responseFigures(transfer, input, spec, heard)),
    polarity,
    response: isDead ? null : responseOf(transfer, heard),
    ...(isDead ? NO_EQUALISER : equaliserFigures(transfer, spec, heard)),
    ...(isDead ? NO_SETTINGS : settingsFigures(lead, heard)),
    ...(isDead ? NO_DISTORTION : distortionFigures(heard, analysis, input)),
    ...noiseFigures(lead, isDead ? null : quietToneFullScale(heard, transfer)),
    isClipped: analysis.clippedSampleCount > 3,
    patchName: lead.patchName,
    excess: polarity?.isSure ? excess : null,
    side: hearsLeft ? 'left' : 'right',
    sweepsApartU: analysis.sweepsApartU,
  }
}
