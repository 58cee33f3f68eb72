/**
 * What is wrong, in the trade's words, with the reason and the next step: one finding for one cause.
 *
 * A cause accounts for the checks that it makes fail: a summed output is not also weak, a swapped pair is one finding,
 * a wrong volume is one finding and not ten.
 */
import type { Job } from '../job/job.js'
import { inDb, inHz, inMs, inVolts } from '../units/words.js'
import { delayLimitS, levelDeviationDb } from './checks.js'
import { cleanFindings } from './clean-findings.js'
import {
  allHum,
  allInverted,
  allSummed,
  balanceFinding,
  type Common,
  sourceEnd,
  volumeFinding,
} from './common-causes.js'
import { alikes, swaps } from './identity-findings.js'
import { type Judged, nameOf, verdictOf } from './judged.js'
import { noiseFindings } from './noise-findings.js'
import type { Finding } from './parts.js'
import { responseFindings } from './response-findings.js'
import { nearlyAll, shared } from './shared-findings.js'
import { toneControl } from './tone-control.js'

export function findingsOf(judged: readonly Judged[], job: Job): Finding[] {
  const volume = volumeFinding(judged, job)
  const balance = balanceFinding(judged, job)
  const inversion = allInverted(judged)
  const sum = allSummed(judged)
  const hum = allHum(judged)
  const tone = toneControl(judged, job)
  const source = sourceEnd(judged, job)
  const common: Common = {
    leftDb: balance?.leftDb ?? volume?.offsetDb ?? 0,
    rightDb: balance?.rightDb ?? volume?.offsetDb ?? 0,
    isOffCentre: balance !== null,
    areAllInverted: inversion !== null,
    areAllSummed: sum !== null,
    areAllHumming: hum !== null,
    tone,
    sourceEnd: source,
  }
  const alive = judged.filter(({ measures }) => !measures.isDead)
  const single = shared(
    judged.flatMap((one) => outputFindings(one, job, common)),
    alive.length,
  )
  // A gain that moves by itself moves levels and bends sweeps: what all outputs share of that is no setting.
  const moving = alive.filter(({ checks }) => verdictOf(checks, 'steady gain') === 'fail')
  const areAllMoving = nearlyAll(moving.length, alive.length)
  return [
    ...(volume && !balance && !areAllMoving ? [volume.finding] : []),
    ...(balance ? [balance.finding] : []),
    ...[inversion, sum, hum, areAllMoving ? null : (tone?.finding ?? null), source?.finding ?? null].filter(
      (finding) => finding !== null,
    ),
    ...swaps(judged, job),
    ...alikes(judged, job),
    ...single,
    ...apartNote(judged),
  ]
}

function outputFindings({ measures, checks }: Judged, job: Job, common: Common): Finding[] {
  const name = nameOf(measures, job)
  const outputs = [measures.lead.outputNumber]
  const findings: Finding[] = []
  const add = (kind: Finding['kind'], check: string, title: string, because: string, next: string): void => {
    const verdict = verdictOf(checks, check)
    if (verdict !== 'pass') findings.push({ kind, verdict, outputs, title, because, next })
  }
  if (measures.isDead) {
    add(
      'dead',
      'level',
      `${name} is dead`,
      `Nothing of the track reaches it; expected ${inVolts(measures.spec.levelVrms)}.`,
      'Check its lead and pin, then the plug of the interface, then whether the map has this output on this vehicle.',
    )
    return findings
  }
  const { sides, spec, crosstalkDb, polarity, delayS } = measures
  if (measures.isClipped) {
    return [
      {
        kind: 'clipped capture',
        verdict: 'unsure',
        outputs,
        title: `${name} overdrove the capture`,
        because: 'Samples stand at full scale, so level and distortion cannot be trusted.',
        next: `Put a pad in front of input ${measures.lead.inputNumber} (or a larger one), say it in the rig file, and take it again.`,
      },
    ]
  }

  if (sides === 'summed') {
    if (!common.areAllSummed)
      add(
        'summed',
        'crosstalk',
        `${name} is summed to mono`,
        `It hears left and right within ${Math.abs(crosstalkDb?.value ?? 0).toFixed(1)} dB of each other; the map gives it one side.`,
        'Look for a mono or summing setting of this output in the interface or the head unit.',
      )
  } else if (sides === 'other side') {
    const [own, other] = spec.rightGain === 0 ? ['left', 'right'] : ['right', 'left']
    add(
      'swapped',
      'crosstalk',
      `${name} hears the ${other} side in place of the ${own}`,
      `The ${own} side is ${inDb(-crosstalkDb!.value)} against the ${other} one.`,
      'Check the pins of this output against the harness sheet; the source of its sides may be swapped.',
    )
  } else if (crosstalkDb && !crosstalkDb.isAtMost) {
    add(
      'leaking',
      'crosstalk',
      `${name} leaks from the other side`,
      `The side that it should not hear stands at ${inDb(crosstalkDb.value)} at ${inHz(crosstalkDb.freqHz!)}; limit ${inDb(job.limits.crosstalkDbMax)}.`,
      'Check for a shared ground or touching leads, and for surround or widening effects that are switched on.',
    )
  } else if (!crosstalkDb && !common.isOffCentre) {
    add(
      'unbalanced',
      'sides',
      `${name} does not hear both sides as mapped`,
      checks.find((check) => check.name === 'sides')!.why,
      'Centre the balance control; then check whether one side of the source is missing.',
    )
  }

  const deviationDb = levelDeviationDb(measures)
  const isExplained = isLevelExplained({ measures, checks }, common)
  if (!isExplained) {
    const isWeak = deviationDb < 0
    add(
      isWeak ? 'weak' : 'strong',
      'level',
      verdictOf(checks, 'level') === 'unsure'
        ? `${name}: its level is too near the limit to judge`
        : `${name} is ${isWeak ? 'weak' : 'too strong'} by ${Math.abs(deviationDb).toFixed(1)} dB`,
      `${inVolts(measures.levelVrms.value)} at ${inHz(spec.referenceHz)}, expected ${inVolts(spec.levelVrms)} ± ${spec.levelToleranceDb} dB.`,
      isWeak
        ? "Check this output's level in the interface's set-up, its load, and its plug for a poor contact."
        : "Check this output's level in the interface's set-up, and the pad that the rig file says.",
    )
  }
  if (!common.areAllInverted) {
    add(
      'inverted',
      'polarity',
      polarity?.isSure ? `${name} is inverted` : `${name}: its polarity is not settled`,
      checks.find((check) => check.name === 'polarity')?.why ?? '',
      polarity?.isSure
        ? "Swap plus and minus of this output at the plug, or turn its polarity in the interface's set-up."
        : 'Switch surround and similar effects off and take it again.',
    )
  }
  const [outputNumber] = outputs
  if (!common.tone?.responseOf.has(outputNumber) && !common.sourceEnd?.responseOf.has(outputNumber))
    findings.push(...responseFindings(measures, checks, job, name))
  if (delayS) {
    add(
      'late',
      'delay',
      `${name} is ${delayS.value > 0 ? 'late' : 'early'} by ${inMs(Math.abs(delayS.value)).replace('+', '')}`,
      `Against the other outputs of ${measures.lead.patchName}; limit ± ${(1000 * delayLimitS(spec, job.limits.delayToleranceS)).toFixed(2)} ms.`,
      'Look for a time alignment in the head unit or the interface that is not at zero.',
    )
  }
  findings.push(
    ...noiseFindings(measures, checks, job, name).filter(({ kind }) => kind !== 'humming' || !common.areAllHumming),
  )
  if (measures.isMuting) findings.push(mutingNote(name, outputs))
  findings.push(...cleanFindings(measures, checks, job, name))
  // In the noise that has been named, whatever could not be settled is no finding of its own.
  const isNoisy = findings.some(({ kind, verdict }) => ['noisy', 'humming'].includes(kind) && verdict === 'fail')
  // What changes with time leaks, hums along and fits no curve: one cause.
  if (findings.some(({ kind }) => kind === 'time-variant'))
    return findings.filter(({ kind, verdict }) => verdict === 'fail' && !OF_TIME_VARIANCE.includes(kind))
  // Nor is what was read across an interruption.
  const isInterrupted = findings.some(({ kind }) => kind === 'interrupted')
  return isNoisy || isInterrupted ? findings.filter(({ verdict }) => verdict !== 'unsure') : findings
}

