/** Waking, sleeping and standby current against the job's limits, from the logs of the meter. */
import type { StandbySpec } from '../job/standby.js'
import { type Estimate, estimate } from '../measure/estimate.js'
import {
  type Cleaned,
  cleaned,
  daysToFlat,
  EDGE_METHOD,
  type Edge,
  edgeOf,
  type LogPoint,
  SETTLED_METHOD,
  type Settled,
  settledLevel,
} from '../measure/standby-log.js'
import type { MeterSpec } from '../rig/rig.js'
import { plain } from '../units/words.js'
import { figureOf, held } from './decision.js'
import type { Check, Verdict } from './parts.js'

/** A remote turn-on line of 12 V. No standard: common practice. */
export const REMOTE = { highMin: 7, lowMax: 2 } as const
/** Currents nearer than this are the same: common practice, no source. */
const SAME_A = 5e-6
/** How far the moment of a person's key press and that of their hand may be apart. */
const HAND_S = 0.5
/** Less than any interface draws asleep: common practice, no source. */
const NOTHING_A = 1e-6
export const NO_CURRENT = 'No current at all: is the bypass lead still on, or a fuse open?'
/** The fixed part of a data sheet's accuracy, in counts of the last digit: common for current ranges. */
const COUNTS = 5

/** Times from the moment of the last thing done by hand. */
export interface StandbyLogs {
  /** From ignition on. */
  readonly wake: readonly LogPoint[] | null
  /** From the last step that puts it to sleep. */
  readonly sleep: readonly LogPoint[] | null
  readonly current: readonly LogPoint[] | null
}

export interface StandbyRead {
  readonly wake: Edge | null
  readonly sleep: Edge | null
  readonly current: Cleaned | null
  readonly settled: Settled | null
  /** Supply current asleep. */
  readonly standby: Estimate | null
  readonly days: Estimate | null
  readonly isEverAwake: boolean
  readonly isEverAsleep: boolean
}

export function readStandby(spec: StandbySpec, logs: StandbyLogs, meter: Pick<MeterSpec, 'accuracyPct'>): StandbyRead {
  const wake = logs.wake && edgeOf(logs.wake, 'high', REMOTE)
  const sleep = logs.sleep && edgeOf(logs.sleep, 'low', REMOTE)
  const current = logs.current && cleaned(logs.current, SAME_A)
  const settled = current && settledLevel(current.points, SAME_A)
  const standby =
    settled &&
    estimate(
      Math.max(0, settled.level),
      {
        'spread of readings': settled.spreadU,
        drift: settled.driftU,
        // Limits of the data sheet taken as rectangular: GUM 4.3.7.
        'meter specification': ((meter.accuracyPct / 100) * Math.abs(settled.level)) / Math.sqrt(3),
        // A meter that shows nothing but 0 has a resolution that nobody knows.
        'meter resolution': (COUNTS * (settled.resolution ?? Number.POSITIVE_INFINITY)) / Math.sqrt(3),
      },
      SETTLED_METHOD,
    )
  const isEverAsleep = logs.sleep === null || sleep !== null
  return {
    wake,
    sleep,
    current,
    settled,
    standby,
    days: standby && isEverAsleep ? daysOf(spec, standby) : null,
    isEverAwake: logs.wake === null || wake !== null,
    isEverAsleep,
  }
}

/** The battery's capacity counts as given: its uncertainty is not in this. */
function daysOf({ batteryAh, usableShare, otherDrainA }: StandbySpec, { value, u }: Estimate): Estimate | null {
  const drainA = value + otherDrainA
  if (batteryAh === null || !(drainA > 0)) return null
  const days = daysToFlat(batteryAh, usableShare, drainA)
  return estimate(days, { 'standby current': (days * u) / 2 / drainA }, 'usable charge over drain/1')
}

export function standbyChecks(spec: StandbySpec, logs: StandbyLogs, read: StandbyRead): Check[] {
  return [
    timeCheck('remote turn-on, waking', spec.wakeSMax, logs.wake, read.wake),
    read.isEverAwake
      ? timeCheck('remote turn-on, falling asleep', spec.sleepSMax, logs.sleep, read.sleep)
      : unread('remote turn-on, falling asleep', `at most ${inS(spec.sleepSMax)}`, 'It never woke.'),
    currentCheck(spec, logs, read),
  ]
}

function timeCheck(name: string, maxS: number, log: readonly LogPoint[] | null, edge: Edge | null): Check {
  const expected = `at most ${inS(maxS)}`
  if (log === null) return unread(name, expected, 'Left out at the bench.')
  const contributions = { 'time between readings': edge?.u ?? 0, 'moment of the key press': HAND_S / Math.sqrt(3) }
  if (edge === null) {
    const watchedS = log.at(-1)?.atS ?? 0
    const figure = estimate(watchedS, contributions, EDGE_METHOD, { isAtLeast: true })
    return {
      name,
      verdict: held(figure.value, figure.u, { max: maxS }, figure),
      figure: figureOf(name, 's', figure),
      expected,
      measured: `not within ${inS(watchedS)}`,
      why: 'It did not change as long as it was watched.',
    }
  }
  // There from the first reading on: it changed before, while the last steps were done.
  const isAtMost = edge.u === 0
  const figure = estimate(edge.atS, contributions, EDGE_METHOD, { isAtMost })
  const verdict = held(figure.value, figure.u, { max: maxS }, figure)
  return {
    name,
    verdict,
    figure: figureOf(name, 's', figure),
    expected,
    measured: `${isAtMost ? 'at most ' : ''}${inS(edge.atS)}`,
    why: { pass: '', fail: 'It takes too long.', unsure: 'The limit lies within the uncertainty of the moment.' }[
      verdict
    ],
  }
}

function currentCheck(spec: StandbySpec, logs: StandbyLogs, { settled, standby, isEverAsleep }: StandbyRead): Check {
  const name = 'standby current'
  const expected = `at most ${inA(spec.currentAMax)}`
  if (logs.current === null) return unread(name, expected, 'Left out at the bench.')
  if (!isEverAsleep) {
    const check = unread(name, expected, 'It did not fall asleep, so this is no standby current.')
    return standby ? { ...check, measured: `${inA(standby.value)}, awake` } : check
  }
  if (!settled || !standby) return unread(name, expected, 'It had not settled when the log ended.')
  // An interface that sleeps still draws something.
  const decided = held(standby.value, standby.u, { max: spec.currentAMax })
  const isNothing = decided === 'pass' && Math.abs(settled.level) < NOTHING_A
  const verdict = isNothing ? 'unsure' : decided
  return {
    name,
    verdict,
    figure: figureOf(name, 'A', standby),
    expected,
    measured: inA(standby.value),
    why: isNothing
      ? NO_CURRENT
      : { pass: '', fail: 'It draws too much.', unsure: "The limit lies within the reading's uncertainty." }[verdict],
  }
}

const unread = (name: string, expected: string, why: string): Check => ({
  name,
  verdict: 'unsure' satisfies Verdict,
  figure: null,
  expected,
  measured: 'not read',
  why,
})

export const inS = (timeS: number): string => `${plain(timeS, timeS < 10 ? 1 : 0)} s`

export function inA(current: number): string {
  const size = Math.abs(current)
  if (size >= 1) return `${plain(current, 2)} A`
  return size >= 1e-4 ? `${plain(1000 * current, size >= 0.01 ? 0 : 2)} mA` : `${plain(1e6 * current, 0)} µA`
}
