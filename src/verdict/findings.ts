/**
 * What is wrong, in the trade's words, with the reason and the next step: one finding for one cause.
 *
 * A cause accounts for the checks that it makes fail: a summed output is not also weak, a swapped pair is one finding,
 * a wrong volume is one finding and not ten.
 */
import type { Job, OutputSpec } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { type Mask, maskFor } from '../measure/response.js'
import { dbFromRatio } from '../units/level.js'
import { inDb, inDbv, inHz, inMs, inPct, inVolts, listed } from '../units/words.js'
import { delayLimitS, held, isSameEntry, levelDeviationDb, worstPlace } from './checks.js'
import { BECAUSE_OF, type Check, type Finding, type Verdict } from './result.js'

export interface Judged {
  readonly measures: OutputMeasures
  readonly checks: readonly Check[]
}

/** What all outputs have in common and no output is to blame for. */
interface Common {
  /** How far the outputs of each side are off together, dB; 0 where they are not. */
  readonly leftDb: number
  readonly rightDb: number
  readonly isOffCentre: boolean
  readonly areAllInverted: boolean
  readonly areAllSummed: boolean
  readonly areAllHumming: boolean
}

export function findingsOf(judged: readonly Judged[], job: Job): Finding[] {
  const volume = volumeFinding(judged, job)
  const balance = balanceFinding(judged, job)
  const inversion = allInverted(judged)
  const sum = allSummed(judged)
  const hum = allHum(judged)
  const common: Common = {
    leftDb: balance?.leftDb ?? volume?.offsetDb ?? 0,
    rightDb: balance?.rightDb ?? volume?.offsetDb ?? 0,
    isOffCentre: balance !== null,
    areAllInverted: inversion !== null,
    areAllSummed: sum !== null,
    areAllHumming: hum !== null,
  }
  const single = judged.flatMap((one) => outputFindings(one, job, common))
  return [
    ...(volume && !balance ? [volume.finding] : []),
    ...(balance ? [balance.finding] : []),
    ...[inversion, sum, hum].filter((finding) => finding !== null),
    ...swaps(judged, job),
    ...alikes(judged, job),
    ...single,
    ...apartNote(judged),
  ]
}

const nameOf = (measures: OutputMeasures, job: Job): string => {
  const { number, label } = job.outputs.find((spec) => spec.number === measures.lead.outputNumber)!
  return `Output ${number} ${label}`
}

const verdictOf = (checks: readonly Check[], name: string): Verdict =>
  checks.find((check) => check.name === name)?.verdict ?? 'pass'

/** All outputs off by the same amount, and by more than the tolerance: the volume, not the outputs. */
function volumeFinding(judged: readonly Judged[], job: Job): { finding: Finding; offsetDb: number } | null {
  const alive = judged.filter(({ measures }) => !measures.isDead && measures.sides === 'as mapped')
  if (alive.length < 3) return null
  const offsets = alive.map(({ measures }) => levelDeviationDb(measures)).sort((a, b) => a - b)
  const offsetDb = offsets[Math.floor(offsets.length / 2)]
  const toleranceDb = job.limits.levelToleranceDb
  const together = offsets.filter((value) => Math.abs(value - offsetDb) <= toleranceDb).length
  if (Math.abs(offsetDb) <= toleranceDb || together < 0.75 * offsets.length) return null
  return {
    offsetDb,
    finding: {
      kind: 'volume',
      verdict: 'fail',
      outputs: alive.map(({ measures }) => measures.lead.outputNumber),
      title: `All outputs are ${inDb(offsetDb)} from the map`,
      because: `${together} of ${offsets.length} outputs are off by the same amount within ${toleranceDb} dB.`,
      next: 'Set the head unit to the volume that the map was made for, tone controls and fader centred, and take it again.',
    },
  }
}

