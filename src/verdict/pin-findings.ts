/**
 * What wrong readings of pins mean: two wires exchanged, a bus with too few or too many terminators, and for the rest what
 * its function makes most likely.
 */
import { type PinSpec, pinId } from '../job/pins.js'
import { worst } from './decision.js'
import type { Finding } from './parts.js'
import { busWords, groups, type Meaning, type PinWords, termination } from './pin-bus.js'
import { expectedWords, FUNCTION_WORDS, type PinJudged, pinWords, stateWords } from './pin-checks.js'

export function pinFindings(judged: readonly PinJudged[]): PinWords {
  const troubled = [...groups(judged, ({ spec }) => spec)].filter(([, all]) =>
    all.some(({ check }) => check.verdict !== 'pass'),
  )
  const exchanged = exchangedPins(troubled)
  const inPairs = new Set(exchanged.flat().map(([spec]) => spec))
  const buses = busWords(judged)
  return {
    findings: [
      ...exchanged.map(([a, b]) => swappedFinding(a, b)),
      ...buses.findings,
      ...troubled.filter(([spec]) => !inPairs.has(spec)).map(([spec, all]) => singleFinding(spec, all)),
    ],
    notes: buses.notes,
  }
}

type OfPin = readonly [spec: PinSpec, all: readonly PinJudged[]]

/** Pins that fail, where each has what the other should have. */
function exchangedPins(troubled: readonly OfPin[]): [OfPin, OfPin][] {
  const failing = troubled.filter(([, all]) => all.some(({ check }) => check.verdict === 'fail'))
  const pairs: [OfPin, OfPin][] = []
  const taken = new Set<OfPin>()
  for (const [i, a] of failing.entries()) {
    const fitting = failing.slice(i + 1).filter((b) => !taken.has(b) && couldBeEachOther(a, b))
    // One that could be any of several is none for sure.
    if (taken.has(a) || fitting.length !== 1) continue
    pairs.push([a, fitting[0]])
    taken.add(a).add(fitting[0])
  }
  return pairs
}

/** Whether each reads what the other should have, wherever both were read alike: once at least. */
function couldBeEachOther(a: OfPin, b: OfPin): boolean {
  const common = [...heldAs(a, b), ...heldAs(b, a)]
  return common.length > 0 && common.every((isGood) => isGood)
}

/** Readings of one pin against what the other's function should have. */
function heldAs([, read]: OfPin, [wanted]: OfPin): boolean[] {
  return wanted.readings.flatMap(({ quantity, ignition, min, max }) => {
    const value = valueAt(read, quantity, ignition)
    return value === null ? [] : [(min === null || value >= min) && (max === null || value <= max)]
  })
}

function valueAt(all: readonly PinJudged[], quantity: string, ignition: string): number | null {
  for (const { reading, read } of all) {
    if (read === null || reading.across || reading.ignition !== ignition) continue
    if (reading.quantity === quantity && read.why === null) return read.value
    if (quantity === 'dcVolts' && read.voltsBefore !== null) return read.voltsBefore
  }
  return null
}

const swappedFinding = ([a, allA]: OfPin, [b, allB]: OfPin): Finding => ({
  kind: 'pin',
  verdict: 'fail',
  outputs: [],
  title: `Pins ${pinWords(a)} and ${pinWords(b)} seem swapped`,
  because: `Each has what the other should have. ${[...said(allA, true), ...said(allB, true)].join('; ')}.`,
  next: 'Plug nothing in. Compare both wires with the harness sheet, seen from the side that it draws, and exchange the terminals.',
})

/** Readings that are not as expected, in words. */
const said = (all: readonly PinJudged[], withPin = false): string[] =>
  all
    .filter(({ check }) => check.verdict !== 'pass')
    .map(
      ({ spec, reading, check }) =>
        `${withPin ? `${pinId(spec)} ` : ''}${stateWords(reading)}: ${check.measured}, expected ${expectedWords(reading)}`,
    )

