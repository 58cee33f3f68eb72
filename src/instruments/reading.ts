/**
 * What one reading of a meter says, whatever bytes it came in: shared words for what is wrong with it.
 */

import { MeterOverload } from '../rig/overload.js'
import type { MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'

/** In the unit without a prefix. */
export interface Reading {
  readonly value: number
  /** Of the last digit shown; 0 where that is not known. */
  readonly resolution: number
}

/** A meter as its readings come, before anything is settled. */
export interface ReadingSource {
  readonly where: string
  /** Shortest time between two readings that count as two. */
  readonly paceS: number
  identify(signal: AbortSignal): Promise<string>
  /** Forgets what the meter was set to: a person may have turned its knob, or switched it off and on. */
  beginAnew(): void
  /** @throws StopError when there is no reading of this quantity */
  readOnce(quantity: MeterQuantity, signal: AbortSignal): Promise<Reading>
  close(): Promise<void>
}

export const UNITS = { acVolts: 'V', dcVolts: 'V', ohms: 'Ω', dcAmps: 'A' } as const
export const QUANTITY_WORDS = {
  acVolts: 'AC volts',
  dcVolts: 'DC volts',
  ohms: 'ohms',
  dcAmps: 'DC amperes',
} as const

export const overload = (where: string, quantity: MeterQuantity): MeterOverload => {
  const what = { acVolts: 'voltage', dcVolts: 'voltage', ohms: 'resistance', dcAmps: 'current' }[quantity]
  return new MeterOverload(
    `the meter shows overload: the ${what} is beyond its range`,
    where,
    'Choose a higher range or autorange, and check what its leads are on.',
    'instrument',
  )
}

/** @param found what the meter is on, in words */
export const wrongFunction = (where: string, quantity: MeterQuantity, found: string): StopError =>
  new StopError(
    `the meter is on ${found}, and ${QUANTITY_WORDS[quantity]} are wanted`,
    where,
    `Set it to ${QUANTITY_WORDS[quantity]}, then give the same command again.`,
    'instrument',
  )

/** AC volts have no sign. */
export const negativeAc = (where: string, value: number): StopError =>
  new StopError(
    `the meter reads ${value} V, and AC volts have no sign`,
    where,
    'Set it to AC volts: it seems to be on DC.',
    'instrument',
  )
