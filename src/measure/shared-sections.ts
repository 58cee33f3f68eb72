/**
 * Which outputs share a section: what the head unit's tone control does is on all of them, what the amplifier's own
 * equalisation does is on one or on a pair.
 *
 * An output with a band of its own cannot show a section whose centre lies outside; it shows what the section does inside. So
 * the section is taken off its curve, and it is shared if less is left to explain.
 */
import { type EqSection, sectionDb } from '../dsp/cookbook.js'
import { multiplyEdge } from './edge-filters.js'
import { type Equaliser, type FoundSection, findEqualiser } from './equaliser.js'
import { axisOf } from './equaliser-fit.js'
import type { LevelCurve } from './equaliser-region.js'

export const SHARED_SECTIONS_METHOD = 'shared equalisation, by section and by what a band shows of it/1'

export interface OutputSections {
  readonly outputNumber: number
  readonly curve: LevelCurve
  /** Corners that the channel map expects. */
  readonly band: { readonly lowHz: number | null; readonly highHz: number | null }
  readonly equaliser: Equaliser
}

export interface SharedSection {
  /** Weighted mean of what the outputs that hold its centre show. */
  readonly section: EqSection
  /** Outputs that have it, rising. */
  readonly outputNumbers: readonly number[]
  /** Outputs that would show it and do not. */
  readonly lackingNumbers: readonly number[]
  /** Outputs whose band cannot tell. */
  readonly unseenNumbers: readonly number[]
}

/** Two readings of one section may differ by this beyond three times their uncertainty: the fit's own targets. */
const ALIKE = { gainDb: 0.1, lnFreq: 0.01, lnQ: 0.05 } as const
/** A section whose level varies by less than this over a band cannot be told there. */
const SEEN_DB = 0.15
/** What may be left (rms, level aside) where a section explains all that an output shows. */
const LEFT_DB = 0.05

/**
 * @param outputs those that are alive, each with what was found on it; not explained ones take no part
 * @returns each distinct section with the outputs that have it, by frequency
 */
export function sharedSections(outputs: readonly OutputSections[], sampleRateHz = 48_000): SharedSection[] {
  const explained = outputs.filter(({ equaliser }) => equaliser.isExplained)
  const groups = groupsOf(explained)
  const pending = groups.map((group) => ({ group, section: meanOf(group.sections) }))
  // The wider a section is known, the likelier it is common: those on most outputs are taken off first.
  pending.sort((a, b) => b.group.outputNumbers.length - a.group.outputNumbers.length)
  const found = pending.map(({ group, section }) => {
    const others = explained.filter(({ outputNumber }) => !group.outputNumbers.includes(outputNumber))
    const answers = others.map((one) => ({ number: one.outputNumber, answer: answerOf(one, section, sampleRateHz) }))
    const numbers = (wanted: Answer): number[] =>
      answers.filter(({ answer }) => answer === wanted).map(({ number }) => number)
    const rising = (values: readonly number[]): number[] => [...values].sort((a, b) => a - b)
    return {
      section,
      outputNumbers: rising([...group.outputNumbers, ...numbers('has')]),
      lackingNumbers: rising(numbers('lacks')),
      unseenNumbers: rising(numbers('unseen')),
    }
  })
  return found.sort((a, b) => a.section.freqHz - b.section.freqHz)
}

interface Group {
  readonly sections: FoundSection[]
  readonly outputNumbers: number[]
}

/** Sections that are the same within their uncertainties, of outputs that hold their centre. */
function groupsOf(outputs: readonly OutputSections[]): Group[] {
  const groups: Group[] = []
  for (const { outputNumber, equaliser } of outputs) {
    for (const section of equaliser.sections.filter(({ freqHz }) => isInBand(equaliser, freqHz))) {
      const same = groups.find(
        ({ sections, outputNumbers }) => !outputNumbers.includes(outputNumber) && areAlike(sections[0], section),
      )
      if (same) {
        same.sections.push(section)
        same.outputNumbers.push(outputNumber)
      } else groups.push({ sections: [section], outputNumbers: [outputNumber] })
    }
  }
  return groups
}

const isInBand = ({ lowEdge, highEdge, fromHz, toHz }: Equaliser, freqHz: number): boolean =>
  freqHz >= Math.max(fromHz, lowEdge?.halfPowerHz ?? 0) &&
  freqHz <= Math.min(toHz, highEdge?.halfPowerHz ?? Number.POSITIVE_INFINITY)

