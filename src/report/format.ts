/**
 * Figures of a result in words: the one place where this folder decides on digits, units and names.
 *
 * Digits follow the uncertainty: U is shown with one digit, or two where it begins with 1 or 2, and the value ends at the
 * same place. Where U is not known, the unit has its usual digits.
 */
import { plain, signed } from '../units/words.js'
import type { Figure, Verdict } from '../verdict/result.js'

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

function scaleOf({ unit, value }: Figure): Scale {
  const size = Math.abs(value ?? 0)
  switch (unit) {
    case 'V':
      if (size >= 0.1) return scale('V', 1, 2, 3)
      return size >= 0.0001 ? scale('mV', 1e3, size >= 0.01 ? 0 : 2, 2) : scale('µV', 1e6, 0, 0)
    case 'dBV':
    case 'dBV(A)':
      return scale(unit, 1, 1, 1, { uUnit: 'dB' })
    case 'dB':
      return scale(unit, 1, 1, size >= 10 ? 1 : 2, { isSigned: true })
    case '%':
      return scale(unit, 1, size >= 10 ? 0 : size >= 1 ? 1 : size >= 0.1 ? 2 : 3, 4)
    case 's':
      return scale('ms', 1e3, size < 0.001 ? 3 : 2, 3, { isSigned: true })
    case 'Hz':
      return scale(unit, 1, size >= 100 ? 0 : 1, 2)
    case 'ppm':
      return scale(unit, 1, 1, 1, { isSigned: true })
    default:
      return scale('', 1, 0, 0)
  }
}

/** Decimals of the last digit that an uncertainty leaves any meaning. */
function decimalsFor(u: number): number {
  const exponent = Math.floor(Math.log10(u))
  const digitCount = u / 10 ** exponent < 2.95 ? 2 : 1
  return digitCount - 1 - exponent
}

/** @returns null where nothing could be read */
export function digitsOf(figure: Figure): FigureDigits | null {
  if (figure.value === null) return null
  const { factor, unit, uUnit, decimalsUsual, decimalsMax, isSigned } = scaleOf(figure)
  const u = figure.u === null ? null : Math.abs(figure.u) * factor
  const decimals = u === null || u === 0 ? decimalsUsual : Math.min(decimalsMax, Math.max(0, decimalsFor(u)))
  const value = (isSigned ? signed : plain)(figure.value * factor, decimals)
  return { value, u: u === null ? null : uDigits(u, decimals), unit, uUnit }
}

/** Never rounded down to nothing: half a digit is shown as one. */
function uDigits(u: number, decimals: number): string {
  const step = 10 ** -decimals
  return (u === 0 ? 0 : Math.max(u, step)).toFixed(decimals)
}

/** "2.003 V", "at most −81.4 dB", "inverted". */
export function valueInWords(figure: Figure): string {
  const digits = digitsOf(figure)
  if (digits === null) return NOT_MEASURED
  if (figure.quantity === 'polarity') return polarityWord(figure.value!)
  return `${figure.isAtMost ? 'at most ' : ''}${digits.value} ${digits.unit}`.trimEnd()
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
  noise: 'Noise, unweighted',
  'noise A': 'Noise, A-weighted',
}

/** Name of a check or a quantity as a heading has it. */
export const quantityInWords = (name: string): string =>
  QUANTITY_WORDS[name] ?? name.slice(0, 1).toUpperCase() + name.slice(1)

/** "level at one frequency/1" is a name and a version. */
export function methodInWords(method: string): { name: string; version: string } {
  const at = method.lastIndexOf('/')
  return at < 0 ? { name: method, version: NOT_GIVEN } : { name: method.slice(0, at), version: method.slice(at + 1) }
}

/** "2026-04-01 14:30 UTC" from ISO 8601: the clock of the place, as it was written down. */
export function timeInWords(iso: string): string {
  const parts = /^(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(?::\d\d(?:\.\d+)?)?(Z|[+-]\d\d:?\d\d)?$/.exec(iso)
  if (!parts) return iso
  const [, day, time, offset = ''] = parts
  return `${day} ${time} ${offset === 'Z' ? 'UTC' : offset && `UTC${offset.replace('-', '\u2212')}`}`.trimEnd()
}

/** A frequency on an axis: 50, 2k. */
export const inAxisHz = (freqHz: number): string => (freqHz >= 1000 ? `${freqHz / 1000}k` : `${freqHz}`)
