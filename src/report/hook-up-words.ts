/** Hook-ups in words: what goes where, and what is wrong with a lead. */
import type { OutputSpec } from '../job/job.js'
import type { Heard, LeadVerdict } from '../measure/lead-probe-fit.js'
import type { LeadStep } from '../stimulus/hook-up-plan.js'
import { listed } from '../units/words.js'
import { clean } from './text.js'

/** One line for each input, those that move first: `input 1 ← output 3  front left low`. */
export function hookUpTable(steps: readonly LeadStep[], outputs: readonly OutputSpec[]): string {
  const widest = (numbers: readonly number[]): number => Math.max(0, ...numbers.map((number) => `${number}`.length))
  const inputWidth = widest(steps.map(({ inputNumber }) => inputNumber))
  const outputWidth = widest(steps.map(({ outputNumber }) => outputNumber))
  return steps
    .map(({ inputNumber, outputNumber, stays }) => {
      const input = `input ${`${inputNumber}`.padStart(inputWidth)}`
      const output = `output ${`${outputNumber}`.padStart(outputWidth)}`
      return `  ${input} ← ${output}  ${labelOf(outputNumber, outputs)}${stays ? '  (stays)' : ''}`
    })
    .join('\n')
}

const labelOf = (number: number, outputs: readonly OutputSpec[]): string =>
  clean(outputs.find((spec) => spec.number === number)?.label ?? '')

const named = (number: number, outputs: readonly OutputSpec[]): string =>
  `output ${number} ${labelOf(number, outputs)}`.trimEnd()

/** What a lead's verdict has to say; null where it is as it should be. */
export function leadWords(verdict: LeadVerdict, outputs: readonly OutputSpec[]): string | null {
  const { kind, inputNumber, outputNumber, mayBe } = verdict
  const input = `input ${inputNumber}`
  const expected = named(outputNumber, outputs)
  switch (kind) {
    case 'agrees':
      return null
    case 'silent':
      return `${input} hears nothing: lead off, output dead, or amplifier asleep; expected ${expected}`
    case 'unsure':
      return `${input}: not sure, noise hides whether it is on ${expected}`
    case 'unlike':
      return `${input} hears ${hearsWords(verdict)}, as no output of the map would; expected ${expected}`
    case 'other': {
      const others = listed(mayBe.map((number) => named(number, outputs))).replace(/ and (?=[^,]*$)/, ' or ')
      return `${input} hears ${hearsWords(verdict)}, as ${others} would; expected ${expected}: move the lead or confirm`
    }
  }
}

/** All leads together: one line where no input hears anything; who is exchanged with whom. */
export function leadsWords(verdicts: readonly LeadVerdict[], outputs: readonly OutputSpec[]): string[] {
  if (verdicts.length > 1 && verdicts.every(({ kind }) => kind === 'silent')) {
    return ['no input hears the quiet probe: player not on the head unit, another source chosen, or the volume down']
  }
  const lines = verdicts.flatMap((verdict) => leadWords(verdict, outputs) ?? [])
  const off = verdicts.filter(({ kind }) => kind === 'other')
  for (const [k, one] of off.entries()) {
    const other = off.slice(k + 1).find((second) => isExchanged(one, second))
    if (other) lines.push(`the leads of inputs ${one.inputNumber} and ${other.inputNumber} look exchanged`)
  }
  return lines
}

const isExchanged = (one: LeadVerdict, other: LeadVerdict): boolean =>
  one.mayBe.length === 1 &&
  other.mayBe.length === 1 &&
  one.mayBe[0] === other.outputNumber &&
  other.mayBe[0] === one.outputNumber

/** What is heard that isn't as expected: sides, bands, or else the level. */
function hearsWords({ hears, expected, offDb }: LeadVerdict): string {
  const sides = sidesWords(hears)
  const isOtherSide = sides !== sidesWords(expected)
  const bands = bandsWords(hears)
  const isOtherBand = bands !== bandsWords(expected)
  if (isOtherSide) return isOtherBand ? `${sides}, ${bands}` : sides
  if (isOtherBand) return bands
  const level = Math.abs(offDb ?? 0)
  return level >= 1
    ? `its sides and bands ${level.toFixed(0)} dB too ${offDb! > 0 ? 'loud' : 'quiet'}`
    : `${sides}, ${bands}`
}

const sidesWords = ({ sides }: Heard): string => (sides.length === 1 ? `the ${sides[0]} side only` : 'both sides')

const bandsWords = ({ bands }: Heard): string => (bands.length === 3 ? 'the whole band' : `${listed(bands)} only`)
