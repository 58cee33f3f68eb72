/** Chimes in the faults file: one that stays silent, comes from elsewhere, or has another level. */
import { z } from 'zod'
import { numberField } from '../document/fields.js'
import type { Job } from '../job/job.js'
import { StopError } from '../units/stop.js'
import { outputsField } from './fault-fields.js'

const Chime = z.strictObject({
  silent: z.boolean().default(false).describe('It never sounds'),
  outputs: outputsField.describe('Outputs that it comes from; those of the job if left out'),
  level_db: numberField(-80, 40).default(0).describe('Off from its usual level (dB)'),
})

export const chimesFaultField = z
  .record(z.string(), Chime)
  .default({})
  .describe("Faults of chimes, as name in the job: what is wrong. A chime that isn't named is healthy")

export interface ChimeFault {
  readonly isSilent: boolean
  /** null: those of the job. */
  readonly outputs: readonly number[] | null
  readonly levelDb: number
}

export const chimeFaultsOf = (file: z.infer<typeof chimesFaultField>): ReadonlyMap<string, ChimeFault> =>
  new Map(
    Object.entries(file).map(([name, { silent, outputs, level_db }]) => [
      name,
      { isSilent: silent, outputs: outputs ?? null, levelDb: level_db },
    ]),
  )

/** @throws StopError when the job has no chime of a name, or no output of a number */
export function checkChimeFaults(faults: ReadonlyMap<string, ChimeFault>, job: Job, where: string): void {
  const names = job.chimes.map(({ name }) => name)
  const numbers = job.outputs.map(({ number }) => number)
  for (const [name, { outputs }] of faults) {
    if (!names.includes(name)) {
      const remedy = names.length === 0 ? 'Add it to the job.' : `Name one of its chimes: ${names.join(', ')}.`
      throw new StopError(`the job has no chime "${name}"`, `${where}, chimes`, remedy)
    }
    const stray = outputs?.find((number) => !numbers.includes(number))
    if (stray === undefined) continue
    const remedy = `Name some of its outputs: ${numbers.join(', ')}.`
    throw new StopError(`the job has no output ${stray}`, `${where}, chimes.${name}.outputs`, remedy)
  }
}
