/**
 * Holds each figure of an output against the job's limit: level, polarity, sides, response, delay; the rest is in
 * clean-checks.ts. Where a limit lies within a figure's uncertainty, the check says what would settle it.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { estimate } from '../measure/estimate.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { maskFor } from '../measure/response.js'
import type { SectionKind } from '../stimulus/layout.js'
import { inDb, inHz, inMs, inVolts, listed } from '../units/words.js'
import { cleanChecks } from './clean-checks.js'
import { figureOf, held, worst } from './decision.js'
import type { Check, Verdict } from './parts.js'

/** Delay may be off by the limit, or by a twentieth of a period at the top of its band where that is longer. */
export const delayLimitS = ({ highHz }: Pick<OutputSpec, 'highHz'>, toleranceS: number): number =>
  Math.max(toleranceS, highHz === null ? 0 : 0.05 / highHz)

/** Level against the map, dB. */
export const levelDeviationDb = ({ deviationDb }: OutputMeasures): number => deviationDb.value

export function checksOf(one: OutputMeasures, job: Job): Check[] {
  if (one.isDead) return [deadCheck(one)]
  const checks = liveChecks(one, job).map((check) => doubtedBy(one, check))
  if (!one.isClipped) return checks
  // What an overdriven capture shows is the capture's fault until it is taken again.
  return checks.map((check) =>
    check.verdict === 'fail' ? { ...check, verdict: 'unsure', why: 'The capture was overdriven.' } : check,
  )
}

/** What each section of the track is read for. */
const READ_FROM: Readonly<Partial<Record<SectionKind, readonly string[]>>> = {
  sweep_left: ['level', 'polarity', 'sides', 'crosstalk', 'response', 'delay', 'identity'],
  sweep_right: ['level', 'polarity', 'sides', 'crosstalk', 'response', 'delay', 'identity'],
  silence: ['noise', 'noise A', 'noise 468', 'hum', 'thd'],
  tone: ['thd', 'thd+n'],
  quiet_tone: ['dynamic range', 'noise', 'noise A', 'noise 468', 'hum'],
  staircase: ['clean level'],
  two_tone: ['modulation distortion', 'difference-tone distortion'],
}

/** A figure that was read across an interruption cannot fail an output: the interruption does. */
function doubtedBy({ interruptions }: OutputMeasures, check: Check): Check {
  const isHit = interruptions.some(({ interruption }) => READ_FROM[interruption.section]?.includes(check.name))
  return check.verdict === 'fail' && isHit
    ? { ...check, verdict: 'unsure', why: 'An interruption lies in what it was read from: take it again.' }
    : check
}

function liveChecks(one: OutputMeasures, job: Job): Check[] {
  const { limits } = job
  return [
    identityCheck(one, job),
    levelCheck(one),
    polarityCheck(one),
    sidesCheck(one, job),
    responseCheck(one, limits.flatnessDbMax),
    delayCheck(one, limits.delayToleranceS),
    ...cleanChecks(one, limits),
  ]
}

const deadCheck = (one: OutputMeasures): Check => ({
  name: 'level',
  verdict: 'fail',
  figure: figureOf('level', 'V', one.levelVrms),
  expected: inVolts(one.spec.levelVrms),
  measured: 'nothing but noise',
  why: 'No signal that belongs to the track comes out of it.',
})

function identityCheck({ identity, spec, lead }: OutputMeasures, job: Job): Check {
  const own = job.outputs.find(({ number }) => number === lead.outputNumber)!
  const isOwn = identity.identifiedAs === lead.outputNumber
  const risky = identity.alikeWith.filter((number) => !isSameEntry(own, job.outputs.find((o) => o.number === number)!))
  const verdict: Verdict = risky.length > 0 ? 'unsure' : isOwn ? 'pass' : 'fail'
  return {
    name: 'identity',
    verdict,
    figure: null,
    expected: `${own.number} ${own.label}`,
    measured: isOwn ? `${own.number} ${own.label}` : `${spec.number} ${spec.label}`,
    why:
      verdict === 'unsure'
        ? `It cannot be told from ${listed(risky)} by what the map says.`
        : isOwn
          ? ''
          : `Its sides, band and level are those of ${spec.number} ${spec.label}.`,
  }
}

