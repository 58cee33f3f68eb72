/**
 * The rig file as a schema: what a person may write, with a description of each field for editors.
 *
 * Names are the file's, in snake case; `parse.ts` renames them once. Checks between fields are made here too, because
 * here they know where they stand in the file.
 */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'
import { checkMeter, MeterFields } from './schema-meter.js'
import { CaptureFields, checkSound, PlayerFields } from './schema-sound.js'

export { SAMPLE_RATES_HZ } from './schema-sound.js'

export const INPUT_COUNT_MAX = 32

const inputFields = {
  full_scale_vrms: numberField(0.001, 1000).describe(
    "Sine that just reaches digital full scale at the card's own terminal (V rms), from its data sheet or measured",
  ),
  pad_db: numberField(0, 80).default(0).describe('Attenuation of a pad between lead and card (dB); 0 for none'),
  level_uncertainty_db: numberField(0.001, 6).describe(
    'How far full scale and pad together may be off, either way (dB, k = 2)',
  ),
}

const SameInputs = z.strictObject({
  count: countField(1, INPUT_COUNT_MAX).describe('Number of inputs, all alike'),
  ...inputFields,
})
const EachInput = z.array(z.strictObject(inputFields)).min(1).max(INPUT_COUNT_MAX)

const Patch = z.strictObject({
  name: textField(40).describe('Name of the hook-up, for prompts and file names: front'),
  leads: z
    .record(z.string().regex(/^[1-9][0-9]?$/, `the number of an input, 1 to ${INPUT_COUNT_MAX}`), countField(1, 99))
    .describe('Which output each input gets, as input: output'),
})

const Fields = z.strictObject({
  name: textField().describe('Name of the rig, for the report'),
  capture: CaptureFields.describe('What records the outputs'),
  player: PlayerFields.describe('What plays the track'),
  meter: MeterFields.optional().describe('Voltmeter that checks the level of one input; may be left out'),
  inputs: z
    .union([SameInputs, EachInput])
    .describe('The inputs: count and values if all are alike, or a list with one entry for each'),
  patches: z
    .array(Patch)
    .min(1)
    .max(99)
    .optional()
    .describe(
      'Hook-ups, one for each take; if left out, outputs fill the inputs as often as it takes, sums and pairs together',
    ),
  faults: textField(400).optional().describe('Faults file of the simulated vehicle, relative to this file'),
  calibration: textField(400)
    .optional()
    .describe("Calibration file, relative to this file; if left out, this file's name with .calibration.yaml"),
})
type Fields = z.infer<typeof Fields>
type Context = Parameters<typeof complain>[0]

export const RigFile = Fields.superRefine((rig, context) => {
  checkDrivers(rig, context)
  checkInputs(rig, context)
})
export type RigFile = z.infer<typeof RigFile>

export const inputCountOf = (inputs: Fields['inputs']): number => (Array.isArray(inputs) ? inputs.length : inputs.count)

function checkDrivers({ capture, player, meter, faults }: Fields, context: Context): void {
  const isSimulated = capture.driver === 'simulated'
  checkSound({ capture, player }, context)
  if (meter && capture.driver === 'recording') {
    complain(context, ['meter'], 'a meter does not go with capture driver recording', 'Leave meter out.')
  } else if (meter && isSimulated !== (meter.driver === 'simulated')) {
    complain(
      context,
      ['meter', 'driver'],
      `meter driver ${meter.driver} does not go with capture driver ${capture.driver}`,
      `Allowed with it: ${isSimulated ? 'simulated' : 'scpi, lines or frames'}, or no meter.`,
    )
  }
  if (meter) checkMeter(meter, context)
  if (faults !== undefined && !isSimulated) {
    complain(
      context,
      ['faults'],
      `faults do not go with capture driver ${capture.driver}`,
      'Leave faults out: only the simulated vehicle can be given faults.',
    )
  }
}

function checkInputs({ inputs, meter, patches = [] }: Fields, context: Context): void {
  const count = inputCountOf(inputs)
  const has = `the rig has ${count === 1 ? 'one input' : `inputs 1 to ${count}`}`
  if (meter && meter.across_input > count) {
    complain(
      context,
      ['meter', 'across_input'],
      `meter is across input ${meter.across_input}, which is not there`,
      `Allowed: ${has}.`,
    )
  }
  const takenBy = new Map<number, string>()
  patches.forEach((patch, index) => {
    const at = ['patches', index]
    if (patches.findIndex((other) => other.name.toLowerCase() === patch.name.toLowerCase()) < index) {
      complain(
        context,
        [...at, 'name'],
        `patch name "${patch.name}" is given twice`,
        'Give each patch a name of its own.',
      )
    }
    const leads = Object.entries(patch.leads)
    if (leads.length === 0) {
      complain(context, [...at, 'leads'], `patch "${patch.name}" has no leads`, 'Add input: output, or take it out.')
    }
    for (const [input, output] of leads) {
      if (Number(input) > count) {
        complain(
          context,
          [...at, 'leads', input],
          `patch "${patch.name}" uses input ${input}, which is not there`,
          `Allowed: ${has}.`,
        )
      }
      const other = takenBy.get(output)
      if (other !== undefined) {
        complain(
          context,
          [...at, 'leads', input],
          `output ${output} stands twice in the patches, already in "${other}"`,
          'Give each output one lead.',
        )
      }
      takenBy.set(output, patch.name)
    }
  })
}
