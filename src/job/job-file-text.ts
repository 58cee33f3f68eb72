/** The text of a job file from a few answers, with the comments that a technician needs to change it later. */
import type { Source, StageName } from './job.js'
import { type MapOutput, type PlatformMap, specOfMap } from './platform.js'
import { quoted, rounded } from './platform-text.js'
import { type PlainOutput, sumsOf } from './usual-layouts.js'

export interface JobAnswers {
  readonly name: string
  readonly vehicle: {
    readonly maker: string | null
    readonly model: string
    readonly year: number | null
    readonly vin: string | null
    readonly plate: string | null
  }
  readonly platform: string | null
  readonly jobNumber: string | null
  readonly technician: string | null
  readonly source: Source | null
  readonly rigPath: string | null
  readonly stages: readonly StageName[]
  readonly outputs: readonly JobFileOutput[]
  readonly amplifiers: readonly {
    readonly name: string
    readonly outputs: readonly number[]
    readonly ratedW: number
    readonly loadOhm: number
  }[]
  /** How the outputs came about, as one line. */
  readonly outputsAre: string
}

export interface JobFileOutput extends PlainOutput {
  readonly number: number
  readonly levelVrms: number
  /** null: as in limits. */
  readonly toleranceDb: number | null
  readonly polarity: 1 | -1
  readonly delayS: number
  /** What to look at in this entry. */
  readonly note: string | null
}

const WITH_TABLE: readonly StageName[] = ['pins', 'chimes', 'standby']

/** @returns text that the job file's own schema accepts, where the answers are within its limits */
export function jobFileText(answers: JobAnswers): string {
  const { name, vehicle, platform, jobNumber, technician, source, rigPath, stages, outputs, amplifiers } = answers
  const sums = sumsOf(outputs).map((sum) => ({
    ...sum,
    outputs: sum.outputs.map((place) => outputs[place - 1].number),
  }))
  // This text holds no tables of pins, chimes or standby; a stage without its table would stop the job.
  const lacking = stages.filter((stage) => WITH_TABLE.includes(stage) || (stage === 'gains' && amplifiers.length === 0))
  const able = stages.filter((stage) => !lacking.includes(stage))
  const lines = [
    '# A job: one vehicle and what is expected of its outputs. What each field may hold: linetrue schema job.',
    `name: ${quoted(name)}`,
    '',
    'vehicle:',
    ...field('maker', vehicle.maker, '  '),
    `  model: ${quoted(vehicle.model)}`,
    ...field('year', vehicle.year, '  '),
    vehicle.vin === null ? '  # vin: 17 characters, as on its plate' : `  vin: ${quoted(vehicle.vin)}`,
    ...field('plate', vehicle.plate, '  '),
    ...(platform === null
      ? ['# platform: name shared by all vehicles that have this channel map; linetrue job learn makes a map of it']
      : [`platform: ${quoted(platform)} # shared by all vehicles that have this channel map`]),
    ...field('job_number', jobNumber),
    ...field('technician', technician),
    ...(source === null ? [] : [`source: ${source} # where the test track comes from`]),
    ...(rigPath === null
      ? ['# rig: FILE, relative to this one; or name it each time: linetrue verify JOB --rig FILE']
      : [`rig: ${quoted(rigPath)}`]),
    '',
    `stages: [${able.join(', ') || 'outputs'}] # of pins, outputs, flat, gains, chimes, engine, standby`,
    ...(lacking.length === 0
      ? []
      : [
          `# Wanted too: ${lacking.join(', ')}. Add the key of each (linetrue schema job says what it holds), then its name above.`,
        ]),
    'extra_takes: [] # fader_front tells front outputs from rear ones; engine_running shows whine',
    'limits: { profile: standard } # fine, standard or coarse, and values of your own over it',
    '',
    '# The channel map: number on the harness, what it feeds, its share of the left and right source side, the band it carries',
    '# (leave an edge out where nothing limits it), its level for a full-scale sine in volts rms.',
    `# ${answers.outputsAre}`,
    'outputs:',
    ...outputs.flatMap(outputLines),
    ...(sums.length === 0
      ? []
      : [
          '',
          '# Outputs that feed one speaker position together: their voltages, added, have to be flat.',
          'sums:',
          ...sums.map((sum) => `  - { name: ${quoted(sum.name)}, outputs: [${sum.outputs.join(', ')}] }`),
        ]),
    ...(amplifiers.length === 0
      ? []
      : [
          '',
          '# What feeds which amplifier channel, its rated power into this load: for the gains.',
          'amplifiers:',
          ...amplifiers.map(
            (one) =>
              `  - { name: ${quoted(one.name)}, outputs: [${one.outputs.join(', ')}], rated_w: ${one.ratedW}, load_ohm: ${one.loadOhm} }`,
          ),
        ]),
  ]
  return `${lines.join('\n')}\n`
}

