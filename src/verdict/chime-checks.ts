/**
 * A chime held against the outputs that it should come from: there on each of them, and silent on the others.
 *
 * Levels are compared within one hook-up only: each time it sounds it may be as loud as it likes.
 */
import type { ChimeSpec } from '../job/chimes.js'
import type { Job, OutputSpec } from '../job/job.js'
import { CHIME_METHODS } from '../measure/chime.js'
import { difference, type Estimate } from '../measure/estimate.js'
import { inDb, inHz, listed, plain } from '../units/words.js'
import { figureOf, held, worst } from './decision.js'
import type { Check, Figure, Finding, Verdict } from './parts.js'

/** On one output. */
export interface ChimeOnOutput {
  readonly number: number
  /** Rms where it is loudest (dBV); at most where it isn't heard. */
  readonly levelDbv: Estimate
  readonly isHeard: boolean
}

/** What one listening gave. */
export interface ChimeHeard {
  readonly outputs: readonly ChimeOnOutput[]
  readonly length: Estimate
  readonly rate: Estimate | null
  readonly freq: Estimate
  readonly isCutOff: boolean
}

export interface ChimeJudgement {
  readonly verdict: Verdict
  readonly checks: readonly Check[]
  readonly figures: readonly Figure[]
  readonly findings: readonly Finding[]
  /** Heard from, level, length, rate, frequency, loudest elsewhere. */
  readonly cells: readonly string[]
}

const AGAIN = 'Make it sound again with the radio paused.'
const LOOK_UP =
  'Look up in the vehicle maker’s information which speaker it comes from, then check the chime settings of the interface and its wiring.'

/**
 * @param heard null: nothing but noise within the time
 * @param listened outputs of the hook-up
 */
export function judgeChime(
  spec: ChimeSpec,
  heard: ChimeHeard | null,
  listened: readonly number[],
  job: Job,
): ChimeJudgement {
  const expected = spec.outputs.filter((number) => listened.includes(number))
  if (heard === null) return notHeard(spec, expected, job)
  const of = (number: number): ChimeOnOutput => heard.outputs.find((output) => output.number === number)!
  const others = listened.filter((number) => ![...spec.outputs, ...spec.alsoAllowed].includes(number))
  const candidates = expected.some((number) => of(number).isHeard) ? expected : listened
  const loudest = candidates.map(of).reduce((a, b) => (b.levelDbv.value > a.levelDbv.value ? b : a))
  const rated = (number: number): Rated => rate(of(number), loudest)
  const due = expected.map((number) => {
    const one = rated(number)
    return { ...one, verdict: dueVerdict(one, spec, specOf(job, number), heard.freq.value) }
  })
  const strays = others.map((number) => {
    const one = rated(number)
    const { value, u } = one.relative
    return { ...one, verdict: held(value, u, { max: -spec.separationDb }, { isAtMost: !one.isHeard }) }
  })
  const checks = [
    checkOf(`${spec.name}: its outputs`, due, `heard from ${listed(expected)}`, 'least', job),
    ...(strays.length === 0
      ? []
      : [
          checkOf(`${spec.name}: other outputs`, strays, `${inDb(-spec.separationDb)} or lower elsewhere`, 'most', job),
        ]),
  ]
  const loudestStray =
    strays.length === 0 ? null : strays.reduce((a, b) => (b.relative.value > a.relative.value ? b : a))
  const from = heard.outputs.filter(({ number, isHeard }) => {
    return isHeard && rated(number).relative.value > -spec.separationDb
  })
  const level = figureOf(`${spec.name}: level`, 'dBV', loudest.levelDbv)
  const more = [
    figureOf(`${spec.name}: length`, 's', heard.length),
    figureOf(`${spec.name}: repetition`, 'Hz', heard.rate),
    figureOf(`${spec.name}: frequency`, 'Hz', heard.freq),
  ]
  return {
    verdict: worst(checks.map(({ verdict }) => verdict)),
    checks,
    figures: [level, ...more].filter((figure) => figure !== null),
    findings: findingsOf(spec, due, strays, job),
    cells: [
      listed(from.map(({ number }) => number)) || '–',
      plain(loudest.levelDbv.value, 1),
      `${plain(heard.length.value, 1)}${heard.isCutOff ? ' or more' : ''}`,
      heard.rate ? plain(heard.rate.value, 1) : '–',
      inHz(heard.freq.value),
      loudestStray === null
        ? '–'
        : `${loudestStray.isHeard ? '' : '< '}${plain(loudestStray.relative.value, 0)} (${loudestStray.number})`,
    ],
  }
}

interface Rated {
  readonly number: number
  readonly isHeard: boolean
  /** Against the loudest of its outputs. */
  readonly relative: Estimate
}
type Judged = Rated & { readonly verdict: Verdict }

function rate(output: ChimeOnOutput, loudest: ChimeOnOutput): Rated {
  const { number, isHeard, levelDbv } = output
  const relative = difference(levelDbv, `output ${number}`, loudest.levelDbv, 'loudest', CHIME_METHODS.over)
  // Against itself there is nothing to be unsure of.
  return output === loudest
    ? { number, isHeard, relative: { ...relative, value: 0, u: 0, budget: [] } }
    : { number, isHeard, relative: { ...relative, isAtMost: !isHeard } }
}

/** An output whose band does not carry the chime need not have it at full level, only at all. */
function dueVerdict({ isHeard, relative }: Rated, spec: ChimeSpec, output: OutputSpec, freqHz: number): Verdict {
  const isCarried = freqHz >= (output.lowHz ?? 0) && freqHz <= (output.highHz ?? Number.POSITIVE_INFINITY)
  if (!isCarried) return isHeard ? 'pass' : 'unsure'
  return isHeard ? held(relative.value, relative.u, { min: -spec.separationDb }) : 'fail'
}

