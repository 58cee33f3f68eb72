/**
 * Figures of every output: from the analyses of all leads, by identity, to volts, decibels and seconds.
 *
 * A lead is judged as the output that it was identified as; that it hangs on the wrong lead is one fault, not ten.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { fullScaleAtLead } from '../rig/rig.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import type { InputAnalysis } from './analysis.js'
import { type Polarity, polarityOf, relativeDelay, type Timed } from './delay-figures.js'
import { type DistortionFigures, distortionFigures, NO_DISTORTION } from './distortion-figures.js'
import { dbFromRelative, type Estimate, estimate } from './estimate.js'
import { GRID_HZ, gridIndex } from './grid.js'
import { type Identity, identify, type LeadFeatures } from './identity.js'
import type { LeadData } from './lead.js'
import { type LevelFigures, levelFigures } from './level-figures.js'
import { type NoiseFigures, noiseFigures } from './noise-figures.js'
import { median, type Passband, passbandOf } from './passband.js'
import { type ResponseCurve, responseOf } from './response.js'
import { heardBy, type Sides, sidesOf } from './source-sides.js'

export interface OutputMeasures extends LevelFigures, NoiseFigures, DistortionFigures {
  readonly lead: LeadData
  readonly identity: Identity
  /** The map entry by which it is judged: the identified one, or its own when it is dead. */
  readonly spec: OutputSpec
  readonly isDead: boolean
  readonly passband: Passband | null
  readonly sides: Sides
  /** The side that it shouldn't hear against the one that it should, worst in the band; null where it hears both. */
  readonly crosstalkDb: Estimate | null
  readonly polarity: Polarity | null
  /** Later than the other outputs of its patch, less what the map expects; null where nothing can be compared. */
  readonly delayS: Estimate | null
  readonly response: ResponseCurve | null
  readonly isClipped: boolean
}

export function measureOutputs(job: Job, leads: readonly LeadData[]): OutputMeasures[] {
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const features = leads.map((lead) => featuresOf(lead, specOf(lead.outputNumber), job.limits.deadDbBelow))
  const identities = identify(features, job.outputs)
  const singles = leads.map((lead, i) => {
    const spec = specOf(identities[i].identifiedAs ?? lead.outputNumber)
    return measureOne(lead, identities[i], spec, features[i].passband)
  })
  return singles.map((one) => ({ ...one, delayS: relativeDelay(one, singles) }))
}

function featuresOf(lead: LeadData, own: OutputSpec, deadDbBelow: number): LeadFeatures {
  const { transfer } = lead.analysis
  const fullScaleVrms = fullScaleAtLead(lead.input)
  const magnitudeAt = (from: InputAnalysis, freqHz: number): number => {
    const i = gridIndex(freqHz)
    const { leftRe, leftIm, rightRe, rightIm } = from.transfer
    return Math.hypot(leftRe[i], leftIm[i], rightRe[i], rightIm[i])
  }
  const passband = passbandOf(transfer)
  const expectedVrms = own.levelVrms * Math.hypot(own.leftGain, own.rightGain)
  const isDead = passband === null || passband.gain * fullScaleVrms < expectedVrms * ratioFromDb(-deadDbBelow)
  return {
    outputNumber: lead.outputNumber,
    passband: isDead ? null : passband,
    levelDbvAt: (freqHz) => dbFromRatio(Math.max(magnitudeAt(lead.analysis, freqHz), 1e-12) * fullScaleVrms),
    faderDropDb: lead.faderFront && passband && !isDead ? faderDropDb(lead.analysis, lead.faderFront) : null,
  }
}

/** Median over the passband of what the fader took away. */
function faderDropDb(before: InputAnalysis, after: InputAnalysis): number {
  const power = ({ transfer: t }: InputAnalysis, i: number): number =>
    Math.hypot(t.leftRe[i], t.leftIm[i], t.rightRe[i], t.rightIm[i])
  const largest = Math.max(...GRID_HZ.map((_, i) => power(before, i)))
  const drops: number[] = []
  GRID_HZ.forEach((_, i) => {
    if (power(before, i) > 0.3 * largest) drops.push(dbFromRatio(power(before, i) / Math.max(power(after, i), 1e-12)))
  })
  return median(drops)
}

type Single = Omit<OutputMeasures, 'delayS'> & Timed

function measureOne(lead: LeadData, identity: Identity, spec: OutputSpec, passband: Passband | null): Single {
  const { analysis, input } = lead
  const { transfer } = analysis
  const isDead = passband === null
  const sides = sidesOf(spec, passband)
  const heard = heardBy(spec, sides)
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
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
    crosstalkDb: isDead || hearsBoth ? null : crosstalkOf(analysis, Math.abs(spec.leftGain) > Math.abs(spec.rightGain)),
    polarity,
    response: isDead ? null : responseOf(transfer, heard),
    ...(isDead ? NO_DISTORTION : distortionFigures(heard, analysis.tones)),
    ...noiseFigures(lead),
    isClipped: analysis.clippedSampleCount > 3,
    patchName: lead.patchName,
    excess: polarity?.isSure ? excess : null,
  }
}

/**
 * Power of the wrong side over power of the right one in third octaves of the passband: the worst that stands clear of the
 * noise. Where none does, the middle one says what it is at most; a hum in one band is no crosstalk.
 */
function crosstalkOf(analysis: InputAnalysis, hearsLeft: boolean): Estimate | null {
  const t = analysis.transfer
  const [re, im, otherRe, otherIm, error] = hearsLeft
    ? [t.leftRe, t.leftIm, t.rightRe, t.rightIm, t.rightError]
    : [t.rightRe, t.rightIm, t.leftRe, t.leftIm, t.leftError]
  const largest = Math.max(...re.map((value, i) => Math.hypot(value, im[i])))
  const bands: { ratio: number; errorRatio: number; freqHz: number }[] = []
  for (let i = gridIndex(20); i + 16 <= gridIndex(20_000); i += 8) {
    let [own, other, noise] = [0, 0, 0]
    for (let k = i; k < i + 16; k++) {
      own += re[k] ** 2 + im[k] ** 2
      other += otherRe[k] ** 2 + otherIm[k] ** 2
      noise += error[k] ** 2
    }
    if (own / 16 > (0.5 * largest) ** 2)
      bands.push({ ratio: other / own, errorRatio: noise / own, freqHz: GRID_HZ[i + 8] })
  }
  if (bands.length === 0) return null
  bands.sort((a, b) => b.ratio - a.ratio)
  const clear = bands.find(({ ratio, errorRatio }) => ratio > 4 * errorRatio)
  const { ratio, errorRatio, freqHz } = clear ?? bands[bands.length >> 1]
  const noise = dbFromRelative(Math.sqrt(errorRatio / ratio))
  return estimate(10 * Math.log10(ratio), { noise }, 'crosstalk from sweep, third octaves/1', {
    isAtMost: !clear,
    freqHz,
  })
}