/** All outputs of one side off against all of the other by the same amount: the balance control. */
function balanceFinding(
  judged: readonly Judged[],
  job: Job,
): { finding: Finding; leftDb: number; rightDb: number } | null {
  const alive = judged.filter(({ measures }) => !measures.isDead && measures.sides === 'as mapped')
  const toleranceDb = job.limits.levelToleranceDb
  const sideOf = (isRight: boolean) => {
    const offsets = alive
      .filter(({ measures: { spec } }) => (isRight ? spec.leftGain : spec.rightGain) === 0)
      .map(({ measures }) => levelDeviationDb(measures))
      .sort((a, b) => a - b)
    const middleDb = offsets[offsets.length >> 1] ?? 0
    const together = offsets.filter((value) => Math.abs(value - middleDb) <= toleranceDb).length
    return { middleDb, isTogether: offsets.length >= 2 && together >= 0.75 * offsets.length }
  }
  const [left, right] = [sideOf(false), sideOf(true)]
  const differenceDb = left.middleDb - right.middleDb
  if (!left.isTogether || !right.isTogether || Math.abs(differenceDb) <= toleranceDb) return null
  return {
    leftDb: left.middleDb,
    rightDb: right.middleDb,
    finding: {
      kind: 'unbalanced',
      verdict: 'fail',
      outputs: alive.map(({ measures }) => measures.lead.outputNumber),
      title: `The ${differenceDb > 0 ? 'right' : 'left'} side is ${Math.abs(differenceDb).toFixed(1)} dB lower in all outputs`,
      because: `Outputs of the left side are ${inDb(left.middleDb)} from the map, those of the right side ${inDb(right.middleDb)}.`,
      next: 'Centre the balance control of the head unit, then take it again; if it is centred, one side of the source is weak.',
    },
  }
}

function allInverted(judged: readonly Judged[]): Finding | null {
  const settled = judged.filter(({ measures }) => measures.polarity?.isSure)
  const wrong = settled.filter(({ checks }) => verdictOf(checks, 'polarity') === 'fail')
  if (settled.length < 4 || wrong.length < settled.length) return null
  return {
    kind: 'inverted',
    verdict: 'fail',
    outputs: wrong.map(({ measures }) => measures.lead.outputNumber),
    title: 'Every output is inverted',
    because: 'All polarities are opposite to the map, which one lead alone cannot do.',
    next: 'Check the polarity of the capture leads and of the map first; then the interface as a whole.',
  }
}

/** Every output that should hear one side hears both: the source is mono, not each output. */
function allSummed(judged: readonly Judged[]): Finding | null {
  const single = judged.filter(
    ({ measures: { isDead, spec } }) => !isDead && (spec.leftGain === 0 || spec.rightGain === 0),
  )
  if (single.length < 3 || !single.every(({ measures }) => measures.sides === 'summed')) return null
  return {
    kind: 'summed',
    verdict: 'fail',
    outputs: single.map(({ measures }) => measures.lead.outputNumber),
    title: 'Every output is summed to mono',
    because: 'All outputs that should hear one side hear both alike, which no single output does by itself.',
    next: 'Look for a mono setting in the head unit and for a mono file, cable or link between player and head unit.',
  }
}

/** The same hum everywhere comes from what the outputs share. */
function allHum(judged: readonly Judged[]): Finding | null {
  const alive = judged.filter(({ measures }) => !measures.isDead)
  const levels = alive.map(({ measures }) => measures.humDbv.value)
  const spreadDb = Math.max(...levels) - Math.min(...levels)
  if (alive.length < 3 || spreadDb > 3 || !alive.every(({ checks }) => verdictOf(checks, 'hum') === 'fail')) return null
  return {
    kind: 'humming',
    verdict: 'fail',
    outputs: alive.map(({ measures }) => measures.lead.outputNumber),
    title: 'All outputs hum alike',
    because: `Mains multiples stand at ${inDbv(Math.min(...levels))} to ${inDbv(Math.max(...levels))} on all of them, so it is the bench or the ground they share.`,
    next: 'Unplug the charger and the capture computer from the mains and take it again; then check the ground of the interface.',
  }
}

/** Closed rounds of leads that carry each other's signal. */
function swaps(judged: readonly Judged[], job: Job): Finding[] {
  const carries = new Map(judged.map(({ measures }) => [measures.lead.outputNumber, measures.identity.identifiedAs]))
  const seen = new Set<number>()
  const findings: Finding[] = []
  for (const { measures, checks } of judged) {
    const start = measures.lead.outputNumber
    if (seen.has(start) || measures.isDead || carries.get(start) === start) continue
    const round: number[] = []
    let at: number | null | undefined = start
    while (at !== null && at !== undefined && !seen.has(at) && carries.get(at) !== at) {
      seen.add(at)
      round.push(at)
      at = carries.get(at)
    }
    const names = round.map((number) => `${number} ${job.outputs.find((spec) => spec.number === number)!.label}`)
    findings.push({
      kind: 'swapped',
      verdict: verdictOf(checks, 'identity') === 'unsure' ? 'unsure' : 'fail',
      outputs: round,
      title:
        round.length === 1
          ? `Output ${names[0]} carries the signal of ${measures.spec.number} ${measures.spec.label}`
          : `Outputs ${listed(names)} are swapped`,
      because: round
        .map((number) => `Lead ${number} carries the sides, band and level of ${carries.get(number)}.`)
        .join(' '),
      next: 'Check the pins of these outputs against the harness sheet, then the leads of the rig, and take it again.',
    })
  }
  return findings
}