const field = (name: string, value: string | number | null, indent = ''): string[] =>
  value === null ? [] : [`${indent}${name}: ${typeof value === 'number' ? value : quoted(value)}`]

function outputLines(output: JobFileOutput): string[] {
  const { number, label, left, right, lowHz, highHz, shape, levelVrms, toleranceDb, polarity } = output
  const band = [
    ...(lowHz === null ? [] : [`low_hz: ${lowHz}`]),
    ...(highHz === null ? [] : [`high_hz: ${highHz}`]),
    ...(shape === 'butterworth' ? [] : [`shape: ${shape}`]),
  ]
  return [
    `  - number: ${number}`,
    `    label: ${quoted(label)}`,
    `    left: ${left}`,
    `    right: ${right}`,
    ...(lowHz === null && highHz === null ? [] : [`    band: { ${band.join(', ')} }`]),
    `    level_vrms: ${levelVrms}`,
    ...(toleranceDb === null ? [] : [`    tolerance_db: ${toleranceDb}`]),
    ...(polarity === 1 ? [] : ['    polarity: inverted']),
    ...(output.fader === 'none' ? [] : [`    fader: ${output.fader}`]),
    ...(output.delayS === 0 ? [] : [`    delay_ms: ${Number((1000 * output.delayS).toFixed(4))}`]),
    ...(output.pair === null ? [] : [`    pair: ${quoted(output.pair)}`]),
    ...(output.note === null ? [] : [`    # ${output.note}`]),
  ]
}

/** What a job may hold. */
const TOLERANCE_DB_MAX = 12
/** Delays below this are the reading's, not the vehicle's. */
const DELAY_S_MIN = 0.02e-3

/** The outputs of a map as a job has them. The two of a pair get one band: what both have to carry. */
export const outputsOfMap = (map: PlatformMap): JobFileOutput[] =>
  map.outputs.map((output) => {
    const spec = specOfMap(output)
    const partner = map.outputs.find((other) => other !== output && other.pair !== null && other.pair === output.pair)
    const { lowHz, highHz, shape } = bandWith(output, partner ?? output)
    return {
      number: output.number,
      label: output.label,
      left: rounded(output.left, 3),
      right: rounded(output.right, 3),
      lowHz,
      highHz,
      shape,
      levelVrms: rounded(spec.levelVrms, 4),
      toleranceDb: rounded(Math.min(TOLERANCE_DB_MAX, output.levelDbv.tolerance), 2),
      polarity: spec.polarity,
      fader: output.fader,
      delayS: spec.delayS < DELAY_S_MIN ? 0 : spec.delayS,
      pair: output.pair,
      note: output.polarity === null ? 'CHANGE: its polarity could not be told when the map was learned' : null,
    }
  })

function bandWith(a: MapOutput, b: MapOutput): Pick<JobFileOutput, 'lowHz' | 'highHz' | 'shape'> {
  const both = (x: MapOutput['low'], y: MapOutput['low']): number | null =>
    x && y ? rounded(Math.sqrt(x.value * y.value), 4) : x && rounded(x.value, 4)
  return { lowHz: both(a.low, b.low), highHz: both(a.high, b.high), shape: a.number < b.number ? a.shape : b.shape }
}
