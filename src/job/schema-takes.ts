/** Extra takes and sums of the job file as a schema, with the checks that need the rest of the file. */
import { z } from 'zod'
import { complain, countField, textField } from '../document/fields.js'
import { printable } from '../document/tree.js'
import { type ExtraTake, volumeOf } from './job.js'
import { VOLUME_MAX } from './volume.js'

type Checking = Parameters<typeof complain>[0]

/** What the checks need to know of an output. */
interface OutputFields {
  readonly number: number
  readonly left: number
  readonly right: number
}

const TAKE_PATTERN = /^(fader_front|engine_running|volume_(0|[1-9][0-9]?|100))$/

export const takeField = z
  .string()
  .superRefine((take, context) => {
    if (TAKE_PATTERN.test(take)) return
    complain(
      context,
      [],
      `there is no take ${printable(take)}`,
      `Allowed: fader_front, engine_running, or volume_ with a whole number from 0 to ${VOLUME_MAX}: volume_20.`,
    )
  })
  .meta({ pattern: TAKE_PATTERN.source })
  .transform((take) => take as ExtraTake)

export const Sum = z.strictObject({
  name: textField(40).describe('What the outputs feed together: front left'),
  outputs: z.array(countField(1, 99)).min(2).max(8).describe('Numbers of the outputs whose voltages are added'),
})

interface TakeFields {
  readonly volume_step?: number | undefined
  readonly extra_takes: readonly ExtraTake[]
}

export function checkTakes({ volume_step, extra_takes }: TakeFields, context: Checking): void {
  extra_takes.forEach((take, index) => {
    // What is no take at all has been said.
    if (!TAKE_PATTERN.test(take)) return
    const path = ['extra_takes', index]
    const volume = volumeOf(take)
    if (extra_takes.indexOf(take) < index) {
      complain(context, path, `${take} is given twice`, 'Name each take once.')
    } else if (volume !== null && volume_step === undefined) {
      const remedy = "Add it: what the head unit's volume reads at the reference take."
      complain(context, path, `${take} is asked for, and volume_step is missing`, remedy)
    } else if (volume !== null && volume === volume_step) {
      complain(context, path, `${take} is the volume of the reference take`, 'Name another volume, or leave it out.')
    }
  })
}

interface SumFields {
  readonly outputs: readonly OutputFields[]
  readonly sums: readonly { readonly name: string; readonly outputs: readonly number[] }[]
}

/** Each output once, in one sum; and one source side that all of a sum hear, or there is nothing to be flat. */
export function checkSums({ outputs, sums }: SumFields, context: Checking): void {
  const sumOf = new Map<number, string>()
  sums.forEach(({ name, outputs: numbers }, index) => {
    const sameName = sums.findIndex((other) => other.name.toLowerCase() === name.toLowerCase())
    if (sameName < index) {
      complain(context, ['sums', index, 'name'], `name "${name}" is given twice`, 'Give each sum a name of its own.')
    }
    numbers.forEach((number, place) => {
      const path = ['sums', index, 'outputs', place]
      const taken = sumOf.get(number)
      if (!outputs.some((output) => output.number === number)) {
        const known = outputs.map((output) => output.number).join(', ')
        complain(context, path, `the map has no output ${number}`, `Name outputs of the map: ${known}.`)
      } else if (taken !== undefined) {
        complain(context, path, `output ${number} is in sum "${taken}" already`, 'Name each output once, in one sum.')
      }
      sumOf.set(number, name)
    })
    const members = outputs.filter((output) => numbers.includes(output.number))
    const hasSide = (['left', 'right'] as const).some((side) => members.every((output) => output[side] !== 0))
    if (members.length > 1 && !hasSide) {
      const remedy = 'Add outputs that hear the same side: left, right or both.'
      complain(context, ['sums', index, 'outputs'], `the outputs of sum "${name}" hear no common side`, remedy)
    }
  })
}
