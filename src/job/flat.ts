/** What of a job has to be flat before gains are set: the key `flat` of the job file. */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'

export interface FlatSpec {
  /** Numbers of the map and names of sums, in the job's order. */
  readonly outputs: readonly number[]
  readonly sums: readonly string[]
  /** Either way from the mean level; null: as in limits, with one for outputs and one for sums. */
  readonly toleranceDb: number | null
  readonly fromHz: number
  readonly toHz: number
}

export const Flat = z
  .strictObject({
    outputs: z.array(countField(1, 99)).max(32).optional().describe('Numbers of the outputs to look at'),
    sums: z.array(textField(40)).max(16).optional().describe('Names of the sums to look at'),
    tolerance_db: numberField(0.1, 12)
      .optional()
      .describe(
        'Allowed deviation from the mean level, either way (dB); if left out, flatness_db_max and sum_… of limits',
      ),
    from_hz: numberField(20, 10_000).default(30).describe('Where it begins to be asked for (Hz)'),
    to_hz: numberField(60, 19_000).default(16_000).describe('Up to where it is asked for (Hz)'),
  })
  .superRefine(({ from_hz, to_hz }, context) => {
    if (to_hz >= 2 * from_hz) return
    const what = `from_hz ${from_hz} to to_hz ${to_hz} is less than an octave`
    complain(context, ['from_hz'], what, 'Allowed: to_hz at twice from_hz or more.')
  })

interface FlatFile {
  readonly flat: z.infer<typeof Flat>
  readonly outputs: readonly { readonly number: number }[]
  readonly sums: readonly { readonly name: string }[]
}

export function checkFlat({ flat, outputs, sums }: FlatFile, context: Parameters<typeof complain>[0]): void {
  const numbers = outputs.map(({ number }) => number)
  flat.outputs?.forEach((number, index) => {
    if (numbers.includes(number)) return
    const remedy = `Name outputs of the map: ${numbers.join(', ')}.`
    complain(context, ['flat', 'outputs', index], `the map has no output ${number}`, remedy)
  })
  const names = sums.map(({ name }) => name)
  flat.sums?.forEach((name, index) => {
    if (names.includes(name)) return
    const remedy = names.length > 0 ? `Name sums of the job: ${names.join(', ')}.` : 'Add it to sums, or leave it out.'
    complain(context, ['flat', 'sums', index], `the job has no sum "${name}"`, remedy)
  })
}

/** Whoever names only outputs, or only sums, means only those. */
export function flatOf({ flat, outputs, sums }: FlatFile): FlatSpec {
  const isAll = flat.outputs === undefined && flat.sums === undefined
  return {
    outputs: isAll
      ? outputs.map(({ number }) => number)
      : outputs.map(({ number }) => number).filter((number) => flat.outputs?.includes(number)),
    sums: isAll
      ? sums.map(({ name }) => name)
      : sums.map(({ name }) => name).filter((name) => flat.sums?.includes(name)),
    toleranceDb: flat.tolerance_db ?? null,
    fromHz: flat.from_hz,
    toHz: flat.to_hz,
  }
}
