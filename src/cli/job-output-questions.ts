/** Output by output: what it feeds, which sides and band it hears, its level, fader group and pair. */
import { OUTPUT_COUNT_MAX } from '../job/schema.js'
import { type PlainOutput, usualLayout } from '../job/usual-layouts.js'
import { type Choice, NotAllowed, numberIn, oneOf } from '../stages/question.js'
import { LAYOUT, NONE, SIDES } from './job-answers.js'
import { oneLineOf } from './one-line.js'
import type { Answers, Step } from './questions.js'

const FADERS: readonly Choice[] = [
  { value: 'front', says: 'front' },
  { value: 'rear', says: 'rear' },
  { value: 'none', says: 'none: the fader does not move it' },
]
const LOW_HZ = { min: 10, max: 15_000 } as const
const HIGH_HZ = { min: 30, max: 22_000 } as const

export const outputSteps = (): Step[] => Array.from({ length: OUTPUT_COUNT_MAX }, (_, k) => stepsOf(k + 1)).flat()

function stepsOf(number: number): Step[] {
  const where = (step: (answers: Answers, usual: PlainOutput | undefined) => ReturnType<Step>): Step => {
    return (answers) => {
      const count = Number(answers.get('output_count'))
      if (answers.get('layout') !== LAYOUT.single || number > count) return null
      return step(answers, usualLayout(count)?.outputs[number - 1])
    }
  }
  const earlier = (answers: Answers, name: string): string[] =>
    Array.from({ length: number - 1 }, (_, k) => answers.get(`${name}_${k + 1}`) ?? [])
      .flat()
      .filter((answer) => answer !== NONE)
  return [
    where((answers, usual) => ({
      name: `label_${number}`,
      asks: `What does output ${number} feed?`,
      why: 'As the harness sheet has it: front left high, subwoofer.',
      usual: usual?.label ?? `output ${number}`,
      check: oneLineOf(40, earlier(answers, 'label')),
    })),
    where((_, usual) => ({
      name: `side_${number}`,
      asks: 'Which side of the source does it hear?',
      why: 'Both: half of each, as a centre or a mono subwoofer does.',
      choices: SIDES,
      usual: usual && usual.left === 0 ? 'right' : usual && usual.right === 0 ? 'left' : usual ? 'both' : 'left',
      check: oneOf(SIDES),
    })),
    where((_, usual) => ({
      name: `low_hz_${number}`,
      asks: 'From which frequency on (Hz)?',
      why: 'Lower corner of its band. Usual: none where nothing limits it.',
      usual: String(usual?.lowHz ?? NONE),
      check: hzOr(LOW_HZ, 0),
    })),
    where((answers, usual) => ({
      name: `high_hz_${number}`,
      asks: 'Up to which frequency (Hz)?',
      why: 'Upper corner of its band. Usual: none where nothing limits it.',
      usual: String(usual?.highHz ?? NONE),
      check: hzOr(HIGH_HZ, Number(answers.get(`low_hz_${number}`)) || 0),
    })),
    where((answers) => ({
      name: `level_vrms_${number}`,
      asks: 'How many volts does it give for a full-scale tone (V rms)?',
      why: 'On a side that it hears with its full share.',
      usual: answers.get('level_vrms')!,
      check: numberIn(0.001, 20),
    })),
    where((_, usual) => ({
      name: `fader_${number}`,
      asks: 'Which end of the fader moves it?',
      why: 'A take with the fader to the front tells front from rear.',
      choices: FADERS,
      usual: usual?.fader ?? 'none',
      check: oneOf(FADERS),
    })),
    where((answers, usual) => ({
      name: `pair_${number}`,
      asks: 'Which pair does it belong to?',
      why: 'A name that its partner of the other side has too: their levels are held against each other. Usual: none for a single one.',
      usual: usual?.pair ?? NONE,
      check: (text) => {
        if (text.trim().toLowerCase() === NONE) return NONE
        const pair = oneLineOf(40)(text)
        if (earlier(answers, 'pair').filter((other) => other === pair).length < 2) return pair
        throw new NotAllowed(`Pair "${pair}" has two outputs already. Allowed: another name, or none.`)
      },
    })),
  ]
}

const hzOr =
  ({ min, max }: { min: number; max: number }, aboveHz: number) =>
  (text: string): string => {
    if (text.trim().toLowerCase() === NONE) return NONE
    const hz = numberIn(min, max)(text)
    if (Number(hz) > aboveHz) return hz
    throw new NotAllowed(`Allowed: above the lower corner of ${aboveHz} Hz, or none.`)
  }
