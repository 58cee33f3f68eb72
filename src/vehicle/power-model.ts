/**
 * Remote turn-on and supply current of the modelled interface over time: it wakes with the ignition, holds on for a while
 * after the vehicle is locked, then falls asleep in steps.
 */
import type { PowerFault } from './fault-power.js'
import type { Hands } from './hands.js'
import { between, evenRandom, seedFor } from './seeded.js'

const REMOTE_V = 12.1
/** Once the remote has fallen: how long each step lasts, and its part of the current awake. */
const STEPS = [
  { lastsS: 20, share: 0.34 },
  { lastsS: 25, share: 0.09 },
] as const
/** A vehicle that nobody locks holds on for longer. */
const UNLOCKED_FACTOR = 6
const NOISE_SHARE = 0.005
/** Apart from each other, and from the start of sleep. */
const JUMP_EVERY_S = 11

/** When the remote rises and falls; null: it does not. Times of the model's clock. */
interface Span {
  readonly riseS: number | null
  readonly fallS: number | null
}

/** Of the last time that the ignition was on. */
function spanOf(fault: PowerFault, hands: Hands): Span {
  const turns = hands.done.filter(({ act }) => act.kind === 'ignition')
  const isOnAt = (i: number): boolean => {
    const act = turns[i]?.act
    // Before the first turn it was on: the vehicle played.
    return act === undefined ? true : act.kind === 'ignition' && act.to !== 'off'
  }
  const last = turns.findLastIndex((_, i) => isOnAt(i) && !isOnAt(i - 1))
  const onS = last < 0 ? Number.NEGATIVE_INFINITY : turns[last].atS
  if (fault.neverWakes && last >= 0) return { riseS: null, fallS: null }
  const offS = turns.find(({ atS }, i) => i > last && !isOnAt(i) && atS >= onS)?.atS ?? null
  const riseS = onS + fault.wakeDelayS
  if (offS === null || fault.staysAwake) return { riseS, fallS: null }
  const lockedS = hands.done.findLast(({ act, atS }) => act.kind === 'doors' && act.to === 'locked' && atS >= offS)?.atS
  const fallS = lockedS === undefined ? offS + UNLOCKED_FACTOR * fault.remoteHoldS : lockedS + fault.remoteHoldS
  return { riseS, fallS }
}

export function remoteTruth(fault: PowerFault, hands: Hands, nowS: number): number {
  const { riseS, fallS } = spanOf(fault, hands)
  const isHigh = riseS !== null && nowS >= riseS && (fallS === null || nowS < fallS)
  return isHigh ? REMOTE_V : 0.02
}

/** @returns amperes; null where the meter shows overload */
export function supplyCurrentTruth(fault: PowerFault, hands: Hands, nowS: number, seed: number): number | null {
  const lockedS = hands.done.findLast(({ act }) => act.kind === 'doors' && act.to === 'locked')?.atS ?? null
  const { meterGap } = fault
  if (meterGap && lockedS !== null) {
    const sinceS = nowS - lockedS
    if (sinceS >= meterGap.atS && sinceS < meterGap.atS + meterGap.durationS) return null
  }
  const even = evenRandom(seedFor(seed, 'current', Math.round(1000 * nowS)))
  const noise = 1 + NOISE_SHARE * (between(even, -1, 1) + between(even, -1, 1))
  const { riseS, fallS } = spanOf(fault, hands)
  if (riseS === null) return noise * fault.standbyA
  if (fallS === null || nowS < fallS) return noise * fault.awakeA
  let endS = fallS
  for (const { lastsS, share } of STEPS) {
    endS += lastsS
    if (nowS < endS) return noise * Math.max(fault.standbyA, share * fault.awakeA)
  }
  const asleepS = nowS - endS
  const jump = Math.floor(asleepS / JUMP_EVERY_S)
  const isJump = jump >= 1 && jump <= fault.rangingJumpCount && asleepS - jump * JUMP_EVERY_S < 1
  return noise * fault.standbyA * (isJump ? 10 : 1)
}