function singleFinding(spec: PinSpec, all: readonly PinJudged[]): Finding {
  const verdict = worst(all.map(({ check }) => check.verdict))
  // Ohms come last, and say more than the volts of a wire that leads nowhere.
  const bad = all.findLast(({ check }) => check.verdict === verdict)!
  const { says, next } = meaning(spec, bad)
  return {
    kind: 'pin',
    verdict,
    outputs: [],
    title: `Pin ${pinWords(spec)}: ${says}`,
    because: `At ${pinId(spec)}, ${said(all).join('; ')}.`,
    next,
  }
}

/** Below this a line has no supply at all, and above it a switched line is not off. */
const SOME_V = 1

function meaning(spec: PinSpec, { reading, read, check }: PinJudged): Meaning {
  if (read === null) return { says: 'not read', next: 'Read it before anything is plugged in.' }
  if (check.verdict === 'unsure') {
    return read.why === 'live'
      ? {
          says: 'ohms could not be read',
          next: 'Switch everything off, wait until the vehicle sleeps, and read it again.',
        }
      : {
          says: 'too near to its limit to tell',
          next: 'Read it again with a more accurate meter, or by a firmer contact.',
        }
  }
  if (reading.across) return termination(read.value, reading.across)
  const value = read.value ?? read.voltsBefore ?? Number.POSITIVE_INFINITY
  const isLow = reading.min !== null && value < reading.min
  switch (spec.function) {
    case 'constant_supply':
      if (Math.abs(value) < SOME_V)
        return { says: 'no supply', next: 'Check its fuse, then the wire from there to the battery.' }
      return isLow
        ? {
            says: 'supply low',
            next: 'Look for a drop: compare with the battery itself, then fuse holder, crimps and wire.',
          }
        : {
            says: 'supply high',
            next: 'Take chargers off and check the nominal voltage of the vehicle before anything is plugged in.',
          }
    case 'ground':
      if (read.why === 'live') {
        return {
          says: 'volts on a ground',
          next: 'Plug nothing in: this wire is no ground. Compare it with the harness sheet.',
        }
      }
      return read.why === 'open'
        ? { says: 'no ground', next: 'Check the bolt and the paint under its lug, then the wire.' }
        : {
            says: 'poor ground',
            next: 'Clean the bolt and the paint under its lug, and tighten it; then check crimp and wire.',
          }
    case 'remote_out':
    case 'ignition_in':
    case 'accessory_in':
      return switched(spec, value, isLow)
    case 'data_high':
    case 'data_low':
      return data(value, isLow)
    case 'line_output':
    case 'speaker':
      return reading.quantity === 'ohms'
        ? { says: 'shorted to ground', next: 'Look for a pinched or bare wire along its way to the speaker.' }
        : {
            says: 'volts on a signal wire',
            next: 'Plug nothing in: look where it touches a supply, and compare it with the harness sheet.',
          }
    default:
      return {
        says: 'something is connected',
        next: 'Compare the connector with the harness sheet, seen from the side that it draws.',
      }
  }
}

function switched({ function: what }: PinSpec, value: number, isLow: boolean): Meaning {
  const word = FUNCTION_WORDS[what]
  if (isLow) {
    return Math.abs(value) < SOME_V
      ? {
          says: `${word} does not come`,
          next: 'Check its fuse, then whether this is the wire that the harness sheet means.',
        }
      : { says: `${word} low`, next: 'Look for a drop: fuse holder, crimps, and what else hangs on this wire.' }
  }
  return {
    says: `${word} is there when it should be off`,
    next: 'It would keep the interface awake: find the wire that is switched, by the harness sheet.',
  }
}

/** Levels of ISO 11898-2. */
const [ASLEEP_V, DATA_V_MAX] = [0.2, 4.5]

function data(value: number, isLow: boolean): Meaning {
  if (Math.abs(value) <= ASLEEP_V) {
    return {
      says: 'no bus level',
      next: 'A bus that sleeps has 0 V: wake the vehicle and read again. If it stays, the wire is broken or touches ground.',
    }
  }
  if (value > DATA_V_MAX) {
    return {
      says: 'a supply on a data wire',
      next: 'Plug nothing in: look where it touches a supply, and compare it with the harness sheet.',
    }
  }
  return {
    says: `bus level too ${isLow ? 'low' : 'high'}`,
    next: 'Check the other wire of its bus, then connectors along the bus for a poor contact or a leak.',
  }
}