/** Outputs that the map cannot tell apart, once for each group. */
function alikes(judged: readonly Judged[], job: Job): Finding[] {
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const done = new Set<number>()
  const findings: Finding[] = []
  for (const { measures } of judged) {
    const own = measures.lead.outputNumber
    if (done.has(own) || measures.identity.alikeWith.length === 0) continue
    const group = [own, ...measures.identity.alikeWith].sort((a, b) => a - b)
    for (const number of group) done.add(number)
    const isHarmless = group.every((number) => isSameEntry(specOf(own), specOf(number)))
    const byFader = new Set(group.map((number) => specOf(number).faderGroup)).size > 1
    findings.push({
      kind: 'alike',
      verdict: isHarmless ? 'pass' : 'unsure',
      outputs: group,
      title: `Outputs ${listed(group)} cannot be told apart`,
      because: isHarmless
        ? 'The map gives them the same sides, band, level and fader group, so a mix-up between them would change nothing.'
        : 'What was measured fits either of them as well as the other.',
      next: isHarmless
        ? 'Nothing to do; to tell them apart, unplug one and take it again.'
        : byFader
          ? 'Ask for the take with the fader to the front (fader_take: true in the job file).'
          : 'Unplug one of them and take it again, or give the map what tells them apart.',
    })
  }
  return findings
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
  const { tone, thdPct } = measures
  if (tone && thdPct) {
    const order = 2 + tone.harmonicsFs.indexOf(Math.max(...tone.harmonicsFs))
    const name2 =
      verdictOf(checks, 'thd') === 'unsure'
        ? `${name}: its distortion is too near the limit to judge`
        : `${name} is distorted`
    add(
      'distorted',
      'thd',
      name2,
      `THD ${inPct(thdPct.value)} at ${inHz(tone.freqHz)} and −3 dBFS, most of it order ${order}; limit ${inPct(job.limits.thdPctMax)}.`,
      'Turn the head unit down a few steps and take it again: if it goes away, it clips in front of the output; if not, suspect the output itself.',
    )
  }
  if (verdictOf(checks, 'thd') === 'pass' && verdictOf(checks, 'noise') === 'pass') {
    add(
      'distorted',
      'thd+n',
      `${name}: distortion and noise together are too high`,
      `THD+N ${inPct(measures.thdNPct?.value ?? 0)}; limit ${inPct(job.limits.thdNPctMax)}.`,
      'Look at its noise spectrum in the report for what adds to it.',
    )
  }
  // In the noise that has been named, whatever could not be settled is no finding of its own.
  const isNoisy = findings.some(({ kind, verdict }) => ['noisy', 'humming'].includes(kind) && verdict === 'fail')
  return isNoisy ? findings.filter(({ verdict }) => verdict !== 'unsure') : findings
}

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

