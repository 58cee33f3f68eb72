/** Distortion of an output: from the steady tone that fits its band, the two-tone sections and the staircase. */
import type { OutputSpec } from '../job/job.js'
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import type { ToneReading } from './analysis.js'
import { dbFromRelative, type Estimate, estimate, relativeFromDb } from './estimate.js'
import type { InputAnalysis } from './input-analysis.js'
import { DIFFERENCE_METHOD, type Intermodulation, MODULATION_METHOD } from './intermodulation.js'
import { GAIN_CHANGE_METHOD } from './limiting.js'
import { besideOwnRatio, calibrationBudget } from './rig-reach.js'
import { STAIRCASE_METHOD, type StaircaseReading } from './staircase.js'

export interface DistortionFigures {
  readonly tone: ToneReading | null
  readonly thdPct: Estimate | null
  /** Over the total in place of the fundamental (IEC 60268-3). */
  readonly thdOfTotalPct: Estimate | null
  readonly thdNPct: Estimate | null
  readonly sinadDb: Estimate | null
  /** Each harmonic against the fundamental, dB; order 2 first. */
  readonly harmonicsDb: readonly Estimate[]
  /** SMPTE RP 120 and IEC 60268-3, rms forms. */
  readonly modulationPct: Estimate | null
  readonly differencePct: Estimate | null
  readonly staircase: StaircaseReading | null
  /** Source level up to which it is clean, and what comes out there. */
  readonly cleanLevelDbfs: Estimate | null
  readonly cleanVrms: Estimate | null
  /** Loss of gain at 0 dBFS against the low steps, dB. */
  readonly compressionDb: Estimate | null
  /** What gain does by itself, signed; null where interruptions or a moving response would look alike. */
  readonly gainChangeDb: Estimate | null
}

export const NO_DISTORTION: DistortionFigures = {
  tone: null,
  thdPct: null,
  thdOfTotalPct: null,
  thdNPct: null,
  sinadDb: null,
  harmonicsDb: [],
  modulationPct: null,
  differencePct: null,
  staircase: null,
  cleanLevelDbfs: null,
  cleanVrms: null,
  compressionDb: null,
  gainChangeDb: null,
}

/** @param heard the map entry with the sides as the output does hear them */
export function distortionFigures(heard: OutputSpec, analysis: InputAnalysis, input: RigInput): DistortionFigures {
  const loop = input.own?.loop ?? null
  const shared = {
    // Two tones of which one lies outside its band tell of that filter and of noise.
    modulationPct: carries(heard, 60, 7000)
      ? intermodulationOf(analysis.modulation, MODULATION_METHOD, 7000, input, 'smpte')
      : null,
    differencePct: carries(heard, 19_000, 20_000)
      ? intermodulationOf(analysis.differenceTones, DIFFERENCE_METHOD, 20_000, input, 'difference')
      : null,
  }
  const tone = toneFor(heard, analysis.tones)
  if (!tone) return { ...NO_DISTORTION, ...shared }
  const { freqHz } = tone
  const orders = `orders 2 to ${tone.harmonicsFs.length + 1}`
  const own = loop?.thd.find((one) => one.freqHz === freqHz)
  // Reads the codec, where a lossy source is what the tone came through.
  const reach = analysis.lossySource.isLossy === 'yes' ? analysis.lossySource.thdReachRatio : null
  const thd = (ratio: number, method: string): Estimate => {
    const beside = besideOwnRatio(ratio, own)
    const isLossyToo = reach !== null && ratio < 2 * reach
    return estimate(100 * beside.ratio, { noise: 100 * tone.thdRatioU, 'rig distortion': 100 * beside.u }, method, {
      isAtMost: tone.thdIsAtMost || beside.isAtMost || isLossyToo,
      freqHz,
    })
  }
  const thdN = besideOwnRatio(tone.thdNRatio, own)
  return {
    ...shared,
    tone,
    thdPct: thd(tone.thdRatio, `thd over the fundamental, ${orders}/2`),
    thdOfTotalPct: thd(tone.thdRRatio, `thd over the total, ${orders}/1`),
    thdNPct: estimate(
      100 * tone.thdNRatio,
      { noise: 100 * tone.thdNRatioU, 'rig distortion': 100 * thdN.u },
      'thd+n over total, bins removed/2',
      { isAtMost: thdN.isAtMost, freqHz },
    ),
    sinadDb: estimate(
      tone.sinadDb,
      { noise: dbFromRelative(tone.thdNRatioU / Math.max(tone.thdNRatio, 1e-12)) },
      'sinad, bins removed/1',
      { isAtLeast: thdN.isAtMost, freqHz },
    ),
    harmonicsDb: tone.harmonicsFs.map((peakFs, k) =>
      estimate(
        dbFromRatio(Math.max(peakFs, 1e-12) / tone.peakFs),
        { noise: dbFromRelative(tone.harmonicsU[k] / Math.max(peakFs, 1e-12)) },
        'harmonic over the fundamental/1',
        { isAtMost: tone.harmonicsAtMost[k], freqHz: (k + 2) * freqHz },
      ),
    ),
    ...staircaseFigures(analysis.staircases.find((one) => one.freqHz === freqHz) ?? null, input),
    gainChangeDb: gainChangeOf(freqHz, analysis),
  }
}