const OF_TIME_VARIANCE: readonly Finding['kind'][] = [
  'leaking',
  'unbalanced',
  'equalised',
  'band-split',
  'noisy',
  'distorted',
  'limited',
]

const mutingNote = (name: string, outputs: number[]): Finding => ({
  kind: 'muting',
  verdict: 'pass',
  outputs,
  title: `${name} mutes itself on silence`,
  because: 'What it gives while a quiet tone plays differs from what it gives in silence as only a mute does.',
  next: 'Nothing to do, unless quiet passages are cut off: then look for a noise gate in the interface.',
})

/** Whether what else is known of an output accounts for its level: its sides, its response, the volume, the balance. */
function isLevelExplained({ measures, checks }: Judged, common: Common): boolean {
  const { spec, sides, passbandDeviationDb, response } = measures
  const isNear = (valueDb: number, ofDb: number): boolean => Math.abs(valueDb - ofDb) <= spec.levelToleranceDb + 0.5
  const share = spec.leftGain ** 2 + spec.rightGain ** 2
  const commonDb = (spec.leftGain ** 2 * common.leftDb + spec.rightGain ** 2 * common.rightDb) / share
  if (sides !== 'as mapped' && sides !== 'other side') return true
  if (common.tone?.levelOf.has(measures.lead.outputNumber)) return true
  if (verdictOf(checks, 'sides') !== 'pass') return true
  if (verdictOf(checks, 'response') !== 'pass') {
    if (isNear(passbandDeviationDb, commonDb)) return true
    // In a narrow band one section moves all of it: then somewhere in the band the level is as it should be.
    const octaves = Math.log2((spec.highHz ?? 20_000) / (spec.lowHz ?? 20))
    const inBandDb = (response?.levelDb ?? [])
      .filter((_, i) => response!.freqHz[i] >= (spec.lowHz ?? 20) && response!.freqHz[i] <= (spec.highHz ?? 20_000) / 2)
      .map((levelDb) => levelDb + levelDeviationDb(measures) - commonDb)
    if (octaves < 3 && inBandDb.some((value) => isNear(value, 0))) return true
  }
  return commonDb !== 0 && isNear(levelDeviationDb(measures), commonDb)
}

/** Said once: outputs of different patches were not compared in time. */
function apartNote(judged: readonly Judged[]): Finding[] {
  const patches = new Set(judged.map(({ measures }) => measures.lead.patchName))
  if (patches.size < 2) return []
  return [
    {
      kind: 'rig',
      verdict: 'pass',
      outputs: [],
      title: 'Delay was compared inside each patch only',
      because: `The outputs were taken in ${patches.size} patches, each on its own clock.`,
      next: 'Where delay between patches matters, take the two outputs in question in one patch.',
    },
  ]
}