function responseFindings(measures: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const verdict = verdictOf(checks, 'response')
  const { spec, passband, lead, response } = measures
  const place = worstPlace(measures, job.limits.flatnessDbMax)
  if (verdict === 'pass' || !passband || !response || !place) return []
  const outputs = [lead.outputNumber]
  const octaves = (a: number | null, b: number | null, missing: number): number =>
    Math.log2((a ?? missing) / (b ?? missing))
  const lowOff = octaves(passband.lowHz, spec.lowHz, 20)
  const highOff = octaves(passband.highHz, spec.highHz, 20_000)
  const bandWords = (lowHz: number | null, highHz: number | null): string =>
    lowHz === null && highHz === null ? 'the full range' : `${inHz(lowHz ?? 20)} to ${inHz(highHz ?? 20_000)}`
  // A shelf is 3 dB down somewhere too, but it levels off; a filter goes on.
  const inBand = response.levelDb.filter(
    (_, i) => response.freqHz[i] >= (passband.lowHz ?? 0) && response.freqHz[i] <= (passband.highHz ?? 1e5),
  )
  const inBandDb = inBand.sort((a, b) => a - b)[inBand.length >> 1] ?? 0
  const fallsAway = (isBeyond: (freqHz: number) => boolean): boolean =>
    response.levelDb.some((levelDb, i) => isBeyond(response.freqHz[i]) && levelDb < inBandDb + LEVELS_OFF_DB)
  const isLowCut = lowOff < -0.5 || (lowOff > 0.5 && fallsAway((hz) => hz < passband.lowHz!))
  const isHighCut = highOff > 0.5 || (highOff < -0.5 && fallsAway((hz) => hz > passband.highHz!))
  if (isLowCut || isHighCut) {
    const isNarrower = lowOff > 0.5 || highOff < -0.5
    return [
      {
        kind: 'band-split',
        verdict,
        outputs,
        title: isNarrower
          ? `${name} is band-split: it carries only ${bandWords(passband.lowHz, passband.highHz)}`
          : `${name} is not band-split as it should be: it carries ${bandWords(passband.lowHz, passband.highHz)}`,
        because: `The map gives it ${bandWords(spec.lowHz, spec.highHz)}; corners are where it is 3 dB down.`,
        next: isNarrower
          ? "Switch the crossover of this output off in the interface's set-up, or sum it with the output that carries the rest."
          : `${spec.lowHz === null ? '' : 'Do not connect a tweeter to it. '}Check which crossover the interface is set to for this vehicle.`,
      },
    ]
  }
  const mask = maskFor(spec, job.limits.flatnessDbMax, response.freqHz)
  const peak = worstDeviation(response, mask, job.limits.flatnessDbMax) ?? place
  const outside = response.freqHz.filter((_, i) => {
    const [levelDb, min, max] = [response.levelDb[i], mask.minDb[i], mask.maxDb[i]]
    return (min !== null && levelDb < min) || (max !== null && levelDb > max)
  })
  const span = outside.length > 1 ? `, outside its mask from ${inHz(outside[0])} to ${inHz(outside.at(-1)!)}` : ''
  return [
    {
      kind: 'equalised',
      verdict,
      outputs,
      title: `${name} is equalised: ${inDb(peak.levelDb)} at ${inHz(peak.freqHz)}`,
      because: `Against the middle of its band${span}; limit ± ${job.limits.flatnessDbMax} dB.`,
      next: 'Set bass, treble, loudness and sound effects to zero and take it again; what is left belongs to the factory tuning and has to be undone in the processor.',
    },
  ]
}

/** Beyond a corner a response that stays above this levels off: a tone control, not a filter. */
const LEVELS_OFF_DB = -15

/** Largest deviation, where it is outside its mask, from the middle level of the part that should be flat. */
function worstDeviation(
  response: NonNullable<OutputMeasures['response']>,
  mask: Mask,
  toleranceDb: number,
): { freqHz: number; levelDb: number } | null {
  const points = response.levelDb.map((levelDb, i) => ({
    freqHz: response.freqHz[i],
    levelDb,
    min: mask.minDb[i] ?? Number.NEGATIVE_INFINITY,
    max: mask.maxDb[i] ?? Number.POSITIVE_INFINITY,
  }))
  const flat = points.filter(({ min }) => min >= -toleranceDb - 1e-9)
  if (flat.length === 0) return null
  // The reference itself may be what is off: then everything else is outside, and the middle tells which.
  const middleDb = flat.map(({ levelDb }) => levelDb).sort((a, b) => a - b)[flat.length >> 1]
  const isOutside = ({ levelDb, min, max }: (typeof points)[number]): boolean =>
    levelDb - middleDb < min || levelDb - middleDb > max
  const outside = points.filter(isOutside)
  if (outside.length === 0) return null
  const peak = outside.reduce((most, point) =>
    Math.abs(point.levelDb - middleDb) > Math.abs(most.levelDb - middleDb) ? point : most,
  )
  return { freqHz: peak.freqHz, levelDb: peak.levelDb - middleDb }
}

