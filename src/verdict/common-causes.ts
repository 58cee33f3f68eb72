/** Causes that outputs share, each found once: volume, balance, polarity, a mono source, a hum on all of them. */
import type { Job } from '../job/job.js'
import { inDb, inDbv, inHz } from '../units/words.js'
import { levelDeviationDb, worstPlace } from './checks.js'
import { type Judged, verdictOf } from './judged.js'
import type { Finding } from './parts.js'
import type { ToneControl } from './tone-control.js'

/** What all outputs have in common and no output is to blame for. */
export interface Common {
  /** How far the outputs of each side are off together, dB; 0 where they are not. */
  readonly leftDb: number
  readonly rightDb: number
  readonly isOffCentre: boolean
  readonly areAllInverted: boolean
  readonly areAllSummed: boolean
  readonly areAllHumming: boolean
  readonly tone: ToneControl | null
  /** Where the source itself ends (Hz), and the outputs whose response is as it should be below that. */
  readonly sourceEnd: { readonly freqHz: number; readonly responseOf: ReadonlySet<number> } | null
}

/** All outputs off by the same amount, and by more than the tolerance: the volume, not the outputs. */
export function volumeFinding(judged: readonly Judged[], job: Job): { finding: Finding; offsetDb: number } | null {
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
export function balanceFinding(
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

export function allInverted(judged: readonly Judged[]): Finding | null {
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
export function allSummed(judged: readonly Judged[]): Finding | null {
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
export function allHum(judged: readonly Judged[]): Finding | null {
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

/** The same cliff on most outputs that reach so high is the source's: a lossy file, or a lower sample rate. */
export function sourceEnd(judged: readonly Judged[], job: Job): (Common['sourceEnd'] & { finding: Finding }) | null {
  const able = judged.filter(({ measures: { isDead, spec } }) => !isDead && spec.highHz === null)
  const limitsHz = able
    .flatMap(({ measures }) => measures.lead.analysis.lossySource.bandLimitHz ?? [])
    .sort((a, b) => a - b)
  const freqHz = limitsHz[limitsHz.length >> 1]
  if (limitsHz.length < Math.max(2, 0.6 * able.length) || freqHz === undefined) return null
  const explained = able.filter(({ measures, checks }) => {
    if (verdictOf(checks, 'response') === 'pass' || !measures.response) return false
    const { response } = measures
    const levelDb = response.levelDb.map((level, i) => (response.freqHz[i] > SOURCE_SHARE * freqHz ? 0 : level))
    return worstPlace({ ...measures, response: { ...response, levelDb } }, job.limits.flatnessDbMax)?.verdict !== 'fail'
  })
  if (explained.length === 0) return null
  const outputs = explained.map(({ measures }) => measures.lead.outputNumber).sort((a, b) => a - b)
  return {
    freqHz,
    responseOf: new Set(outputs),
    finding: {
      kind: 'lossy source',
      verdict: 'unsure',
      outputs,
      title: `Nothing above ${inHz(freqHz)} reaches the outputs`,
      because: `${outputs.length} outputs end in the same cliff there; below it their response is as it should be. A lossy file or link, or a lower sample rate, does that, and no output.`,
      next: 'Play the track as it was written: the WAV file, by cable, disc or stick. Then the rest of the response can be judged.',
    },
  }
}

/** Up to this part of where the source ends, its own filter does nothing yet. */
const SOURCE_SHARE = 0.93
