/**
 * Figures of a result in words: the one place where this folder decides on digits, units and names.
 *
 * Digits follow the uncertainty: U is shown with one digit, or two where it begins with 1 or 2, and the value ends at the
 * same place. Where U is not known, the unit has its usual digits.
 */
import { plain, signed } from '../units/words.js'
import type { Figure, Verdict } from '../verdict/parts.js'

/** Stands in a narrow column where there is no value. */
export const NO_VALUE = '–'
export const NOT_MEASURED = 'not measured'
export const NOT_GIVEN = 'not given'
export const SIMULATED_WORDS = 'SIMULATED: a model was measured, no vehicle.'

export const VERDICT_WORDS: Readonly<Record<Verdict, string>> = { pass: 'PASS', fail: 'FAIL', unsure: 'UNSURE' }

/** Put beside a value that is no pass, where there is no room for the word. */
export const VERDICT_MARKS: Readonly<Record<Verdict, string>> = { pass: ' ', fail: '!', unsure: '?' }

/** A finding that stops nothing is worth knowing, neither good nor bad: it doesn't say PASS. */
export const findingWord = (verdict: Verdict): string => (verdict === 'pass' ? 'note' : VERDICT_WORDS[verdict])

/** A figure taken apart: digits without a unit, so that a column can carry the unit in its heading. */
export interface FigureDigits {
  readonly value: string
  /** Expanded uncertainty; null where it is not known. */
  readonly u: string | null
  readonly unit: string
  readonly uUnit: string
}

interface Scale {
  readonly factor: number
  readonly unit: string
  readonly uUnit: string
  readonly decimalsUsual: number
  readonly decimalsMax: number
  readonly isSigned: boolean
}

const scale = (
  unit: string,
  factor: number,
  decimalsUsual: number,
  decimalsMax: number,
  options: { isSigned?: boolean; uUnit?: string } = {},
): Scale => ({
  unit,
  factor,
  decimalsUsual,
  decimalsMax,
  isSigned: options.isSigned ?? false,
  uUnit: options.uUnit ?? unit,
})

/** A figure's unit, or the Q of a section, which has none but wants decimals. */
export type ShownUnit = Figure['unit'] | 'Q'

/** Ranges and ratios that are no deviation from anything: a sign in front of them would say nothing. */
const UNSIGNED: ReadonlySet<string> = new Set(['dynamic range', 'dynamic range A', 'sinad', 'delay spread'])

function scaleOf(unit: ShownUnit, size: number, isSigned: boolean): Scale {
  switch (unit) {
    case 'V':
      if (size >= 0.1) return scale('V', 1, 2, 3)
      return size >= 0.0001 ? scale('mV', 1e3, size >= 0.01 ? 0 : 2, 2) : scale('µV', 1e6, 0, 0)
    case 'dBV':
    case 'dBV(A)':
    case 'dBV(C)':
    case 'dBFS':
      return scale(unit, 1, 1, 1, { uUnit: 'dB' })
    case 'dB':
      return scale(unit, 1, 1, size >= 10 ? 1 : 2, { isSigned })
    case 'dB/octave':
      return scale(unit, 1, 0, 1)
    case '%':
      if (size < 0.001) return scale(unit, 1, decimalsOfTwoDigits(size), decimalsOfTwoDigits(size))
      return scale(unit, 1, size >= 10 ? 0 : size >= 1 ? 1 : size >= 0.1 ? 2 : 3, 4)
    case 's':
      return scale('ms', 1e3, size < 0.001 ? 3 : 2, 3, { isSigned })
    case 'Hz':
      return scale(unit, 1, size >= 100 ? 0 : 1, 2)
    case 'ppm':
      return scale(unit, 1, 1, 1, { isSigned })
    case 'A':
      if (size >= 1) return scale('A', 1, 2, 3)
      return size >= 0.001 ? scale('mA', 1e3, 1, 2) : scale('µA', 1e6, 0, 0)
    case 'Ω':
      if (size >= 1e6) return scale('MΩ', 1e-6, 2, 2)
      return size >= 1000 ? scale('kΩ', 1e-3, 2, 2) : scale('Ω', 1, size >= 100 ? 0 : 2, 2)
    case 'W':
      return scale('W', 1, size >= 10 ? 0 : 1, 2)
    case 'day':
      return scale('days', 1, size >= 10 ? 0 : 1, 1)
    case 'Q':
      return scale('', 1, 2, 3)
    default:
      return scale('', 1, 0, 0)
  }
}

/** No figure of a vehicle needs more. */
const DECIMALS_MAX = 7

/** Decimals that leave a small number its first two digits. */
const decimalsOfTwoDigits = (size: number): number =>
  size > 0 ? Math.min(DECIMALS_MAX, Math.max(0, 1 - Math.floor(Math.log10(size)))) : 4

/** Decimals of the last digit that an uncertainty leaves any meaning. */
function decimalsFor(u: number): number {
  const exponent = Math.floor(Math.log10(u))
  const digitCount = u / 10 ** exponent < 2.95 ? 2 : 1
  return digitCount - 1 - exponent
}

/** @returns null where nothing could be read */
export const digitsOf = ({ quantity, unit, value, u }: Figure): FigureDigits | null =>
  value === null ? null : digitsFor(value, u, unit, !UNSIGNED.has(quantity))

/**
 * A value and its expanded uncertainty, in the unit that suits their size. An uncertainty of exactly nothing is none: a bound
 * has it, and what was counted.
 */
