/** Says that samples are missing from a take, or are there too often: how many, and where. */
import { type Section, sectionsOf } from '../stimulus/layout.js'
import { StopError } from '../units/stop.js'

/** A jump, and between which moments of the track it lies. */
export interface Jump {
  /** Later by this after it (s); missing samples are negative. */
  readonly jumpS: number
  readonly fromS: number
  readonly toS: number
}

/** A stretch longer than this is given by both ends. */
const STRETCH_MAX_S = 1.5
/** A place that is known this well is given to the thousandth. */
const EXACT_S = 0.005

/** @param takeS time in the take (s) of a moment of the track */
export function missingSamples(
  jump: Jump,
  sampleRateHz: number,
  where: string,
  takeS: (tS: number) => number,
): StopError {
  const { amount, isOne } = amountOf(Math.abs(jump.jumpS), sampleRateHz)
  return new StopError(
    jump.jumpS < 0
      ? `samples were skipped: ${amount} ${isOne ? 'is' : 'are'} missing ${placeSaid(jump, takeS)}`
      : `samples were added: ${amount} too ${isOne ? 'much' : 'many'} ${placeSaid(jump, takeS)}`,
    where,
    'Close other programs on the recording computer, record into a larger buffer, and take it again.',
  )
}

/** 'in the left sweep, 10.204 s into the take', 'between the left sweep and the right sweep, about 14.2 s into the take'. */
export function placeSaid({ fromS, toS }: Jump, takeS: (tS: number) => number): string {
  const places = placesOf()
  const first = places.filter(({ startS }) => startS <= fromS).at(-1) ?? places[0]
  const last = places.find(({ endS }) => endS >= toS) ?? places[places.length - 1]
  const name = first === last ? `in ${first.name}` : `between ${first.name} and ${last.name}`
  const middle = takeS((fromS + toS) / 2)
  if (toS - fromS < EXACT_S) return `${name}, ${middle.toFixed(3)} s into the take`
  if (toS - fromS < STRETCH_MAX_S) return `${name}, about ${middle.toFixed(1)} s into the take`
  return `${name}, from ${takeS(fromS).toFixed(1)} to ${takeS(toS).toFixed(1)} s into the take`
}

interface Place {
  readonly name: string
  readonly startS: number
  readonly endS: number
}

/** The parts of the track by their names; a staircase is one. */
function placesOf(): readonly Place[] {
  const places: Place[] = []
  for (const section of sectionsOf()) {
    const name = nameOf(section)
    const { startS } = section
    const endS = startS + section.durationS
    const before = places.at(-1)
    if (before?.name === name) places[places.length - 1] = { ...before, endS }
    else places.push({ name, startS, endS })
  }
  return places
}

function nameOf({ kind, tones }: Section): string {
  switch (kind) {
    case 'preroll':
      return 'the start'
    case 'opening':
      return 'the opening marker'
    case 'silence':
      return 'the silence'
    case 'sweep_left':
      return 'the left sweep'
    case 'sweep_right':
      return 'the right sweep'
    case 'tone':
      return `the ${tones[0].freqHz} Hz tone`
    case 'quiet_tone':
      return 'the quiet tone'
    case 'staircase':
      return `the level steps of ${tones[0].freqHz} Hz`
    case 'two_tone':
      return 'the two-tone sections'
    case 'closing':
      return 'the closing marker'
  }
}

function amountOf(seconds: number, sampleRateHz: number): { amount: string; isOne: boolean } {
  const ms = 1000 * seconds
  if (ms >= 2) return { amount: `${ms.toFixed(ms < 10 ? 1 : 0)} ms`, isOne: false }
  const count = Math.max(1, Math.round(seconds * sampleRateHz))
  return { amount: count === 1 ? '1 sample' : `${count} samples`, isOne: count === 1 }
}