/** Gain of a shelf as a low one: the two names of one shelf have opposite gains. */
const plainGainDb = ({ kind, gainDb }: EqSection): number => (kind === 'high_shelf' ? -gainDb : gainDb)

function areAlike(a: FoundSection, b: FoundSection): boolean {
  if ((a.kind === 'peaking') !== (b.kind === 'peaking')) return false
  const within = (difference: number, ua: number, ub: number, slack: number): boolean =>
    Math.abs(difference) <= slack + 3 * Math.hypot(ua, ub)
  return (
    within(plainGainDb(a) - plainGainDb(b), a.gainDbU, b.gainDbU, ALIKE.gainDb) &&
    within(Math.log(a.freqHz / b.freqHz), a.freqHzU / a.freqHz, b.freqHzU / b.freqHz, ALIKE.lnFreq) &&
    within(Math.log(a.q / b.q), a.qU / a.q, b.qU / b.q, ALIKE.lnQ)
  )
}

/** Mean of each parameter, weighted by its own uncertainty; named as the first one is. */
function meanOf(sections: readonly FoundSection[]): EqSection {
  const mean = (value: (one: FoundSection) => number, u: (one: FoundSection) => number): number => {
    let [sum, weights] = [0, 0]
    for (const one of sections) {
      const weight = 1 / Math.max(u(one), 1e-9) ** 2
      sum += weight * value(one)
      weights += weight
    }
    return sum / weights
  }
  const { kind } = sections[0]
  const gainDb = mean(plainGainDb, ({ gainDbU }) => gainDbU)
  return {
    kind,
    gainDb: kind === 'high_shelf' ? -gainDb : gainDb,
    freqHz: mean(
      ({ freqHz }) => freqHz,
      ({ freqHzU }) => freqHzU,
    ),
    q: mean(
      ({ q }) => q,
      ({ qU }) => qU,
    ),
  }
}

type Answer = 'has' | 'lacks' | 'unseen'

function answerOf(output: OutputSections, section: EqSection, sampleRateHz: number): Answer {
  const { curve, equaliser, band } = output
  const inside = [...curve.freqHz.keys()].filter((i) => isInBand(equaliser, curve.freqHz[i]))
  const shape = curve.freqHz.map((hz) => (hz < sampleRateHz / 2 ? sectionDb(section, hz, sampleRateHz) : 0))
  const seen = inside.map((i) => shape[i])
  if (seen.length === 0 || Math.max(...seen) - Math.min(...seen) < SEEN_DB) return 'unseen'
  const deviation = deviationOf(curve, equaliser, sampleRateHz)
  const spread = (values: readonly number[]): number => {
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length
    return Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / values.length)
  }
  const noise = Math.sqrt(inside.reduce((sum, i) => sum + curve.uDb[i] ** 2, 0) / inside.length)
  const before = spread(inside.map((i) => deviation[i]))
  const after = spread(inside.map((i) => deviation[i] - shape[i]))
  if (after < LEFT_DB + 1.2 * noise && after < 0.5 * before) return 'has'
  const without = { ...curve, levelDb: curve.levelDb.map((level, i) => level - shape[i]) }
  const rest = findEqualiser(without, band, sampleRateHz)
  if (!rest?.isExplained) return 'lacks'
  if (rest.sections.length < equaliser.sections.length) return 'has'
  // Neither with nor without it is there anything to explain: its tail passes for a coupling or an edge.
  return rest.sections.length === 0 && equaliser.sections.length === 0 ? 'unseen' : 'lacks'
}

/** The curve without its edges and level: what sections have to explain. */
export function deviationOf(
  curve: LevelCurve,
  { lowEdge, highEdge, levelDb }: Equaliser,
  sampleRateHz: number,
): Float64Array {
  const power = new Float64Array(curve.freqHz.length).fill(10 ** (levelDb / 10))
  const axis = axisOf(curve.freqHz, sampleRateHz)
  for (const edge of [lowEdge, highEdge]) if (edge) multiplyEdge(edge, edge.cornerHz, axis, power)
  return curve.levelDb.map((level, i) => level - 10 * Math.log10(power[i]))
}
