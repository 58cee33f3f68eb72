/**
 * Figures of every output: from the analyses of all leads, by identity, to volts, decibels and seconds.
 *
 * A lead is judged as the output that it was identified as; that it hangs on the wrong lead is one fault, not ten.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { sectionsOf, TONE_PEAK_FS } from '../stimulus/layout.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import type { ExcessPhase, InputAnalysis, NoiseReading, ToneReading } from './analysis.js'
import { dbFromRelative, type Estimate, estimate } from './estimate.js'
import { isSettled } from './excess-phase.js'
import { GRID_HZ, gridIndex } from './grid.js'
import { type Identity, identify, type LeadFeatures } from './identity.js'
import { median, type Passband, passbandOf } from './passband.js'
import { type ResponseCurve, responseOf } from './response.js'

/** One lead of one patch with all that was analysed of it. */
export interface LeadData {
  readonly outputNumber: number
  readonly patchName: string
  readonly inputNumber: number
  readonly input: RigInput
  readonly captureBits: number
  readonly analysis: InputAnalysis
  /** The same lead with the fader to the front, if that take was made. */
  readonly faderFront: InputAnalysis | null
}

export interface Polarity {
  readonly sign: 1 | -1
  readonly confidence: number
  readonly rival: number
  readonly isSure: boolean
}

export interface OutputMeasures {
  readonly lead: LeadData
  readonly identity: Identity
  /** The map entry by which it is judged: the identified one, or its own when it is dead. */
  readonly spec: OutputSpec
  readonly isDead: boolean
  readonly passband: Passband | null
  /** Volts at the reference frequency for 0 dBFS on a side heard with gain 1. */
  readonly levelVrms: Estimate
  /** Left against right where both are heard, else null; dB. */
  readonly sideBalanceDb: Estimate | null
  /** The side that it shouldn't hear against the one that it should, worst in the band; null where it hears both. */
  readonly crosstalkDb: Estimate | null
  /**
   * Which sides: as the map says; both though it should be one; the other one; one of two; or both, in opposition to the
   * map. Level, response and polarity are read from the sides that it does hear: its source is one fault, not four.
   */
  readonly sides: 'as mapped' | 'summed' | 'other side' | 'one side missing' | 'opposed'
  /** Level of the whole passband against the map, dB: not moved by what an equaliser does at the reference frequency. */
  readonly passbandDeviationDb: number
  readonly polarity: Polarity | null
  /** Later than the other outputs of its patch, less what the map expects; null where nothing can be compared. */
  readonly delayS: Estimate | null
  readonly response: ResponseCurve | null
  readonly tone: ToneReading | null
  readonly thdPct: Estimate | null
  readonly thdNPct: Estimate | null
  readonly noiseDbv: Estimate
  readonly noiseADbv: Estimate
  readonly humDbv: Estimate
  /** Noise without the mains series: what is left to say once a hum has been named. */
  readonly noiseButHumDbv: { readonly unweighted: number; readonly aWeighted: number }
  /** The idle reading is far below the one with signal: it mutes itself on silence. */
  readonly isMuting: boolean
  readonly noiseCurve: { readonly freqHz: readonly number[]; readonly levelDbv: readonly number[] }
  readonly noiseLines: readonly { readonly freqHz: number; readonly levelDbv: number; readonly isMains: boolean }[]
  readonly isClipped: boolean
}

/** Both sides within this of each other where one was expected: summed, not leaking. */
const SUMMED_DB = 6

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

type Single = Omit<OutputMeasures, 'delayS'> & { readonly excess: ExcessPhase | null }

