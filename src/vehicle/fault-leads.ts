/** Leads that are put wrong: which output the person at the simulated bench puts a lead on in place of the one asked for. */
import { z } from 'zod'
import { complain, countField } from '../document/fields.js'
import type { Job } from '../job/job.js'
import { StopError } from '../units/stop.js'
import { OUTPUT_NUMBER_MAX } from './fault-fields.js'

export const leadsField = z
  .strictObject({
    put: z
      .record(
        z.string().regex(/^[1-9][0-9]?$/, `the number of an output, 1 to ${OUTPUT_NUMBER_MAX}`),
        countField(0, OUTPUT_NUMBER_MAX),
      )
      .describe('By the output that a lead is asked for: the output that it is put on, 0 for none'),
    times: countField(1, 100)
      .optional()
      .describe('Put right when a patch is asked for once more than so often; left out: never'),
  })
  .superRefine(({ put }, context) => {
    const onto = Object.values(put).filter((number) => number !== 0)
    const twice = onto.find((number, k) => onto.indexOf(number) !== k)
    if (twice !== undefined) {
      complain(context, ['put'], `two leads are put on output ${twice}`, 'Put each lead on another output.')
    }
  })
  .optional()

export interface LeadsFault {
  /** By the output asked for; null: on nothing. */
  readonly put: ReadonlyMap<number, number | null>
  readonly times: number | null
}

export function leadsFaultOf(file: z.infer<typeof leadsField>): LeadsFault | null {
  if (!file) return null
  const put = Object.entries(file.put).map(([asked, number]): [number, number | null] => [
    Number(asked),
    number === 0 ? null : number,
  ])
  return { put: new Map(put), times: file.times ?? null }
}

/** @throws StopError when a lead is asked for or put on an output that the job does not have */
export function checkLeadsFault(leads: LeadsFault | null, job: Job, where: string): void {
  const known = job.outputs.map(({ number }) => number)
  for (const number of [...(leads?.put ?? [])].flat()) {
    if (number === null || known.includes(number)) continue
    const remedy = `Name one of its outputs: ${known.join(', ')}.`
    throw new StopError(`the job has no output ${number}`, `${where}, leads.put`, remedy)
  }
}

/** @param askedCount how often the patch has been asked for, this time included */
export function putOn(leads: LeadsFault | null, outputNumber: number, askedCount: number): number | null {
  if (!leads || (leads.times !== null && askedCount > leads.times)) return outputNumber
  return leads.put.get(outputNumber) === undefined ? outputNumber : leads.put.get(outputNumber)!
}
