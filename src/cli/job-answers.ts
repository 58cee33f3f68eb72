/** What the answers about a job stand for, as the text of a job file needs it. */

import { type Source, STAGES } from '../job/job.js'
import type { JobAnswers, JobFileOutput } from '../job/job-file-text.js'
import { outputsOfMap } from '../job/job-file-text.js'
import type { PlatformMap } from '../job/platform.js'
import { type PlainOutput, usualLayout } from '../job/usual-layouts.js'
import type { Choice } from '../stages/question.js'
import type { Answers } from './questions.js'

/** An answer that leaves a field out. */
export const NONE = 'none'
export const LAYOUT = { usual: 'usual', single: 'single', unknown: 'unknown' } as const
export const SIDES: readonly Choice[] = [
  { value: 'left', says: 'left' },
  { value: 'right', says: 'right' },
  { value: 'both', says: 'both' },
]

export function jobAnswersOf(answers: Answers, map: PlatformMap | null): JobAnswers {
  const text = (name: string): string => answers.get(name)!
  const orNull = (name: string): string | null => (text(name) === NONE ? null : text(name))
  const year = orNull('year')
  return {
    name: text('name'),
    vehicle: {
      maker: orNull('maker'),
      model: text('model'),
      year: year === null ? null : Number(year),
      vin: orNull('vin'),
      plate: orNull('plate'),
    },
    platform: map ? map.platform : orNull('platform'),
    jobNumber: orNull('job_number'),
    technician: orNull('technician'),
    source: text('source') as Source,
    rigPath: orNull('rig'),
    stages: STAGES.filter((stage) => text('stages').split(' ').includes(stage)),
    ...(map
      ? { outputs: outputsOfMap(map), outputsAre: outputsAreWords(map) }
      : { outputs: plannedOutputs(answers), outputsAre: LAYOUT_WORDS[text('layout') as keyof typeof LAYOUT] }),
    amplifiers: Array.from({ length: Number(text('amplifier_count')) }, (_, k) => ({
      name: text(`amplifier_${k + 1}`),
      outputs: outputListOf(text(`amplifier_outputs_${k + 1}`)),
      ratedW: Number(text(`rated_w_${k + 1}`)),
      loadOhm: Number(text(`load_ohm_${k + 1}`)),
    })),
  }
}

const LAYOUT_WORDS = {
  usual:
    'CHANGE what is otherwise: this is what so many outputs usually feed (common practice), not what is known of this vehicle.',
  single: 'As it was answered, output by output.',
  unknown:
    'CHANGE: nothing is known of them. linetrue job learn measures what they carry, from a run or from recordings.',
} as const

const outputsAreWords = ({ vehicles }: PlatformMap): string =>
  `From the map of the platform, learned from ${vehicles.length === 1 ? 'one vehicle' : `${vehicles.length} vehicles`}.`

const GAINS: Readonly<Record<string, readonly [number, number]>> = { left: [1, 0], right: [0, 1], both: [0.5, 0.5] }

/** Crossovers of factory amplifiers are where two outputs meet flat; a single edge is more often a plain filter. */
function singleOutput(answers: Answers, number: number, usual: PlainOutput | undefined): PlainOutput {
  const text = (name: string): string => answers.get(`${name}_${number}`)!
  const [left, right] = GAINS[text('side')]
  const hz = (name: string): number | null => (text(name) === NONE ? null : Number(text(name)))
  const [lowHz, highHz] = [hz('low_hz'), hz('high_hz')]
  const isUsual = usual !== undefined && lowHz === usual.lowHz && highHz === usual.highHz
  return {
    label: text('label'),
    left,
    right,
    lowHz,
    highHz,
    shape: isUsual ? usual.shape : 'butterworth',
    fader: text('fader') as PlainOutput['fader'],
    pair: text('pair') === NONE ? null : text('pair'),
  }
}

const UNKNOWN_OUTPUT: Omit<PlainOutput, 'label'> = {
  left: 0.5,
  right: 0.5,
  lowHz: null,
  highHz: null,
  shape: 'butterworth',
  fader: 'none',
  pair: null,
}

function plannedOutputs(answers: Answers): JobFileOutput[] {
  const count = Number(answers.get('output_count'))
  const layout = answers.get('layout')
  const usual = usualLayout(count)?.outputs
  return Array.from({ length: count }, (_, k) => {
    const number = k + 1
    const plain =
      layout === LAYOUT.single
        ? singleOutput(answers, number, usual?.[k])
        : layout === LAYOUT.usual
          ? usual![k]
          : { ...UNKNOWN_OUTPUT, label: `output ${number}` }
    const levelVrms = Number(answers.get(`level_vrms_${number}`) ?? answers.get('level_vrms'))
    return { ...plain, number, levelVrms, toleranceDb: null, polarity: 1, delayS: 0, note: null }
  })
}

/** Numbers and labels of the outputs as far as they are answered. */
export const plannedLabels = (answers: Answers): { number: number; label: string }[] =>
  plannedOutputs(answers).map(({ number, label }) => ({ number, label }))

/** Whole numbers in a row: "1 3", "1, 3". What is none becomes one that no output has. */
export const outputListOf = (text: string): number[] =>
  text
    .split(/[\s,]+/)
    .filter(Boolean)
    .map((word) => (/^\d{1,2}$/.test(word) ? Number(word) : -1))
