/**
 * The job file as a schema: what a person may write, with a description of each field for editors.
 *
 * Names are the file's, in snake case; `parse.ts` renames them once. Checks between fields are made here too, because
 * here they know where they stand in the file.
 */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'
import { checkChimes, chimesField } from './chimes.js'
import { cornersOf } from './crossover.js'
import { EngineFields } from './engine.js'
import { checkFlat, Flat } from './flat.js'
import { Amplifiers, checkGains, Gains } from './gains.js'
import { SOURCES, STAGES } from './job.js'
import { pinsField } from './pins.js'
import { LimitsFields } from './schema-limits.js'
import { checkSums, checkTakes, Sum, takeField } from './schema-takes.js'
import { standbyField } from './standby.js'
import { VIN_LENGTH, vinShapeProblem } from './vin.js'
import { VOLUME_MAX } from './volume.js'

export const OUTPUT_COUNT_MAX = 32

const vinField = z
  .string()
  .trim()
  .toUpperCase()
  .superRefine((vin, context) => {
    const problem = vinShapeProblem(vin)
    if (problem === null) return
    complain(
      context,
      [],
      `VIN "${vin.slice(0, 30)}": ${problem}`,
      `Allowed: ${VIN_LENGTH} capital letters and digits without I, O and Q, as on the vehicle's plate.`,
    )
  })

const Vehicle = z.strictObject({
  maker: textField().optional().describe('Maker of the vehicle'),
  model: textField().describe('Model of the vehicle, with trim where it matters'),
  year: countField(1950, 2100).optional().describe('Model year'),
  vin: vinField.optional().describe('Vehicle identification number, 17 characters; may be left out'),
  plate: textField(20).optional().describe('Licence plate'),
})

const Track = z.strictObject({
  sample_rate_hz: z.literal([44100, 48000]).default(48000).describe('Sample rate of the test track (Hz)'),
  bits: z.literal([16, 24]).default(24).describe('Bits of each sample of the test track'),
})

const Band = z
  .strictObject({
    low_hz: numberField(10, 15_000).optional().describe('Lower corner frequency (Hz); leave out for none'),
    high_hz: numberField(30, 22_000).optional().describe('Upper corner frequency (Hz); leave out for none'),
    shape: z
      .enum(['butterworth', 'linkwitz_riley'])
      .default('butterworth')
      .describe('Shape of the slopes: corners are at -3 dB for butterworth, at -6 dB for linkwitz_riley'),
  })
  .superRefine(({ low_hz, high_hz, shape }, context) => {
    if (low_hz === undefined || high_hz === undefined) return
    if (low_hz >= high_hz) {
      complain(
        context,
        ['low_hz'],
        `low_hz is ${low_hz}, not below high_hz ${high_hz}`,
        `Allowed: low_hz below high_hz; leave the one out that limits nothing.`,
      )
      return
    }
    const corners = cornersOf({ shape, lowHz: low_hz, highHz: high_hz })
    if (corners.lowHz! < corners.highHz!) return
    complain(
      context,
      ['low_hz'],
      `low_hz is ${low_hz}, too near to high_hz ${high_hz} for linkwitz_riley slopes`,
      'Allowed: an octave between them; or shape: butterworth.',
    )
  })

const gainField = numberField(-2, 2)

const Output = z
  .strictObject({
    number: countField(1, 99).describe("Number of the output as printed on the interface or in its harness's sheet"),
    label: textField(40).describe('What the output feeds: front left high, subwoofer'),
    left: gainField.describe('Share of the left source side that it hears: 1 for a left output, 0.5 for a mono one'),
    right: gainField.describe('Share of the right source side that it hears: 1 for a right output, 0.5 for a mono one'),
    band: Band.prefault({}).describe('Band that it carries; leave out for full range'),
    level_vrms: numberField(0.001, 20).describe(
      'Level at reference_hz for a full-scale (0 dBFS) sine on a side that it hears with gain 1 (V rms)',
    ),
    tolerance_db: numberField(0.05, 12)
      .optional()
      .describe('Allowed difference from level_vrms, either way (dB); as in limits if left out'),
    polarity: z.enum(['normal', 'inverted']).default('normal').describe('Polarity against the source'),
    fader: z.enum(['front', 'rear', 'none']).default('none').describe("Which end of the head unit's fader moves it"),
    delay_ms: numberField(0, 500).default(0).describe('Delay against the earliest output (ms)'),
    pair: textField(40).optional().describe('Name shared by two outputs whose levels are held against each other'),
    reference_hz: numberField(10, 22_000)
      .optional()
      .describe('Where level is read (Hz); a frequency well inside the band if left out'),
  })
  .superRefine(({ left, right, band, reference_hz }, context) => {
    if (left === 0 && right === 0) {
      complain(context, ['left'], 'left and right are both 0', 'Give the share of at least one side: 1, 0.5, -1.')
    }
    const { low_hz = 0, high_hz = Number.POSITIVE_INFINITY } = band
    if (reference_hz !== undefined && low_hz < high_hz && (reference_hz < low_hz || reference_hz > high_hz)) {
      const allowed = [low_hz > 0 ? `${low_hz} Hz or more` : '', high_hz < 1e9 ? `${high_hz} Hz or less` : '']
      complain(
        context,
        ['reference_hz'],
        `reference_hz is ${reference_hz}, outside the output's band`,
        `Allowed: ${allowed.filter(Boolean).join(' and ')}; or leave it out.`,
      )
    }
  })