/** Signals of one level that last differently long, and quiet ones: where their gains differ, the gain moves by itself. */
function gainChangeOf(freqHz: number, analysis: InputAnalysis): Estimate | null {
  const change = analysis.gainChanges.find((one) => one.freqHz === freqHz)
  if (!change || analysis.interruptions.length > 0 || analysis.timeVariance?.isTimeVariant) return null
  const { stepOverSweepDb, stepOverSweepDbU, toneOverStepDb, toneOverStepDbU } = change
  const pairs = [
    { db: toneOverStepDb, u: toneOverStepDbU },
    { db: stepOverSweepDb, u: stepOverSweepDbU },
  ].flatMap(({ db, u }) => (db === null || u === null ? [] : [{ db, u }]))
  const [most] = pairs.sort((a, b) => Math.abs(b.db) - Math.abs(a.db))
  return most ? estimate(most.db, { noise: most.u }, GAIN_CHANGE_METHOD, { freqHz }) : null
}

const carries = ({ lowHz, highHz }: OutputSpec, fromHz: number, toHz: number): boolean =>
  (lowHz ?? 0) <= fromHz && (highHz ?? 1e5) >= toHz

function intermodulationOf(
  reading: Intermodulation | null,
  method: string,
  freqHz: number,
  input: RigInput,
  kind: 'smpte' | 'difference',
): Estimate | null {
  if (!reading) return null
  const own = input.own?.loop?.intermodulation.find((one) => one.kind === kind)
  const beside = besideOwnRatio(reading.rms.value, own)
  return estimate(100 * beside.ratio, { noise: 100 * reading.rms.u, 'rig distortion': 100 * beside.u }, method, {
    isAtMost: reading.rms.isAtMost || beside.isAtMost,
    freqHz,
  })
}

function staircaseFigures(
  staircase: StaircaseReading | null,
  input: RigInput,
): Pick<DistortionFigures, 'staircase' | 'cleanLevelDbfs' | 'cleanVrms' | 'compressionDb'> {
  const clean = staircase?.highestClean ?? null
  const top = staircase?.steps.at(-1)
  if (!staircase || !top) return { staircase, cleanLevelDbfs: null, cleanVrms: null, compressionDb: null }
  const { freqHz } = staircase
  // A peak of 1 in the capture is what a sine of full-scale rms volts gives.
  const volts = (peakFs: number): number => peakFs * fullScaleAtLead(input)
  const relative = Object.fromEntries(
    Object.entries(calibrationBudget(input)).map(([source, uDb]) => [
      source,
      clean ? volts(clean.peakFs) * relativeFromDb(uDb) : 0,
    ]),
  )
  const options = { isAtLeast: clean?.isTop ?? false, freqHz }
  return {
    staircase,
    cleanLevelDbfs: clean && estimate(clean.sourceDbfs, { staircase: clean.sourceDbU }, STAIRCASE_METHOD, options),
    cleanVrms:
      clean &&
      estimate(
        volts(clean.peakFs),
        { ...relative, staircase: volts(clean.peakFs) * relativeFromDb(clean.sourceDbU) },
        STAIRCASE_METHOD,
        options,
      ),
    compressionDb: estimate(-top.gainDb, { noise: top.gainDbU }, STAIRCASE_METHOD, { freqHz }),
  }
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
