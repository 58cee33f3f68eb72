/**
 * Units and functions as meters print them: prefixes, bases, and the words for AC and DC.
 *
 * The spellings are those that handheld and bench meters commonly use; the list is from memory, not from a standard.
 */
import type { MeterFunction } from '../rig/meter-spec.js'
import type { MeterQuantity } from '../rig/roles.js'

export interface Unit {
  readonly factor: number
  /** V, A, Ω, or another unit as printed. */
  readonly base: string
}

const PREFIXES: Readonly<Record<string, number>> = {
  '': 1,
  n: 1e-9,
  u: 1e-6,
  µ: 1e-6,
  μ: 1e-6,
  m: 1e-3,
  k: 1e3,
  K: 1e3,
  M: 1e6,
  G: 1e9,
}
/** Greek letter and ohm sign look alike. */
const OHM = /^(?:ohms?|[\u03a9\u2126]|R)$/i

/** @returns null for what is no unit */
export function unitOf(text: string): Unit | null {
  const match = /^([nuµμmkKMG]?)(V|A|Hz|F|ohms?|[\u03a9\u2126]|R)$/i.exec(text.trim())
  if (!match) return null
  const base = OHM.test(match[2]) ? 'Ω' : /^hz$/i.test(match[2]) ? 'Hz' : match[2].toUpperCase()
  const isShouted = text === text.toUpperCase()
  // Meters that print capitals only write MV for millivolts; no meter reads megavolts, but all read megohms.
  const isMilli = match[1] === 'M' && (base === 'V' || base === 'A')
  const factor = isMilli
    ? 1e-3
    : isShouted && /[UN]/.test(match[1])
      ? PREFIXES[match[1].toLowerCase()]
      : PREFIXES[match[1]]
  return factor === undefined ? null : { factor, base }
}

/** A coupling needs the unit to say what is read. */
type Meaning = MeterFunction | 'ac' | 'dc'

const words = (meaning: Meaning, text: string): [string, Meaning][] =>
  text.split(' ').map((word) => [word, meaning] as [string, Meaning])

const WORDS: ReadonlyMap<string, Meaning> = new Map([
  ...words('ac', 'AC ~ ACRMS RMSAC TRMS'),
  ...words('dc', 'DC = ⎓'),
  ...words('ac_volts', 'ACV VAC V~ ~V ACVOLT ACVOLTS VOLTAC VOLT:AC VOLTSAC MVAC ACMV'),
  ...words('dc_volts', 'DCV VDC V= =V V⎓ DCVOLT DCVOLTS VOLTDC VOLT:DC VOLTSDC VOLT MVDC DCMV'),
  ...words('ohms', 'OHM OHMS \u03a9 \u2126 RES RESISTANCE R 2W 4W FRES'),
  ...words('dc_amps', 'ADC DCA A= A⎓ IDC DCI CURR CURR:DC CURRDC DCAMP DCAMPS MADC DCMA'),
  ...words('other', 'AAC ACA A~ IAC ACI CURR:AC CURRAC ACAMPS MAAC ACMA AC+DC ACDC DC+AC VAC+DC V~+V='),
  ...words(
    'other',
    'HZ FREQ FREQUENCY PER DUTY % DIODE DIOD DIO CONT CONTINUITY BEEP BUZ CAP F TEMP TEMPC TEMPF °C °F DB DBM HFE',
  ),
])

const QUANTITY_OF: Readonly<Record<Exclude<MeterFunction, 'other'>, MeterQuantity>> = {
  ac_volts: 'acVolts',
  dc_volts: 'dcVolts',
  ohms: 'ohms',
  dc_amps: 'dcAmps',
}
const BASES: Readonly<Record<MeterQuantity, string>> = { acVolts: 'V', dcVolts: 'V', ohms: 'Ω', dcAmps: 'A' }

/** A quantity; other: none that is ever asked for; unknown: a word that nobody has explained; null: it was not said. */
export type Said = MeterQuantity | 'other' | 'unknown' | null

/**
 * What a meter is set to, by the function and unit that it prints.
 *
 * @param own words of the rig file, which come before the usual ones
 * @param wanted what counts where the unit alone leaves it open
 */
export function quantitySaid(
  functionText: string | null,
  base: string | null,
  own: Readonly<Record<string, MeterFunction>>,
  wanted: MeterQuantity,
): Said {
  const said = functionText === null || functionText.trim() === '' ? null : meaningOf(functionText, own)
  if (said === 'unknown' || said === 'other') return said
  const isBaseKnown = base === null || Object.values(BASES).includes(base)
  if (!isBaseKnown) return 'other'
  if (said === null) {
    if (base === null) return null
    if (base === 'Ω') return 'ohms'
    return BASES[wanted] === base ? null : base === 'A' ? 'dcAmps' : 'dcVolts'
  }
  if (said === 'ac' || said === 'dc') {
    if (base === 'Ω') return 'other'
    if (base === 'A') return said === 'dc' ? 'dcAmps' : 'other'
    // Without a unit DC may be volts or amperes: it is what was wanted where that fits.
    if (said === 'dc' && base === null && wanted === 'dcAmps') return 'dcAmps'
    return said === 'ac' ? 'acVolts' : 'dcVolts'
  }
  const quantity = QUANTITY_OF[said]
  return base === null || BASES[quantity] === base ? quantity : 'other'
}

function meaningOf(text: string, own: Readonly<Record<string, MeterFunction>>): Meaning | 'unknown' {
  const bare = (word: string): string => word.toUpperCase().replace(/[\s_"]/g, '')
  const ownWord = Object.keys(own).find((word) => bare(word) === bare(text))
  return (ownWord === undefined ? WORDS.get(bare(text)) : own[ownWord]) ?? 'unknown'
}
