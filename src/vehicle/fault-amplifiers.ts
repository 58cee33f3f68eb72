/** What is wrong with an amplifier channel, in the faults file: by the name that the job gives it. */
import { z } from 'zod'
import { numberField, textField } from '../document/fields.js'
import type { Job } from '../job/job.js'
import { StopError } from '../units/stop.js'

const Amplifier = z.strictObject({
  gain_error_db: numberField(-40, 40)
    .default(0)
    .describe('By how much its gain ends up higher than where a person means to set it (dB)'),
  clips_at_w: numberField(0.01, 20_000).optional().describe('Power into its load at which it clips (W)'),
  dead: z.boolean().default(false).describe('Nothing comes out of it'),
})

export const amplifiersFaultField = z
  .record(textField(40), Amplifier)
  .default({})
  .describe("Amplifier channels, as name: what is wrong. Names are the job's")

export interface AmplifierFault {
  readonly gainErrorDb: number
  readonly clipsAtW: number | null
  readonly isDead: boolean
}

export const amplifierFaultsOf = (file: z.infer<typeof amplifiersFaultField>): ReadonlyMap<string, AmplifierFault> =>
  new Map(
    Object.entries(file).map(([name, { gain_error_db, clips_at_w, dead }]) => [
      name,
      { gainErrorDb: gain_error_db, clipsAtW: clips_at_w ?? null, isDead: dead },
    ]),
  )

/** @throws StopError when a fault names a channel that the job does not have */
export function checkAmplifierFaults(faults: ReadonlyMap<string, AmplifierFault>, job: Job, where: string): void {
  const known = job.amplifiers.map(({ name }) => name)
  const stray = [...faults.keys()].find((name) => !known.includes(name))
  if (stray === undefined) return
  throw new StopError(
    `the job has no amplifier channel "${stray}"`,
    `${where}, amplifiers`,
    known.length > 0 ? `Name one of its channels: ${known.join(', ')}.` : 'Add amplifiers to the job, or leave it out.',
  )
}
