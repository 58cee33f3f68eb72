/** What a meter's display shows, from either kind of 14-byte frame, and what its flags say together. */
import type { MeterQuantity } from '../rig/roles.js'
import type { Reading } from './reading.js'

export interface Display {
  readonly quantity: MeterQuantity | 'other'
  /** null: digits are blank or no number, as while the range changes. */
  readonly reading: Reading | 'overload' | null
  readonly isHeld: boolean
  readonly isRelative: boolean
  readonly isBatteryLow: boolean
}

/** Lit signs of a display, as far as they tell what is read. */
export type Sign =
  | 'AC'
  | 'DC'
  | 'n'
  | 'µ'
  | 'm'
  | 'k'
  | 'M'
  | 'V'
  | 'A'
  | 'Ω'
  | 'Hz'
  | 'F'
  | '%'
  | 'diode'
  | 'beep'
  | '°'
  | 'hFE'
  | 'hold'
  | 'relative'
  | 'extreme'
  | 'battery'

const FACTORS = { n: 1e-9, µ: 1e-6, m: 1e-3, k: 1e3, M: 1e6 } as const
/** Units with the prefixes that meters show before them: a frame has no check sum, and nanovolts come of a wrong bit. */
const PREFIXES_OF_UNIT = { V: 'm', A: 'µm', Ω: 'kM', Hz: 'kM', F: 'nµm', '%': '', '°': '', hFE: '' } as const
const UNIT_SIGNS = Object.keys(PREFIXES_OF_UNIT) as (keyof typeof PREFIXES_OF_UNIT)[]

/** @returns null when signs contradict each other: no meter shows such a display */
export function quantityOf(signs: ReadonlySet<Sign>): { quantity: MeterQuantity | 'other'; factor: number } | null {
  const prefixes = (Object.keys(FACTORS) as (keyof typeof FACTORS)[]).filter((prefix) => signs.has(prefix))
  const units = UNIT_SIGNS.filter((unit) => signs.has(unit))
  if (prefixes.length > 1 || units.length !== 1) return null
  if (prefixes.length === 1 && !PREFIXES_OF_UNIT[units[0]].includes(prefixes[0])) return null
  const factor = prefixes.length === 0 ? 1 : FACTORS[prefixes[0]]
  const coupling = signs.has('AC') ? (signs.has('DC') ? 'both' : 'AC') : signs.has('DC') ? 'DC' : 'none'
  const isPlain = !signs.has('diode') && !signs.has('beep')
  if (!isPlain) return { quantity: 'other', factor }
  if (units[0] === 'Ω') return coupling === 'none' ? { quantity: 'ohms', factor } : null
  if (units[0] === 'V' && coupling === 'AC') return { quantity: 'acVolts', factor }
  if (units[0] === 'V' && coupling === 'DC') return { quantity: 'dcVolts', factor }
  if (units[0] === 'A' && coupling === 'DC') return { quantity: 'dcAmps', factor }
  return { quantity: 'other', factor }
}

/** Display of digits as a number, or null where the signs contradict each other. */
export function displayOf(
  digits: number | 'overload' | null,
  decimalCount: number,
  isNegative: boolean,
  signs: ReadonlySet<Sign>,
): Display | null {
  const read = quantityOf(signs)
  if (read === null) return null
  const resolution = read.factor * 10 ** -decimalCount
  return {
    quantity: read.quantity,
    reading:
      typeof digits === 'number' ? { value: (isNegative ? -1 : 1) * digits * resolution + 0, resolution } : digits,
    // A kept maximum or minimum is frozen as a held reading is.
    isHeld: signs.has('hold') || signs.has('extreme'),
    isRelative: signs.has('relative'),
    isBatteryLow: signs.has('battery'),
  }
}
