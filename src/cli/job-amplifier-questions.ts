/** What goes to which amplifier channel: asked for only where somebody knows it. */
import { NotAllowed, numberIn } from '../stages/question.js'
import { outputListOf, plannedLabels } from './job-answers.js'
import { oneLineOf } from './one-line.js'
import type { Answers, Step } from './questions.js'

const CHANNEL_COUNT_MAX = 32
const FED_MAX = 8

interface Named {
  readonly number: number
  readonly label: string
}

/** @param outputs of the map; null where the answers say them */
export function amplifierSteps(outputs: readonly Named[] | null): Step[] {
  const named = (answers: Answers): readonly Named[] => outputs ?? plannedLabels(answers)
  return [
    () => ({
      name: 'amplifier_count',
      asks: 'How many amplifier channels do the outputs feed?',
      why: 'For the gains: rated power and load of each. Usual: 0, to be added to the file when they are known.',
      usual: '0',
      check: numberIn(0, CHANNEL_COUNT_MAX, true),
    }),
    ...Array.from({ length: CHANNEL_COUNT_MAX }, (_, k) => channelSteps(k + 1, named)).flat(),
  ]
}

function channelSteps(number: number, named: (answers: Answers) => readonly Named[]): Step[] {
  const where =
    (step: (answers: Answers) => ReturnType<Step>): Step =>
    (answers) =>
      number > Number(answers.get('amplifier_count')) ? null : step(answers)
  const earlier = (answers: Answers): string[] =>
    Array.from({ length: number - 1 }, (_, k) => answers.get(`amplifier_${k + 1}`) ?? []).flat()
  const before = (answers: Answers, name: string, usual: string): string =>
    answers.get(`${name}_${number - 1}`) ?? usual
  return [
    where((answers) => ({
      name: `amplifier_outputs_${number}`,
      asks: `Which outputs feed amplifier channel ${number}?`,
      why: 'Numbers in a row; several where the amplifier adds them: 1 3.',
      usual: String(named(answers)[number - 1]?.number ?? named(answers)[0].number),
      check: (text) => {
        const known = named(answers).map((output) => output.number)
        const numbers = outputListOf(text)
        if (numbers.length > 0 && numbers.length <= FED_MAX && numbers.every((one) => known.includes(one))) {
          return [...new Set(numbers)].join(' ')
        }
        throw new NotAllowed(`Allowed: up to ${FED_MAX} of ${known.join(', ')}.`)
      },
    })),
    where((answers) => {
      const fed = outputListOf(answers.get(`amplifier_outputs_${number}`)!)
      const label = named(answers).find((output) => output.number === fed[0])!.label
      return {
        name: `amplifier_${number}`,
        asks: 'What do you call this channel?',
        why: 'Usual: as its output.',
        usual: earlier(answers).includes(label) ? `channel ${number}` : label,
        check: oneLineOf(40, earlier(answers)),
      }
    }),
    where((answers) => ({
      name: `rated_w_${number}`,
      asks: 'What is its rated power into its load (W)?',
      why: 'From its data sheet, at the load that is wired.',
      usual: before(answers, 'rated_w', '75'),
      check: numberIn(1, 10_000),
    })),
    where((answers) => ({
      name: `load_ohm_${number}`,
      asks: 'What is the nominal impedance of its load (Ω)?',
      why: 'Usual: 4.',
      usual: before(answers, 'load_ohm', '4'),
      check: numberIn(0.5, 16),
    })),
  ]
}
