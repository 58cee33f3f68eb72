/** The questions that make a job file, with usual answers; "none" leaves out what may be left out. */
import { SOURCES, STAGES } from '../job/job.js'
import type { PlatformMap } from '../job/platform.js'
import { OUTPUT_COUNT_MAX } from '../job/schema.js'
import { usualLayout } from '../job/usual-layouts.js'
import { vinShapeProblem } from '../job/vin.js'
import { type Choice, NotAllowed, numberIn, oneOf } from '../stages/question.js'
import { amplifierSteps } from './job-amplifier-questions.js'
import { LAYOUT, NONE } from './job-answers.js'
import { outputSteps } from './job-output-questions.js'
import { oneLineOf } from './one-line.js'
import type { Answers, Step } from './questions.js'

const YEARS = { first: 1950, last: 2100 } as const

const SOURCE_WORDS: Readonly<Record<(typeof SOURCES)[number], string>> = {
  stick: 'stick: a USB stick in the head unit, that plays it by itself',
  disc: 'disc: a disc in the head unit',
  usb: 'usb: a phone or computer on the head unit by USB',
  aux: 'aux: an analog cable',
  bluetooth: 'bluetooth: a wireless link that is lossy; small figures become "at most"',
  wireless: 'wireless: another wireless link',
  other: 'other',
}

/** @param map of the platform: then outputs and platform are not asked for */
export function jobSteps(map: PlatformMap | null): Step[] {
  return [
    ...vehicleSteps(),
    ...(map ? [] : mapSteps()),
    () => ({
      name: 'source',
      asks: 'Where does the test track come from?',
      why: 'The path into the head unit bounds what can be told. Usual: a stick, which loses nothing.',
      choices: SOURCES.map((value): Choice => ({ value, says: SOURCE_WORDS[value] })),
      usual: 'stick',
      check: oneOf(SOURCES.map((value) => ({ value, says: value }))),
    }),
    ...amplifierSteps(map?.outputs.map(({ number, label }) => ({ number, label })) ?? null),
    () => ({
      name: 'stages',
      asks: 'What does the job consist of?',
      why: `In a row, of ${STAGES.join(', ')}; or all. Stages other than outputs need lines of their own in the job. Usual: outputs.`,
      usual: 'outputs',
      check: stagesOf,
    }),
    () => ({
      name: 'rig',
      asks: 'Which rig file does it use?',
      why: 'As a path from the job file. Usual: none, so that each run names it by --rig.',
      usual: NONE,
      check: orNone(oneLineOf(400)),
    }),
    optional('job_number', "What is the shop's number of this job?", 'It stands in the report.', 40),
    optional('technician', 'Who does the work?', 'It stands in the report.', 80),
  ]
}

const optional = (name: string, asks: string, why: string, characterCountMax: number): Step => {
  return () => ({ name, asks, why: `${why} Usual: none.`, usual: NONE, check: orNone(oneLineOf(characterCountMax)) })
}

/** "none", or what the check takes. */
const orNone =
  (check: (text: string) => string) =>
  (text: string): string =>
    text.trim().toLowerCase() === NONE ? NONE : check(text)

function vehicleSteps(): Step[] {
  return [
    optional('maker', 'Who made the vehicle?', 'It stands in every report.', 80),
    () => ({
      name: 'model',
      asks: 'Which model is it?',
      why: 'With trim and sound system where they matter.',
      usual: 'vehicle',
      check: oneLineOf(80),
    }),
    () => ({
      name: 'year',
      asks: 'Which model year?',
      why: 'Usual: none.',
      usual: NONE,
      check: orNone(numberIn(YEARS.first, YEARS.last, true)),
    }),
    () => ({
      name: 'vin',
      asks: 'What is its VIN?',
      why: '17 characters, on a plate behind the windscreen; it finds the run again. Usual: none.',
      usual: NONE,
      check: orNone(vinOf),
    }),
    optional('plate', 'What is its licence plate?', 'It finds the run again.', 20),
    (answers) => ({
      name: 'name',
      asks: 'What do you call this job?',
      why: 'It stands at the top of the report.',
      usual: vehicleWords(answers).slice(0, 120),
      check: oneLineOf(120),
    }),
  ]
}

const vehicleWords = (answers: Answers): string =>
  ['maker', 'model', 'year']
    .map((name) => answers.get(name))
    .filter((part) => part !== undefined && part !== NONE)
    .join(' ')

function vinOf(text: string): string {
  const vin = text.trim().toUpperCase()
  const problem = vinShapeProblem(vin)
  if (problem === null) return vin
  throw new NotAllowed(`${problem.replace(/^it/, 'It')}. Allowed: 17 letters and digits without I, O and Q; or none.`)
}

function stagesOf(text: string): string {
  const words = text
    .toLowerCase()
    .split(/[\s,]+/)
    .filter(Boolean)
  if (words.length === 1 && words[0] === 'all') return STAGES.join(' ')
  const odd = words.find((word) => !STAGES.some((stage) => stage === word))
  if (odd !== undefined || words.length === 0) throw new NotAllowed(`Allowed: all, or some of ${STAGES.join(', ')}.`)
  return STAGES.filter((stage) => words.includes(stage)).join(' ')
}

function mapSteps(): Step[] {
  return [
    optional(
      'platform',
      'What do all vehicles with its channel map have in common?',
      'Their maps and trends go by it.',
      80,
    ),
    () => ({
      name: 'output_count',
      asks: 'How many outputs does the interface have?',
      why: 'From its harness sheet.',
      usual: '8',
      check: numberIn(1, OUTPUT_COUNT_MAX, true),
    }),
    (answers) => {
      const layout = usualLayout(Number(answers.get('output_count')))
      const choices: Choice[] = [
        ...(layout
          ? [{ value: LAYOUT.usual, says: `usual: ${layout.says} (common practice, not from a data sheet)` }]
          : []),
        { value: LAYOUT.single, says: 'single: output by output' },
        { value: LAYOUT.unknown, says: 'unknown: nothing is known yet; linetrue job learn measures it' },
      ]
      return {
        name: 'layout',
        asks: 'What do they feed?',
        why: 'The sheet of the interface says it. Correct the file where it is otherwise.',
        choices,
        usual: choices[0].value,
        check: oneOf(choices),
      }
    },
    () => ({
      name: 'level_vrms',
      asks: 'How many volts does an output give for a full-scale tone (V rms)?',
      why: "From the interface's data sheet. Usual: 2, common practice for line outputs.",
      usual: '2',
      check: numberIn(0.001, 20),
    }),
    ...outputSteps(),
  ]
}