function measureOne(lead: LeadData, identity: Identity, spec: OutputSpec, passband: Passband | null): Single {
  const { analysis, input } = lead
  const fullScaleVrms = fullScaleAtLead(input)
  const calibrationU = ratioFromDb(input.levelUncertaintyDb) - 1
  const isDead = passband === null
  const { transfer } = analysis
  const i = gridIndex(spec.referenceHz)
  const [left, right] = [
    Math.hypot(transfer.leftRe[i], transfer.leftIm[i]),
    Math.hypot(transfer.rightRe[i], transfer.rightIm[i]),
  ]
  const sides = sidesOf(spec, passband)
  const heard = heardBy(spec, sides)
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  const hearsLeft = Math.abs(heard.leftGain) >= Math.abs(heard.rightGain)

  // The sides it should hear, each weighted by its share. Where it hears both in place of one, the sum is its level.
  const share = heard.leftGain ** 2 + heard.rightGain ** 2
  const gain =
    sides === 'summed'
      ? (left + right) / Math.max(Math.abs(heard.leftGain), Math.abs(heard.rightGain))
      : (left * Math.abs(heard.leftGain) + right * Math.abs(heard.rightGain)) / share
  const errorRelative = (2 * Math.hypot(transfer.leftError[i], transfer.rightError[i])) / Math.max(left, right, 1e-12)
  const levelVrms = estimate(
    gain * fullScaleVrms,
    gain * fullScaleVrms * Math.hypot(calibrationU, errorRelative),
    'level from sweep/1',
    { freqHz: spec.referenceHz },
  )

  const excess = hearsLeft ? analysis.left : analysis.right
  const gainSign = Math.sign(hearsLeft ? heard.leftGain : heard.rightGain)
  const tone = isDead ? null : toneFor(heard, analysis.tones)
  const dbv = (fs: number): number => dbFromRatio(Math.max(fs, 1e-12) * fullScaleVrms)
  // Where even the quiet tone was muted, what is left of it is no noise.
  const isToneMuted = isQuietToneMuted(analysis)
  const isMuting = isToneMuted || analysis.present.unweightedFs > 3 * analysis.idle.unweightedFs
  const noise = isMuting && !isToneMuted ? analysis.present : analysis.idle
  // An ideal converter's own noise with dither; nearer than 6 dB to it, what is read may be the card's.
  const converterFs = 2 ** -(lead.captureBits - 1) * Math.SQRT1_2
  const noiseEstimate = (fs: number, method: string, relativeU = noise.relativeU): Estimate =>
    estimate(dbv(fs), Math.hypot(input.levelUncertaintyDb, dbFromRelative(2 * relativeU)), method, {
      isAtMost: fs < 2 * converterFs,
    })
  return {
    lead,
    identity,
    spec,
    isDead,
    passband,
    levelVrms,
    sideBalanceDb:
      isDead || !hearsBoth
        ? null
        : estimate(
            dbFromRatio(left / Math.abs(spec.leftGain) / Math.max(right / Math.abs(spec.rightGain), 1e-12)),
            dbFromRelative(errorRelative),
            'side balance/1',
            { freqHz: spec.referenceHz },
          ),
    crosstalkDb: isDead || hearsBoth ? null : crosstalkOf(analysis, Math.abs(spec.leftGain) > Math.abs(spec.rightGain)),
    sides,
    passbandDeviationDb: passband
      ? dbFromRatio((passband.gain * fullScaleVrms) / (spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain)))
      : Number.NEGATIVE_INFINITY,
    polarity: excess && !isDead ? polarityOf(excess, gainSign) : null,
    response: isDead ? null : responseOf(transfer, heard),
    tone,
    thdPct: tone && thdOf(tone),
    thdNPct:
      tone &&
      estimate(100 * tone.thdNRatio, 2 * tone.thdNRatio, 'thd+n over total, bins removed/1', { freqHz: tone.freqHz }),
    noiseDbv: noiseEstimate(noise.unweightedFs, 'noise 20 Hz to 20 kHz/1'),
    noiseADbv: noiseEstimate(noise.aWeightedFs, 'noise A-weighted/1'),
    humDbv: noise.hum
      ? noiseEstimate(noise.hum.rmsFs, `hum, multiples of ${noise.hum.freqHz} Hz/1`, noise.hum.relativeU)
      : estimate(dbv(noise.humFloorFs), input.levelUncertaintyDb, 'hum, multiples of 50 or 60 Hz/1', {
          isAtMost: true,
        }),
    noiseButHumDbv: {
      unweighted: dbv(Math.sqrt(Math.max(0, noise.unweightedFs ** 2 - (noise.hum?.rmsFs ?? 0) ** 2))),
      aWeighted: dbv(Math.sqrt(Math.max(0, noise.aWeightedFs ** 2 - (noise.hum?.aWeightedFs ?? 0) ** 2))),
    },
    isMuting,
    noiseCurve: { freqHz: noise.bandHz, levelDbv: noise.bandFs.map(dbv) },
    noiseLines: linesOf(noise, dbv),
    isClipped: analysis.clippedSampleCount > 3,
    excess,
  }
}

/** The quiet tone against the steady one of the same frequency: it should be 57 dB lower, and not less than that. */
function isQuietToneMuted({ tones, present }: InputAnalysis): boolean {
  const steady = tones.find(({ freqHz }) => freqHz === QUIET_TONE.freqHz)
  if (!steady || present.tonePeakFs === null) return false
  const expectedFs = steady.peakFs * (QUIET_TONE.peakFs / TONE_PEAK_FS)
  return expectedFs > 30 * present.humFloorFs && present.tonePeakFs < 0.7 * expectedFs
}

