/** Faults of the card that listens, and of what it is checked with: the player's own output and the meter. */
import { z } from 'zod'
import { numberField } from '../document/fields.js'
import { eqField, sectionOf } from './fault-fields.js'
import type { Section } from './sections.js'

const INPUT_COUNT_MAX = 32

const Input = z.strictObject({
  gain_db: numberField(-80, 40).default(0).describe('How much more this input reads than the others (dB)'),
  inverted: z.boolean().default(false).describe('Turns the signal over'),
  delay_us: numberField(-1000, 1000).default(0).describe('Later than the other inputs (µs); negative for earlier'),
  dead: z.boolean().default(false).describe('No signal comes through, only its own noise'),
})

/** Fields of `capture:` that say what the card does to a signal. */
export const cardFields = {
  distortion: z
    .strictObject({
      second_pct: numberField(0, 20).default(0).describe('Second harmonic at full scale (% of the fundamental)'),
      third_pct: numberField(0, 5).default(0).describe('Third harmonic at full scale (% of the fundamental)'),
    })
    .optional()
    .describe("The card's own distortion, on every input"),
  low_hz: numberField(0.1, 1000).optional().describe('First-order lower corner at -3 dB of every input (Hz)'),
  equaliser: eqField.describe("The card's own response, as equaliser sections on every input"),
  leak_db: numberField(-160, 0).optional().describe('What every input gets in from each of the others (dB)'),
  inputs: z
    .record(z.string().regex(/^[1-9][0-9]?$/, `the number of an input, 1 to ${INPUT_COUNT_MAX}`), Input)
    .default({})
    .describe('Single inputs, as input number: what is different'),
  loop_vrms: numberField(0.001, 100)
    .default(2)
    .describe("Level of the player's own output for a full-scale sine, when it is looped back (V rms)"),
  meter_factor: numberField(1e-6, 1e6)
    .default(1)
    .describe("What the meter's readings are multiplied by: 1000 for one that answers in millivolts"),
}
const CardFields = z.object(cardFields)

export interface CardInputFault {
  readonly gainDb: number
  readonly isInverted: boolean
  readonly delayS: number
  readonly isDead: boolean
}

export interface CardFault {
  readonly distortion: { readonly secondPct: number; readonly thirdPct: number } | null
  readonly lowHz: number | null
  readonly eq: readonly Section[]
  readonly leakDb: number | null
  /** By input number. */
  readonly inputs: ReadonlyMap<number, CardInputFault>
  readonly loopVrms: number
  readonly meterFactor: number
}

export function cardFaultOf(file: z.infer<typeof CardFields>): CardFault {
  return {
    distortion: file.distortion ? { secondPct: file.distortion.second_pct, thirdPct: file.distortion.third_pct } : null,
    lowHz: file.low_hz ?? null,
    eq: file.equaliser.map(sectionOf),
    leakDb: file.leak_db ?? null,
    inputs: new Map(
      Object.entries(file.inputs).map(([number, input]) => [
        Number(number),
        {
          gainDb: input.gain_db,
          isInverted: input.inverted,
          delayS: input.delay_us / 1e6,
          isDead: input.dead,
        },
      ]),
    ),
    loopVrms: file.loop_vrms,
    meterFactor: file.meter_factor,
  }
}