/** Two entries between which a mix-up would change nothing that anyone hears. */
export const isSameEntry = (a: OutputSpec, b: OutputSpec): boolean =>
  a.leftGain === b.leftGain &&
  a.rightGain === b.rightGain &&
  a.lowHz === b.lowHz &&
  a.highHz === b.highHz &&
  a.faderGroup === b.faderGroup &&
  a.levelVrms === b.levelVrms

function levelCheck(one: OutputMeasures): Check {
  const { levelVrms, spec } = one
  const { value: deviationDb, u: uDb } = one.deviationDb
  const verdict = held(deviationDb, uDb, { min: -spec.levelToleranceDb, max: spec.levelToleranceDb })
  return {
    name: 'level',
    verdict,
    figure: figureOf('level', 'V', levelVrms),
    expected: `${inVolts(spec.levelVrms)} ± ${spec.levelToleranceDb} dB at ${inHz(spec.referenceHz)}`,
    measured: `${inVolts(levelVrms.value)} (${inDb(deviationDb)})`,
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? `It is ${inDb(deviationDb)} from what the map says.`
          : `The limit lies within the uncertainty of ± ${uDb.toFixed(2)} dB: calibrate the input against the meter.`,
  }
}

function polarityCheck({ polarity, spec }: OutputMeasures): Check {
  const words = { 1: 'normal', [-1]: 'inverted' } as const
  const isRight = polarity?.sign === spec.polarity
  const verdict: Verdict = !polarity?.isSure ? 'unsure' : isRight ? 'pass' : 'fail'
  return {
    name: 'polarity',
    verdict,
    figure: polarity && {
      quantity: 'polarity',
      value: polarity.sign,
      unit: '',
      u: null,
      budget: [],
      isAtMost: false,
      isAtLeast: false,
      freqHz: null,
      method: 'excess phase over the passband/1',
    },
    expected: words[spec.polarity],
    measured: polarity?.isSure ? words[polarity.sign] : 'not settled',
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? `Over its whole band the phase is that of ${polarity!.sign === 1 ? 'a normal' : 'an inverted'} output, agreement ${(100 * polarity!.confidence).toFixed(0)} %.`
          : polarity
            ? `Its phase fits no sign well (${(100 * polarity.confidence).toFixed(0)} %): an all-pass or a time-variant effect is in the way.`
            : 'Too little signal stands clear of the noise.',
  }
}

const SIDES_SAID: Record<OutputMeasures['sides'], string> = {
  summed: 'It hears both sides alike.',
  'other side': 'It hears the other side in place of its own.',
  'as mapped': 'It hears the other side as well.',
  'one side missing': 'It hears one side only.',
  opposed: 'The two sides reach it in opposite polarity to the map.',
}

function sidesCheck(one: OutputMeasures, job: Job): Check {
  const { spec, crosstalkDb, sideBalanceDb, sides } = one
  const max = job.limits.crosstalkDbMax
  if (crosstalkDb) {
    const side = Math.abs(spec.leftGain) > Math.abs(spec.rightGain) ? 'left' : 'right'
    const verdict = held(crosstalkDb.value, crosstalkDb.u, { max }, crosstalkDb)
    return {
      name: 'crosstalk',
      verdict,
      figure: figureOf('crosstalk', 'dB', crosstalkDb),
      expected: `${side} side alone, the other at ${inDb(max)} or less`,
      measured: `${crosstalkDb.isAtMost ? 'at most ' : ''}${inDb(crosstalkDb.value)} at ${inHz(crosstalkDb.freqHz!)}`,
      why: verdict === 'pass' ? '' : SIDES_SAID[sides],
    }
  }
  const balanceDb = sideBalanceDb?.value ?? 0
  const limitDb = spec.levelToleranceDb
  const phaseVerdict: Verdict = sides === 'opposed' ? 'fail' : 'pass'
  const balanceVerdict: Verdict = sideBalanceDb
    ? held(balanceDb, sideBalanceDb.u, { min: -limitDb, max: limitDb })
    : 'unsure'
  const verdict = worst([balanceVerdict, phaseVerdict])
  return {
    name: 'sides',
    verdict,
    figure: figureOf('side balance', 'dB', sideBalanceDb),
    expected: `left and right as mapped, within ${limitDb} dB`,
    measured: sideBalanceDb ? `left against right ${inDb(balanceDb)}` : 'not measured',
    why:
      verdict === 'pass'
        ? ''
        : phaseVerdict === 'fail'
          ? SIDES_SAID.opposed
          : !sideBalanceDb
            ? 'Nothing stands clear of the noise.'
            : 'It hears one side more than the other.',
  }
}

