/**
 * Printed lines to readings, by patterns: a regular expression with the named parts value, unit, function, overload.
 *
 * The ready-made forms are the commonest ones, written from memory; no maker's manual stands behind them.
 */
import type { LineForm, LinePattern, MeterFunction } from '../rig/meter-spec.js'
import type { MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { negativeAc, overload, QUANTITY_WORDS, type Reading, wrongFunction } from './reading.js'
import { quantitySaid, unitOf } from './reading-units.js'

/** NR1, NR2 and NR3 of IEEE 488.2, with room behind the sign and a decimal comma as some meters have it. */
const NUMBER = '[-+]? *(?:\\d+(?:[.,]\\d*)?|[.,]\\d+)(?:[eE][-+]?\\d+)?'
const OVERLOAD = '[-+]? *(?:[.]?[0O][.]?L[.]?D?[.]?|O[.]?F[.]?L|OVERLOAD|OVERRANGE|OVERFLOW|OVLD|OVRNG|OVER|INF|∞)'
const UNIT = '[nuUµμmkKMG]?(?:[Vv]|A|Hz|HZ|F|[Oo]hms?|OHMS?|[\u03a9\u2126])'
const EXTRA = '(?:AUTO|MANUAL|MAN|TRMS|RMS)'
const FUNCTION = `AC\\+DC|AC|DC|ac|dc|~|=|(?!${EXTRA})[A-Za-z]{3,10}`
const FUNCTION_FIRST = 'AC\\+DC|[A-Za-z~=Ω]+(?::[A-Za-z]+)?'
const EITHER = `(?:(?<value>${NUMBER})|(?<overload>${OVERLOAD}))`

/**
 * value-unit-function: "+01.234 V AC", "1.2345E+00 VAC", "OL mV DC". function-value-unit: "AC +1.234 V", "VAC 1.234".
 * comma-separated: "+1.234E+0,VAC", "1.234;mV;AC". value-alone: "+1.2345E+00".
 */
const FORMS: Readonly<Record<LineForm, string>> = {
  'value-unit-function': `^${EITHER} *(?<unit>${UNIT})? *(?<function>${FUNCTION})?(?: +${EXTRA})*$`,
  'function-value-unit': `^(?<function>${FUNCTION_FIRST}) *:? *${EITHER} *(?<unit>${UNIT})?$`,
  'comma-separated': `^${EITHER.replaceAll('[.,]', '[.]')} *[,;] *"?(?<unit>${UNIT})"?(?: *[,;]? *"?(?<function>${FUNCTION})"?)?(?: *[,;].*)?$`,
  'value-alone': `^${EITHER}$`,
}

/** Forms that say enough to be tried on any meter. */
export const USUAL_PATTERNS: readonly LinePattern[] = (
  ['value-unit-function', 'function-value-unit', 'comma-separated'] as const
).map((form) => ({ form, line: null, ask: null, unit: null, function: null }))

/** Without a unit a number beyond this is in another unit; in vehicles there is less. */
const PLAUSIBLE_MAX: Readonly<Record<MeterQuantity, number>> = { acVolts: 60, dcVolts: 60, ohms: 1e8, dcAmps: 20 }
const FUNCTION_OF = { acVolts: 'ac_volts', dcVolts: 'dc_volts', ohms: 'ohms', dcAmps: 'dc_amps' } as const
const QUANTITIES = Object.keys(FUNCTION_OF) as MeterQuantity[]
const OVERLOAD_WORD = new RegExp(`^${OVERLOAD}$`, 'iu')
const NUMBER_WORD = new RegExp(`^${NUMBER}$`, 'u')

export class PatternReader {
  private readonly patterns: readonly (LinePattern & { readonly expression: RegExp })[]

  constructor(
    patterns: readonly LinePattern[],
    private readonly ownWords: Readonly<Record<string, MeterFunction>>,
    private readonly where: string,
  ) {
    this.patterns = patterns.map((pattern) => ({
      ...pattern,
      expression: new RegExp(pattern.line ?? FORMS[pattern.form ?? 'value-unit-function'], 'u'),
    }))
  }

  /**
   * What makes the meter print this quantity; null: it prints by itself.
   * @throws StopError when all patterns are for other functions
   */
  askFor(quantity: MeterQuantity): string | null {
    const fitting = this.fitting(quantity)
    if (fitting.length > 0) return fitting.find(({ ask }) => ask !== null)?.ask ?? null
    throw new StopError(
      `no pattern of the rig file is for ${QUANTITY_WORDS[quantity]}`,
      this.where,
      `Add one to meter.patterns with function: ${FUNCTION_OF[quantity]}, or without function.`,
    )
  }

  /** Whether any pattern fits a line. */
  fits(line: string): boolean {
    return this.patterns.some(({ expression }) => expression.test(line))
  }

  /**
   * @returns null when no pattern fits, or the line holds no number: it is passed over
   * @throws StopError when the line says overload, another function, or a unit that is none
   */
  read(line: string, quantity: MeterQuantity, noiseVrms: number): Reading | null {
    for (const pattern of this.fitting(quantity)) {
      const parts = pattern.expression.exec(line)?.groups
      if (parts) return this.readingOf(parts, pattern, quantity, line, noiseVrms)
    }
    const other = this.patterns.find(({ ask, expression }) => ask === null && expression.test(line))
    if (other?.function == null) return null
    const found = QUANTITIES.find((candidate) => FUNCTION_OF[candidate] === other.function)
    throw wrongFunction(this.where, quantity, found ? QUANTITY_WORDS[found] : `"${line}"`)
  }

  private fitting(quantity: MeterQuantity): typeof this.patterns {
    return this.patterns.filter((pattern) => pattern.function === null || pattern.function === FUNCTION_OF[quantity])
  }

  private readingOf(
    parts: Readonly<Record<string, string | undefined>>,
    pattern: LinePattern,
    quantity: MeterQuantity,
    line: string,
    noiseVrms: number,
  ): Reading | null {
    const [printed, word] = splitUnit(parts['unit'] || pattern.unit, parts['function'] || null)
    const unit = printed === null ? null : unitOf(printed)
    const said = quantitySaid(word ?? pattern.function, unit?.base ?? null, this.ownWords, quantity)
    if (said === 'unknown') throw this.unknownWord(word ?? '', line)
    if (printed !== null && unit === null) throw this.unknownUnit(printed, line)
    if (said !== null && said !== quantity) {
      throw wrongFunction(this.where, quantity, said === 'other' ? `"${word ?? printed}"` : QUANTITY_WORDS[said])
    }
    const text = (parts['value'] ?? '').trim()
    if (parts['overload'] || OVERLOAD_WORD.test(text)) throw overload(this.where, quantity)
    if (!NUMBER_WORD.test(text)) return null
    // A ready-made form tries itself on any line, and a bare number may be anything.
    if (printed === null && word === null && pattern.form !== null && pattern.form !== 'value-alone') return null
    const factor = unit?.factor ?? 1
    const { value, resolution } = numberOf(text, factor)
    if (!Number.isFinite(value)) return null
    // Meters that speak as IEEE 488.2 has it print this for overload.
    if (Math.abs(value) >= 9.9e37 * factor) throw overload(this.where, quantity)
    if (unit === null && Math.abs(value) > PLAUSIBLE_MAX[quantity]) throw this.implausible(text, quantity)
    if (quantity === 'acVolts' && value < -Math.max(noiseVrms, resolution)) throw negativeAc(this.where, value)
    return { value, resolution }
  }

  private unknownWord(word: string, line: string): StopError {
    return new StopError(
      `the meter says "${word}" in "${line}", which is no function that is known`,
      this.where,
      `Add it to meter.functions in the rig file: "${word}": ac_volts, dc_volts, ohms, dc_amps or other.`,
    )
  }

  private unknownUnit(printed: string, line: string): StopError {
    return new StopError(
      `the meter says "${printed}" in "${line}", which is no unit that is known`,
      this.where,
      'Let the part named unit of the pattern take the unit alone: V, mV, kohm, A.',
    )
  }

  private implausible(text: string, quantity: MeterQuantity): StopError {
    return new StopError(
      `the meter prints ${text} without a unit: too much for ${QUANTITY_WORDS[quantity]}`,
      this.where,
      'Give the unit that it shows to the pattern in the rig file (unit: mV), or set the meter to the unit without a prefix.',
      'instrument',
    )
  }
}

/** "VAC" or "mV~" in the part for the unit is unit and function in one. */
function splitUnit(unit: string | null, word: string | null): [string | null, string | null] {
  const both = unit === null ? null : /^(.*?(?:V|A)) ?(AC|DC|~|=|⎓)$/i.exec(unit.trim())
  return both && word === null ? [both[1], both[2]] : [unit, word]
}

/** Digits as printed tell the resolution: the last one counts 1. */
function numberOf(text: string, factor: number): Reading {
  const plain = text.replaceAll(' ', '').replace(',', '.')
  const [mantissa, exponent = '0'] = plain.toLowerCase().split('e')
  const decimals = mantissa.split('.')[1]?.length ?? 0
  return { value: Number(plain) * factor, resolution: 10 ** (Number(exponent) - decimals) * factor }
}