export function digitsFor(value: number, expanded: number | null, ofUnit: ShownUnit, isSigned = true): FigureDigits {
  const { factor, unit, uUnit, decimalsUsual, decimalsMax, ...how } = scaleOf(ofUnit, Math.abs(value), isSigned)
  const u = expanded === null || expanded === 0 ? null : Math.abs(expanded) * factor
  const decimals = u === null ? decimalsUsual : Math.min(decimalsMax, Math.max(0, decimalsFor(u)))
  const shown = (how.isSigned ? signed : plain)(value * factor, decimals)
  return { value: shown, u: u === null ? null : uDigits(u, decimals), unit, uUnit }
}

/** Never rounded down to nothing: half a digit is shown as one. */
const uDigits = (u: number, decimals: number): string => Math.max(u, 10 ** -decimals).toFixed(decimals)

/** "at most", "at least", or nothing. */
export const boundInWords = ({ isAtMost, isAtLeast }: Pick<Figure, 'isAtMost' | 'isAtLeast'>): string =>
  isAtMost ? 'at most ' : isAtLeast ? 'at least ' : ''

/** The same as a mark: ≤, ≥, or nothing. */
export const boundMark = ({ isAtMost, isAtLeast }: Pick<Figure, 'isAtMost' | 'isAtLeast'>): string =>
  isAtMost ? '≤' : isAtLeast ? '≥' : ''

/** A standard uncertainty by itself: two digits in the unit that suits its own size, "0.46 mV", "0.59 µs". */
export function standardInWords(u: number, ofUnit: Figure['unit']): string {
  const size = Math.abs(u)
  const isTime = ofUnit === 's' && size < 1e-4
  const { factor, uUnit } = isTime ? { factor: 1e6, uUnit: 'µs' } : scaleOf(ofUnit, size, false)
  const digits = (size * factor).toFixed(decimalsOfTwoDigits(size * factor))
  return `${Number(digits) === 0 ? '0' : digits} ${uUnit}`.trimEnd()
}

/** "2.003 V", "at most −81.4 dB", "inverted". */
export function valueInWords(figure: Figure): string {
  const digits = digitsOf(figure)
  if (digits === null) return NOT_MEASURED
  if (figure.quantity === 'polarity') return polarityWord(figure.value!)
  return `${boundInWords(figure)}${digits.value} ${digits.unit}`.trimEnd()
}

/** Expanded uncertainty in the unit in which the value is shown: "± 12 mV". */
export function uncertaintyInWords(figure: Figure): string {
  const digits = digitsOf(figure)
  return digits === null || digits.u === null ? NO_VALUE : `± ${digits.u} ${digits.uUnit}`.trimEnd()
}

export const polarityWord = (sign: number): string => (sign < 0 ? 'inverted' : 'normal')

const QUANTITY_WORDS: Readonly<Record<string, string>> = {
  thd: 'THD',
  'thd+n': 'THD+N',
  'thd of total': 'THD over the total',
  sinad: 'SINAD',
  noise: 'Noise, unweighted',
  'noise A': 'Noise, A-weighted',
  'noise C': 'Noise, C-weighted',
  'noise 468': 'Noise, ITU-R 468',
  'noise 468, unity at 2 kHz': 'Noise, ITU-R 468 with unity at 2 kHz',
  'dynamic range A': 'Dynamic range, A-weighted',
  'level deviation': 'Level against the map',
  'clean level': 'Highest clean level',
  'clean output': 'Output at the highest clean level',
}

/** Name of a check or a quantity as a heading has it. */
export const quantityInWords = (name: string): string =>
  QUANTITY_WORDS[name] ?? name.slice(0, 1).toUpperCase() + name.slice(1)

/** "level at one frequency/1" is a name and a version. */
export function methodInWords(method: string): { name: string; version: string } {
  const at = method.lastIndexOf('/')
  return at < 0 ? { name: method, version: NOT_GIVEN } : { name: method.slice(0, at), version: method.slice(at + 1) }
}

/**
 * "2026-04-01 14:30 UTC" from ISO 8601: the clock of the place, as it was written down.
 * @param hasSeconds where two runs may be of one minute
 */
export function timeInWords(iso: string, hasSeconds = false): string {
  const parts = /^(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(:\d\d)?(?:\.\d+)?(Z|[+-]\d\d:?\d\d)?$/.exec(iso)
  if (!parts) return iso
  const [, day, time, seconds = '', offset = ''] = parts
  return `${day} ${time}${hasSeconds ? seconds : ''} ${offset === 'Z' ? 'UTC' : offset && `UTC${offset.replace('-', '\u2212')}`}`.trimEnd()
}

/** The same on the clock of this computer, which stands in the shop: owners do not read UTC. */
export function localTimeInWords(iso: string): string {
  const at = new Date(iso)
  const aheadMin = -at.getTimezoneOffset()
  if (!iso.endsWith('Z') || Number.isNaN(aheadMin) || aheadMin === 0) return timeInWords(iso)
  const two = (value: number): string => String(Math.floor(value)).padStart(2, '0')
  const offset = `${aheadMin < 0 ? '-' : '+'}${two(Math.abs(aheadMin) / 60)}:${two(Math.abs(aheadMin) % 60)}`
  return timeInWords(`${new Date(at.getTime() + 60_000 * aheadMin).toISOString().slice(0, 19)}${offset}`)
}

/** A frequency on an axis: 50, 2k. */
export const inAxisHz = (freqHz: number): string => (freqHz >= 1000 ? `${freqHz / 1000}k` : `${freqHz}`)