function checkOf(name: string, all: readonly Judged[], expected: string, which: 'least' | 'most', job: Job): Check {
  const sign = which === 'least' ? 1 : -1
  const verdict = worst(all.map((one) => one.verdict))
  const figured = all.reduce((a, b) => (sign * b.relative.value < sign * a.relative.value ? b : a))
  const off = all.filter((one) => one.verdict !== 'pass')
  const words = ({ number, isHeard, relative }: Rated): string =>
    isHeard ? `${number} ${inDb(relative.value)}` : `${number} not heard`
  return {
    name,
    verdict,
    figure: figureOf('level against the loudest', 'dB', figured.relative),
    expected,
    measured: all.map(words).join(', '),
    why: off.length === 0 ? '' : `Off: ${listed(off.map(({ number }) => nameOf(job, number)))}. ${AGAIN}`,
  }
}

function findingsOf(spec: ChimeSpec, due: readonly Judged[], strays: readonly Judged[], job: Job): Finding[] {
  const wrong = due.filter(({ verdict }) => verdict !== 'pass')
  const also = strays.filter(({ verdict, isHeard }) => verdict !== 'pass' && isHeard)
  const finding = (title: string, of: readonly Judged[], because: string, next: string): Finding => ({
    kind: 'chime',
    verdict: worst(of.map(({ verdict }) => verdict)),
    outputs: of.map(({ number }) => number),
    title,
    because,
    next,
  })
  const names = (of: readonly Judged[]): string => outputsInWords(job, of)
  const levels = (of: readonly Judged[]): string =>
    of.map(({ number, isHeard, relative }) => `${number}: ${isHeard ? inDb(relative.value) : 'not heard'}`).join('; ')
  if (wrong.length === due.length && also.length > 0 && due.every(({ isHeard }) => !isHeard)) {
    const because = `It stands out of the noise there, and on ${names(due)} it does not.`
    return [
      finding(`${spec.name} comes from ${names(also)} in place of ${names(due)}`, [...due, ...also], because, LOOK_UP),
    ]
  }
  return [
    ...(wrong.length === 0
      ? []
      : [
          finding(
            wrong.every(({ isHeard }) => !isHeard)
              ? `${spec.name} is missing from ${names(wrong)}`
              : `${spec.name} is weak on ${names(wrong)}`,
            wrong,
            `Against the loudest of its outputs, ${levels(wrong)}; ${inDb(-spec.separationDb)} or more is asked for.`,
            LOOK_UP,
          ),
        ]),
    ...(also.length === 0
      ? []
      : [
          finding(
            `${spec.name} also comes from ${names(also)}`,
            also,
            `Against the loudest of its outputs, ${levels(also)}; ${inDb(-spec.separationDb)} or less is asked for.`,
            LOOK_UP,
          ),
        ]),
  ]
}

function notHeard(spec: ChimeSpec, expected: readonly number[], job: Job): ChimeJudgement {
  const waited = `Within ${plain(spec.waitS, 0)} s nothing stood out of the noise.`
  return {
    verdict: 'fail',
    checks: [
      {
        name: `${spec.name}: its outputs`,
        verdict: 'fail',
        figure: null,
        expected: `heard from ${listed(expected)}`,
        measured: 'not heard',
        why: `${waited} ${AGAIN}`,
      },
    ],
    figures: [],
    findings: [
      {
        kind: 'chime',
        verdict: 'fail',
        outputs: [...expected],
        title: `${spec.name} was not heard`,
        because: `${waited} It should come from ${outputsInWords(
          job,
          expected.map((number) => ({ number })),
        )}.`,
        next: 'Make it sound again and watch the instrument panel: if the warning shows there and nothing is heard, check the chime settings and the data wires of the interface.',
      },
    ],
    cells: ['not heard', '–', '–', '–', '–', '–'],
  }
}

/** So far under the middle of the others it is hardly heard beside them: common practice, no source. */
const QUIET_DB = 20

/** A chime that was heard, at the level of its loudest output. */
export interface ChimeLevel {
  readonly spec: ChimeSpec
  readonly levelDbv: number
}

/**
 * Whether a chime is much quieter than the others of its hook-up; with fewer than two others nothing can be said.
 * @param all those of the hook-up, itself included
 */
export function quietFinding({ spec, levelDbv }: ChimeLevel, all: readonly ChimeLevel[]): Finding | null {
  const others = all.filter((one) => one.spec !== spec).map((one) => one.levelDbv)
  if (others.length < 2) return null
  const middleDbv = others.sort((a, b) => a - b)[Math.floor((others.length - 1) / 2)]
  if (levelDbv > middleDbv - QUIET_DB) return null
  return {
    kind: 'chime',
    verdict: 'unsure',
    outputs: [...spec.outputs],
    title: `${spec.name} is much quieter than the others`,
    because: `${plain(levelDbv, 1)} dBV, the others about ${plain(middleDbv, 1)} dBV.`,
    next: 'Turn its volume up in the vehicle’s settings, where there is one, and listen again; then check the chime settings of the interface.',
  }
}

const specOf = (job: Job, number: number): OutputSpec => job.outputs.find((output) => output.number === number)!
const nameOf = (job: Job, number: number): string => `${number} ${specOf(job, number).label}`
const outputsInWords = (job: Job, of: readonly { readonly number: number }[]): string =>
  `output${of.length > 1 ? 's' : ''} ${listed(of.map(({ number }) => nameOf(job, number)))}`