type OutputFields = z.infer<typeof Output>

const Outputs = z
  .array(Output)
  .min(1)
  .max(OUTPUT_COUNT_MAX)
  .superRefine((outputs, context) => {
    outputs.forEach((output, index) => {
      const sameNumber = outputs.findIndex((other) => other.number === output.number)
      if (sameNumber < index) {
        complain(
          context,
          [index, 'number'],
          `number ${output.number} is given twice, also to "${outputs[sameNumber].label}"`,
          'Give each output a number of its own.',
        )
      }
      const sameLabel = outputs.findIndex((other) => other.label.toLowerCase() === output.label.toLowerCase())
      if (sameLabel < index) {
        complain(
          context,
          [index, 'label'],
          `label "${output.label}" is given twice, also to output ${outputs[sameLabel].number}`,
          'Give each output a label of its own.',
        )
      }
      const problem = pairProblem(output, outputs)
      if (problem !== null) complain(context, [index, 'pair'], problem.what, problem.remedy)
    })
  })

/** Said once for each pair: at its first output, or at the one that is too many. */
function pairProblem(output: OutputFields, outputs: readonly OutputFields[]): { what: string; remedy: string } | null {
  if (output.pair === undefined) return null
  const members = outputs.filter((other) => other.pair === output.pair)
  const place = members.indexOf(output)
  if (members.length === 1) {
    return {
      what: `pair "${output.pair}" has only one output, "${output.label}"`,
      remedy: 'Give its partner the same pair name, or leave pair out.',
    }
  }
  if (place === 2) {
    return {
      what: `pair "${output.pair}" has ${members.length} outputs`,
      remedy: 'Give one name to two outputs only.',
    }
  }
  const [a, b] = members
  const isOf = ({ band }: OutputFields): string => `${band.low_hz} ${band.high_hz} ${band.shape}`
  if (place === 1 && isOf(a) !== isOf(b)) {
    return {
      what: `the outputs of pair "${output.pair}" have different bands (outputs ${a.number} and ${b.number})`,
      remedy: 'Give both the same band, or leave pair out.',
    }
  }
  return null
}

export const JobFile = z
  .strictObject({
    name: textField(120).describe('Name of the job, for the report'),
    vehicle: Vehicle.describe('The vehicle'),
    platform: textField(80)
      .optional()
      .describe('Name shared by all vehicles that have this channel map: Brackwater EV 2024, eight speakers'),
    job_number: textField(40).optional().describe("The shop's number of this job"),
    technician: textField().optional().describe('Who does the work'),
    customer: textField().optional().describe('For whom'),
    rig: textField(400)
      .optional()
      .describe('Rig file to use when the command names none, relative to this file: ../../rigs/simulated.yaml'),
    source: z.enum(SOURCES).optional().describe('Where the test track comes from: the path into the head unit'),
    track: Track.prefault({}).describe('Format of the test track'),
    volume_step: countField(0, VOLUME_MAX)
      .optional()
      .describe("What the head unit's volume reads at the reference take; the level of the map holds there"),
    extra_takes: z
      .array(takeField)
      .max(16)
      .default([])
      .describe(
        'Takes of each patch beyond the reference: fader_front, engine_running, volume_20 for volume 20 (0 to 100)',
      ),
    stages: z
      .array(z.enum(STAGES))
      .min(1)
      .default(['outputs'])
      .describe('What the job consists of; whatever the order here, it is done in the order pins, outputs … standby'),
    limits: LimitsFields.prefault({}).describe('What counts as good'),
    pins: pinsField,
    standby: standbyField,
    chimes: chimesField,
    engine: EngineFields.prefault({}).describe('The stage with the engine running'),
    outputs: Outputs.describe('The channel map: one entry for each output of the interface'),
    sums: z
      .array(Sum)
      .max(OUTPUT_COUNT_MAX / 2)
      .default([])
      .describe('Outputs that are one speaker line together, as band-split fronts are; their sum is held for flatness'),
    flat: Flat.prefault({}).describe('What the stage flat looks at; all outputs and sums if left out'),
    amplifiers: Amplifiers.default([]).describe('Amplifier channels whose gains the stage gains sets'),
    gains: Gains.prefault({}).describe('How the stage gains goes about it'),
  })
  .superRefine((file, context) => {
    checkTakes(file, context)
    checkSums(file, context)
    checkFlat(file, context)
    checkGains(file, context)
    checkChimes(file, context)
  })
export type JobFile = z.infer<typeof JobFile>