function noiseFindings(measures: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const outputs = [measures.lead.outputNumber]
  const { limits } = job
  const [hum, noise, weighted] = ['hum', 'noise', 'noise A'].map((check) => verdictOf(checks, check))
  const humFinding: Finding | null =
    hum === 'pass'
      ? null
      : {
          kind: 'humming',
          verdict: hum,
          outputs,
          title: `${name} hums`,
          because: `Mains multiples stand at ${inDbv(measures.humDbv.value)}; limit ${inDbv(limits.humDbvMax)}.`,
          next: 'Unplug the charger and the capture computer from the mains and take it again: if the hum goes, it was a ground loop of the bench. If not, check the grounds of interface and amplifier.',
        }
  if (noise === 'pass' && weighted === 'pass') return humFinding ? [humFinding] : []
  const line = measures.noiseLines.find(({ isMains }) => !isMains)
  const lineDb = line?.levelDbv ?? Number.NEGATIVE_INFINITY
  // Where the noise would be within its limits without the hum, hum is the cause and noise is not another one.
  const { unweighted: restDbv, aWeighted: restADbv } = measures.noiseButHumDbv
  if (humFinding && restDbv < limits.noiseDbvMax && restADbv < limits.noiseDbvAMax) return [humFinding]
  const isLine = lineDb > measures.noiseDbv.value - 3
  const noiseFinding: Finding = {
    kind: 'noisy',
    verdict: noise === 'fail' || weighted === 'fail' ? 'fail' : 'unsure',
    outputs,
    title: isLine ? `${name} whines at ${inHz(line!.freqHz)}` : `${name} is noisy`,
    because: `Noise ${inDbv(measures.noiseDbv.value)}, A-weighted ${inDbv(measures.noiseADbv.value)}; limits ${inDbv(limits.noiseDbvMax)} and ${inDbv(limits.noiseDbvAMax)}.${isLine ? ` One line holds most of it: ${inDbv(lineDb)}.` : ''}`,
    next: isLine
      ? 'Switch chargers, lights and blowers off one by one; with the engine running, suspect the alternator and the grounds.'
      : 'Check the grounds, keep line leads away from power leads, and turn the head unit up and the gains down.',
  }
  return humFinding ? [humFinding, noiseFinding] : [noiseFinding]
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

/** Outputs of a pair against each other: a check of the vehicle, since it belongs to neither alone. */
export function pairChecks(judged: readonly Judged[], job: Job): { checks: Check[]; findings: Finding[] } {
  const isOffCentre = balanceFinding(judged, job) !== null
  const pairs = new Map<string, Judged[]>()
  for (const one of judged) {
    const { pair } = one.measures.spec
    if (pair !== null && !one.measures.isDead) pairs.set(pair, [...(pairs.get(pair) ?? []), one])
  }
  const checks: Check[] = []
  const findings: Finding[] = []
  for (const [pair, members] of pairs) {
    const [a, b] = members.sort((x, y) => x.measures.spec.number - y.measures.spec.number)
    if (!b) continue
    const [levelA, levelB] = [a.measures.levelVrms, b.measures.levelVrms]
    const differenceDb = levelDeviationDb(a.measures) - levelDeviationDb(b.measures)
    const u = dbFromRatio(1 + Math.hypot(levelA.u / levelA.value, levelB.u / levelB.value))
    const max = job.limits.pairBalanceDbMax
    const verdict = held(differenceDb, u, { min: -max, max })
    const numbers = [a, b].map(({ measures }) => measures.spec.number)
    // An output that is off by itself has its finding already, and the pair is off because of it.
    const byLevel = [a, b].filter(
      ({ measures }) => Math.abs(levelDeviationDb(measures)) > measures.spec.levelToleranceDb,
    )
    const culprits =
      byLevel.length > 0 ? byLevel : [a, b].filter(({ measures, checks: its }) => isOffByItself(measures, its))
    checks.push({
      name: `pair balance ${pair}`,
      verdict,
      figure: {
        quantity: 'pair balance',
        value: differenceDb,
        unit: 'dB',
        u,
        isAtMost: false,
        freqHz: a.measures.spec.referenceHz,
        method: 'difference of levels/1',
      },
      expected: `${listed(numbers)} within ${max} dB`,
      measured: inDb(differenceDb),
      why:
        verdict === 'pass'
          ? ''
          : culprits.length > 0
            ? `${BECAUSE_OF} ${listed(culprits.map(({ measures }) => measures.spec.number))}.`
            : verdict === 'fail'
              ? 'The pair is not matched.'
              : 'The limit lies within the uncertainty.',
    })
    if (verdict === 'pass' || isOffCentre || culprits.length > 0) continue
    findings.push({
      kind: 'unbalanced',
      verdict,
      outputs: [a, b].map(({ measures }) => measures.lead.outputNumber).sort((x, y) => x - y),
      title: `Outputs ${listed(numbers)} are not matched: ${inDb(differenceDb)}`,
      because: `The pair ${pair} may differ by ${max} dB.`,
      next: "Centre the balance control; then match the two levels in the interface's set-up.",
    })
  }
  return { checks, findings }
}

const isOffByItself = (measures: OutputMeasures, checks: readonly Check[]): boolean =>
  measures.sides !== 'as mapped' ||
  measures.isClipped ||
  Math.abs(levelDeviationDb(measures)) > measures.spec.levelToleranceDb ||
  ['response', 'noise', 'noise A'].some((name) => verdictOf(checks, name) !== 'pass')
