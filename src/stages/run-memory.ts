/** What of a run lives longer than one command: takes that ended earlier, the meter's word, and which takes count. */

import type { MeterWord } from './meter-check.js'
import type { PlannedTake } from './planned-takes.js'
import type { Take } from './verify.js'

/** A take whose capture was not whole, or that was clipped, silent or at another rate: offered again. */
export interface TaintedTake {
  readonly take: PlannedTake
  /** What the capture says of it. */
  readonly says: readonly string[]
  /** How often it has been taken by now. */
  readonly attemptCount: number
  /** The capture ended before the track did: there is nothing to keep. */
  readonly isBrokenOff: boolean
  /** Nothing of it is missing: another one helps only where a person mends something before. */
  readonly isWhole: boolean
}

export interface RunMemory {
  /** The meter's word of an earlier command. */
  readonly meterWord: MeterWord | null
  /** A take that an earlier command finished. @throws StopError when its file has changed meanwhile */
  earlier(take: PlannedTake): Promise<Take | null>
  /** The name for the next attempt at a take: one under which there is nothing yet. */
  freeName(take: PlannedTake): string
  /** Whether to take it once more; false: keep the best. */
  isToBeTakenAgain(tainted: TaintedTake, signal: AbortSignal): Promise<boolean>
  /** This attempt counts. */
  settle(take: PlannedTake, name: string): Promise<void>
  /** It has been measured and its checksum is known. */
  sealed(name: string, sha256: string): Promise<void>
  /** There is no track in it that can be measured: the next command takes it again. */
  refuse(name: string, why: string): Promise<void>
}

/** A run that ends with its command: each take once, as it comes. */
export const NO_MEMORY: RunMemory = {
  meterWord: null,
  earlier: async () => null,
  freeName: ({ name }) => name,
  isToBeTakenAgain: async () => false,
  settle: async () => {},
  sealed: async () => {},
  refuse: async () => {},
}
