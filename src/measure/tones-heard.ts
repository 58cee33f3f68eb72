/** The steady tones that a take holds, and how fast each of them gets late. */
import { type Section, sectionStartS, sectionsOf } from '../stimulus/layout.js'
import { type Complex, factorFor, type Mixed, mixOf } from './mix.js'
import type { Straight } from './refine.js'
import { type Burst, medianOf, phasorAt, strengthOf, type ToneLateness, toneLatenessOf } from './tone-lateness.js'

/** A tone that holds less of the power that is there tells nothing. */
const SHARE_MIN = 0.02
/** Only in a tone that holds most of it is a jump looked for: noise may turn the phase of another by a whole period. */
const SHARE_FOR_JUMP = 0.5
/** Let a tone settle; leave before it ends. */
const SETTLE_S = 0.2
const LEAVE_S = 0.1
/** The louder steps of a staircase, where phase is steady even under noise. */
const STEP_PEAK_FS_MIN = 0.25
const STEP_SETTLE_S = 0.04
const STEP_LEAVE_S = 0.012
/** What a crystal wanders by itself within seconds; no slope counts as better known. */
const WANDER = 1e-8
/** A jump inside a tone: so far outside the spread, and at least so much (s). */
const JUMP_SPREADS = 8
const JUMP_MIN_S = 5e-6

/** One tone that was heard: slope of its lateness around a moment. */
export interface Heard {
  readonly freqHz: number
  readonly slope: number
  readonly slopeError: number
  /** Moment of the track at which a parabola has that slope: loud steps pull it to their side. */
  readonly atS: number
}

/** A take in which tones are listened for, its even clock, and what sounds there in the track's silence. */
export interface Listening {
  readonly mixed: Mixed
  readonly straight: Straight
  readonly silence: Complex
}

/** Silence is heard at a rate of this or more. */
const SILENCE_HZ = 22_050
const SILENCE_FROM_S = 1
const SILENCE_S = 2

export function listeningTo(mixed: Mixed, straight: Straight): Listening {
  const { startSample, samplesPerS } = straight
  const factor = factorFor(mixed.audio, SILENCE_HZ)
  const from = Math.round(startSample + (sectionStartS('silence') + SILENCE_FROM_S) * samplesPerS)
  const silence = mixOf(mixed, factor, from, Math.floor((SILENCE_S * samplesPerS) / factor))
  return { mixed, straight, silence }
}

/** The steady tones of some frequencies, those that are heard. */
export function tonesHeard(listening: Listening, isWanted: (freqHz: number) => boolean): Heard[] {
  const sections = sectionsOf().filter(({ kind, tones }) => kind === 'tone' && isWanted(tones[0].freqHz))
  return sections.flatMap(({ startS, durationS, tones: [{ freqHz }] }) => {
    const burst = { freqHz, startS, fromS: startS + SETTLE_S, toS: startS + durationS - LEAVE_S }
    return heardIn(listening, [burst])
  })
}

/** The staircase of a frequency; rateGuess as for toneLatenessOf. */
export function stepsHeard(listening: Listening, freqHz: number, rateGuess: number): Heard[] {
  const steps = sectionsOf().filter(
    ({ kind, tones }) => kind === 'staircase' && tones[0].freqHz === freqHz && tones[0].peakFs >= STEP_PEAK_FS_MIN,
  )
  const bursts = steps.map(({ startS, durationS }: Section) => ({
    freqHz,
    startS,
    fromS: startS + STEP_SETTLE_S,
    toS: startS + durationS - STEP_LEAVE_S,
  }))
  return heardIn(listening, bursts, rateGuess)
}

function heardIn(listening: Listening, bursts: readonly Burst[], rateGuess = 0): Heard[] {
  const late = toneLatenessOf(listening.mixed, listening.straight, bursts, rateGuess)
  if (!late || late.share < SHARE_MIN) return []
  const jump = jumpIn(late)
  const { freqHz, atS, weights } = late
  // Samples lost or added inside the tone are none of its slope.
  const lateS = jump ? late.lateS.map((value, i) => (i > jump.after ? value - jump.lateS : value)) : late.lateS
  const sumOf = (value: (i: number) => number): number => weights.reduce((sum, weight, i) => sum + weight * value(i), 0)
  const total = sumOf(() => 1)
  const meanAt = sumOf((i) => atS[i]) / total
  const meanLate = sumOf((i) => lateS[i]) / total
  const squares = sumOf((i) => (atS[i] - meanAt) ** 2)
  const slope = sumOf((i) => (atS[i] - meanAt) * (lateS[i] - meanLate)) / squares
  const rest = sumOf((i) => (lateS[i] - meanLate - slope * (atS[i] - meanAt)) ** 2)
  const slopeAtS = meanAt + (0.5 * sumOf((i) => (atS[i] - meanAt) ** 3)) / squares
  const spread = Math.sqrt(rest / (atS.length - 2) / squares)
  const slopeError = Math.hypot(spread, steadyError(listening, late), WANDER)
  return [{ freqHz, slope, slopeError, atS: slopeAtS }]
}

/** What hum beside the tone may turn it by, which no spread tells: as strong as in the silence, and as slow as can be. */
function steadyError({ mixed, straight, silence }: Listening, { freqHz, atS, strength }: ToneLateness): number {
  const stepRad = (2 * Math.PI * freqHz * factorFor(mixed.audio, SILENCE_HZ)) / straight.samplesPerS
  const hum = strengthOf(phasorAt(silence, 0, silence.re.length, stepRad)) / silence.re.length
  return hum / strength / (2 * Math.PI * freqHz) / (atS[atS.length - 1] - atS[0])
}

/** The largest change that stays, if there is one: after which block, and how much later (s, up to whole periods). */
function jumpIn({ freqHz, atS, lateS, spreadS, share }: ToneLateness): { after: number; lateS: number } | null {
  if (share < SHARE_FOR_JUMP) return null
  const rates = lateS.slice(1).map((late, i) => (late - lateS[i]) / (atS[i + 1] - atS[i]))
  const rate = medianOf(rates)
  const level = lateS.map((late, i) => late - rate * (atS[i] - atS[0]))
  let best = 0
  let at = -1
  for (let i = 2; i < level.length - 2; i++) {
    // The block that holds the place itself is neither before nor after it.
    const step = medianOf(level.slice(i + 1, i + 9)) - medianOf(level.slice(Math.max(0, i - 8), i))
    if (Math.abs(step) > Math.abs(best)) [best, at] = [step, i]
  }
  // All else that sounds could turn the phase by so much if it were of the tone's frequency.
  const turnedS = Math.sqrt((1 - share) / share) / (2 * Math.PI * freqHz)
  return Math.abs(best) > Math.max(JUMP_SPREADS * spreadS, turnedS, JUMP_MIN_S) ? { after: at, lateS: best } : null
}
