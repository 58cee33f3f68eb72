/** What is between the two wires of a data bus: its terminators, and which of them is high. Source of levels: ISO 11898-2. */
import { pinId } from '../job/pins.js'
import type { Finding } from './parts.js'
import { type PinJudged, readingKey } from './pin-checks.js'

export interface PinWords {
  readonly findings: readonly Finding[]
  readonly notes: readonly string[]
}

/** What a wrong reading most likely is, and what to do. */
export interface Meaning {
  readonly says: string
  readonly next: string
}

export function groups<K, T>(items: readonly T[], keyOf: (item: T) => K): Map<K, T[]> {
  const found = new Map<K, T[]>()
  for (const item of items) found.set(keyOf(item), [...(found.get(keyOf(item)) ?? []), item])
  return found
}

/** What the ohms across a bus are with each number of terminators of 120 Ω, power off. Source: ISO 11898-2. */
const TERMINATOR_OHM = 120
const TERMINATOR_TOLERANCE = 0.1
const SHORT_OHM = 2

/** @param ohms null: open */
export function termination(
  ohms: number | null,
  across: { readonly connector: string; readonly pin: string },
): Meaning {
  const isNear = (count: number): boolean =>
    ohms !== null && Math.abs(ohms * count - TERMINATOR_OHM) <= TERMINATOR_TOLERANCE * TERMINATOR_OHM
  if (ohms === null) {
    return {
      says: `open to ${pinId(across)}`,
      next: 'One of the two wires is broken, or the bus has no terminator here: check both terminals.',
    }
  }
  if (ohms < SHORT_OHM) {
    return {
      says: `shorted to ${pinId(across)}`,
      next: 'Data high touches data low: look for a pinched wire or a bent terminal.',
    }
  }
  if (isNear(1)) {
    return {
      says: 'one terminator is missing',
      next: 'The factory amplifier may have held it: look at the harness sheet for a 120 Ω resistor or a setting of the interface.',
    }
  }
  if (isNear(3)) {
    return {
      says: 'three terminators',
      next: 'Switch the terminator of the interface off, or take the 120 Ω resistor out that was added.',
    }
  }
  return {
    says: 'termination is not 60 Ω',
    next: 'Unplug units of this bus one by one and see with which the ohms change.',
  }
}

/** With 60 Ω between them the two wires of a silent bus are this near to each other. Source: transceivers to ISO 11898-2. */
const [REVERSED_V, FORWARD_V] = [-0.12, 0.012]

interface BusRead {
  readonly bus: string
  readonly high: PinJudged
  readonly low: PinJudged
  readonly differenceV: number
  readonly u: number
}

/** Each bus of which both wires read as they should by themselves. */
function busesRead(judged: readonly PinJudged[]): BusRead[] {
  return [...groups(judged, ({ spec }) => spec.bus)].flatMap(([bus, all]) => {
    const of = (what: string): PinJudged | undefined =>
      all.find(({ spec, reading }) => spec.function === what && readingKey(spec, reading).endsWith('dcVolts on'))
    const [high, low] = [of('data_high'), of('data_low')]
    if (bus === null || high?.check.verdict !== 'pass' || low?.check.verdict !== 'pass') return []
    const differenceV = high.read!.value! - low.read!.value!
    return [{ bus, high, low, differenceV, u: Math.hypot(...[high, low].map(({ read }) => 2 * read!.spreadU)) }]
  })
}

const isReversed = ({ differenceV, u }: BusRead): boolean => differenceV + u < REVERSED_V

/** Wires that read well, but each like the other one. */
export const exchangedOnBus = (judged: readonly PinJudged[]): PinJudged[] =>
  busesRead(judged)
    .filter(isReversed)
    .flatMap(({ high, low }) => [high, low])

/** High and low of each bus against each other: a bus that talks has more on high than on low. */
export function busWords(judged: readonly PinJudged[]): PinWords {
  const words: { findings: Finding[]; notes: string[] } = { findings: [], notes: [] }
  for (const read of busesRead(judged)) {
    const { bus, high, low, differenceV, u } = read
    const both = `${pinId(high.spec)} has ${high.check.measured}, ${pinId(low.spec)} ${low.check.measured}`
    if (isReversed(read)) {
      words.findings.push({
        kind: 'pin',
        verdict: 'fail',
        outputs: [],
        title: `Data high and data low of bus ${bus} seem swapped`,
        because: `${both}: on a bus that talks, high lies above low (ISO 11898-2).`,
        next: 'Exchange the two terminals, by the harness sheet.',
      })
    } else if (differenceV - u < FORWARD_V) {
      words.notes.push(
        `Bus ${bus}: ${both}. Both are at their recessive level, so swapped wires would read the same: not told.`,
      )
    }
  }
  return words
}