/** Where a response is furthest outside its mask (or nearest to it), and the verdict over all of it. */
export interface MaskPlace {
  readonly freqHz: number
  readonly levelDb: number
  readonly verdict: Verdict
}

/** @returns null where there is no response */
export function worstPlace({ response, spec }: OutputMeasures, toleranceDb: number): MaskPlace | null {
  if (!response) return null
  const mask = maskFor(spec, toleranceDb, response.freqHz)
  let [worstAt, outsideMost] = [0, Number.NEGATIVE_INFINITY]
  const verdicts = response.levelDb.map((levelDb, i) => {
    const limit = { min: mask.minDb[i] ?? undefined, max: mask.maxDb[i] ?? undefined }
    const outside = Math.max(
      (limit.min ?? Number.NEGATIVE_INFINITY) - levelDb,
      levelDb - (limit.max ?? Number.POSITIVE_INFINITY),
    )
    if (outside > outsideMost) [worstAt, outsideMost] = [i, outside]
    return held(levelDb, response.uDb[i], limit)
  })
  return { freqHz: response.freqHz[worstAt], levelDb: response.levelDb[worstAt], verdict: worst(verdicts) }
}

function responseCheck(one: OutputMeasures, toleranceDb: number): Check {
  const { response, spec } = one
  const place = worstPlace(one, toleranceDb)
  const band = `${inHz(spec.lowHz ?? 20)} to ${inHz(spec.highHz ?? 20_000)}`
  const expected = `flat ± ${toleranceDb} dB, ${band}`
  if (!response || !place) {
    return {
      name: 'response',
      verdict: 'unsure',
      figure: null,
      expected,
      measured: 'not measured',
      why: 'Too little signal stands clear of the noise.',
    }
  }
  // The figure: the largest deviation where the mask asks for flatness.
  const mask = maskFor(spec, toleranceDb, response.freqHz)
  let flat = { freqHz: spec.referenceHz, levelDb: 0, u: 0 }
  response.levelDb.forEach((levelDb, i) => {
    const isFlatZone = (mask.minDb[i] ?? -99) >= -toleranceDb - 1e-9
    if (isFlatZone && Math.abs(levelDb) > Math.abs(flat.levelDb)) {
      flat = { freqHz: response.freqHz[i], levelDb, u: response.uDb[i] }
    }
  })
  const shown = place.verdict === 'pass' ? flat : place
  return {
    name: 'response',
    verdict: place.verdict,
    figure: figureOf(
      'flatness',
      'dB',
      estimate(shown.levelDb, { noise: flat.u / 2 }, 'response from sweep, 1/12 octave/1', { freqHz: shown.freqHz }),
    ),
    expected,
    measured: `${inDb(shown.levelDb)} at ${inHz(shown.freqHz)}`,
    why: place.verdict === 'pass' ? '' : `Outside its mask at ${inHz(place.freqHz)}.`,
  }
}

function delayCheck({ delayS, spec, lead, polarity }: OutputMeasures, toleranceS: number): Check {
  const limitS = delayLimitS(spec, toleranceS)
  const expected = `within ± ${(1000 * limitS).toFixed(2)} ms of the map`
  if (!delayS) {
    const isAlone = polarity?.isSure === true
    return {
      name: 'delay',
      verdict: isAlone ? 'pass' : 'unsure',
      figure: null,
      expected,
      measured: 'not comparable',
      why: isAlone
        ? `No other output was taken together with it in ${lead.patchName}.`
        : 'A delay cannot be read while its polarity is not settled.',
    }
  }
  const verdict = held(delayS.value, delayS.u, { min: -limitS, max: limitS })
  return {
    name: 'delay',
    verdict,
    figure: figureOf('delay', 's', delayS),
    expected,
    measured: inMs(delayS.value),
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? `It is ${delayS.value > 0 ? 'later' : 'earlier'} than the others.`
          : 'The limit lies within the uncertainty of the delay.',
  }
}