const QUIET_TONE = sectionsOf().find(({ kind }) => kind === 'quiet_tone')!.tones[0]

function sidesOf(spec: OutputSpec, passband: Passband | null): OutputMeasures['sides'] {
  if (passband === null) return 'as mapped'
  const ratioDb = dbFromRatio(Math.tan(Math.min(Math.max(passband.sideRad, 1e-6), Math.PI / 2 - 1e-6)))
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  if (!hearsBoth) {
    if (Math.abs(ratioDb) < SUMMED_DB) return 'summed'
    return ratioDb > 0 === (spec.rightGain !== 0) ? 'as mapped' : 'other side'
  }
  const expectedDb = dbFromRatio(Math.abs(spec.rightGain / spec.leftGain))
  if (Math.abs(ratioDb - expectedDb) > 20) return 'one side missing'
  return passband.sidePhase * spec.leftGain * spec.rightGain < 0 ? 'opposed' : 'as mapped'
}

/** The map entry with the sides as the output does hear them. */
function heardBy(spec: OutputSpec, sides: OutputMeasures['sides']): OutputSpec {
  if (sides === 'other side') return { ...spec, leftGain: spec.rightGain, rightGain: spec.leftGain }
  return sides === 'opposed' ? { ...spec, rightGain: -spec.rightGain } : spec
}

function polarityOf(excess: ExcessPhase, gainSign: number): Polarity {
  const { confidence, rival } = excess
  return {
    sign: excess.sign * gainSign > 0 ? 1 : -1,
    confidence,
    rival,
    isSure: isSettled(excess),
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
  const u = dbFromRelative((2 * Math.sqrt(errorRatio)) / Math.sqrt(ratio))
  return estimate(10 * Math.log10(ratio), u, 'crosstalk from sweep, third octaves/1', { isAtMost: !clear, freqHz })
}

/** The steady tone that stands deepest inside the output's band, in octaves from its nearer edge. */
function toneFor(spec: OutputSpec, tones: readonly ToneReading[]): ToneReading | null {
  // An output that hears the sides in opposition gets nothing from a tone that is alike on both.
  if (spec.leftGain * spec.rightGain < 0) return null
  const depth = ({ freqHz }: ToneReading): number =>
    Math.min(Math.log2(freqHz / (spec.lowHz ?? 20)), Math.log2((spec.highHz ?? 20_000) / freqHz))
  // A tone that hardly comes through, because the band is another than the map says, tells of noise only.
  const strongest = Math.max(...tones.map(({ peakFs }) => peakFs))
  const [best] = tones.filter(({ peakFs }) => peakFs > 0.1 * strongest).sort((a, b) => depth(b) - depth(a))
  return depth(best) > 0 ? best : null
}

function thdOf(tone: ToneReading): Estimate {
  const { thdRatio, thdRatioFloor, freqHz, harmonicsFs } = tone
  return estimate(
    100 * thdRatio,
    100 * Math.hypot(0.02 * thdRatio, 2 * thdRatioFloor),
    `thd over the fundamental, orders 2 to ${harmonicsFs.length + 1}/1`,
    { isAtMost: thdRatio < 2 * thdRatioFloor, freqHz },
  )
}

function linesOf(noise: NoiseReading, dbv: (fs: number) => number): OutputMeasures['noiseLines'] {
  const mains = noise.hum ? [{ freqHz: noise.hum.lineHz[0], levelDbv: dbv(noise.hum.rmsFs), isMains: true }] : []
  return [...mains, ...noise.lines.map(({ freqHz, rmsFs }) => ({ freqHz, levelDbv: dbv(rmsFs), isMains: false }))]
}

/** Delay against the other outputs of the same patch, each less what the map expects. */
function relativeDelay(one: Single, all: readonly Single[]): Estimate | null {
  const late = ({ excess, spec }: Single): number => excess!.delayS - spec.delayS
  const peers = all.filter(
    (other) =>
      other.lead.patchName === one.lead.patchName && other.excess && !other.isDead && other.polarity?.isSure === true,
  )
  if (!one.excess || !peers.includes(one) || peers.length < 2) return null
  // Of two, the earlier one sets the time; of more, the middle one.
  const reference = peers.length === 2 ? Math.min(...peers.map(late)) : median(peers.map(late))
  return estimate(late(one) - reference, one.excess.delayU, 'excess delay in its patch/1')
}
