/** Faults of the harness's pins and of the interface's supply, in the faults file. */
import { z } from 'zod'
import { complain, countField, numberField } from '../document/fields.js'
import type { Job } from '../job/job.js'
import { pinId } from '../job/pins.js'
import { StopError } from '../units/stop.js'

const Pin = z.strictObject({
  open: z.boolean().default(false).describe('The wire is broken, or the terminal is pushed back'),
  volts: numberField(-50, 50)
    .optional()
    .describe('Volts where a healthy one has some; of a ground its drop under load (V)'),
  ohms: numberField(0, 1e7).optional().describe('Ohms to battery minus; of data_high across its bus (Ω)'),
  swapped_with: z.string().optional().describe('Pin whose wire sits here and the other way round, as CONNECTOR-PIN'),
  short_to: z.enum(['ground', 'supply']).optional().describe('What the wire touches'),
  terminators: countField(0, 6).optional().describe('At a data_high pin: how many terminators of 120 Ω its bus has'),
})

export const pinFaultsField = z
  .record(z.string(), Pin)
  .superRefine((pins, context) => {
    const partnerOf = new Map<string, string>()
    for (const [id, { swapped_with: other }] of Object.entries(pins)) {
      if (other === undefined || partnerOf.get(id) === other) continue
      const taken = [id, other].find((one) => partnerOf.has(one))
      if (id === other) {
        complain(context, [id, 'swapped_with'], `pin ${id} is swapped with itself`, 'Name another pin.')
      } else if (taken !== undefined) {
        const what = `pin ${taken} is swapped with ${partnerOf.get(taken)} already`
        complain(context, [id, 'swapped_with'], what, 'Exchange each pin with one other.')
      } else partnerOf.set(id, other).set(other, id)
    }
  })
  .default({})
  .describe("Faults of the harness's pins, as CONNECTOR-PIN of the job's table: what is wrong")

export interface PinFault {
  readonly isOpen: boolean
  readonly volts: number | null
  readonly ohms: number | null
  readonly shortTo: 'ground' | 'supply' | null
  readonly terminatorCount: number | null
}

export interface PinFaults {
  /** By CONNECTOR-PIN. */
  readonly byPin: ReadonlyMap<string, PinFault>
  /** Whose wire sits at a pin, both ways; pins in their own place are not in it. */
  readonly wireAt: ReadonlyMap<string, string>
}

export function pinFaultsOf(file: z.infer<typeof pinFaultsField>): PinFaults {
  const entries = Object.entries(file)
  return {
    byPin: new Map(
      entries.map(([id, pin]) => [
        id,
        {
          isOpen: pin.open,
          volts: pin.volts ?? null,
          ohms: pin.ohms ?? null,
          shortTo: pin.short_to ?? null,
          terminatorCount: pin.terminators ?? null,
        },
      ]),
    ),
    wireAt: new Map(
      entries.flatMap(([id, { swapped_with: other }]): [string, string][] =>
        other === undefined
          ? []
          : [
              [id, other],
              [other, id],
            ],
      ),
    ),
  }
}

/** @throws StopError when the faults name a pin that the job does not have */
export function checkPinFaults(faults: PinFaults, job: Job, where: string): void {
  const known = job.pins.map(pinId)
  const unknown = [...faults.byPin.keys(), ...faults.wireAt.keys()].find((id) => !known.includes(id))
  if (unknown === undefined) return
  const remedy = known.length === 0 ? 'Add pins to the job.' : `Name one of its pins: ${known.join(', ')}.`
  throw new StopError(`the job has no pin ${unknown}`, `${where}, pins`, remedy)
}
