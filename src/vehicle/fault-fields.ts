/** Fields that several parts of the faults file share, and what becomes of them. */
import { z } from 'zod'
import { countField, numberField } from '../document/fields.js'
import type { Section } from './sections.js'

export const OUTPUT_NUMBER_MAX = 99

export const freqField = numberField(10, 20_000)
export const qField = numberField(0.1, 20).default(Math.SQRT1_2)
export const levelDbvField = numberField(-140, 20)

const EqSection = z.strictObject({
  kind: z.enum(['peaking', 'low_shelf', 'high_shelf']).describe('Shape of the section'),
  freq_hz: freqField.describe('Centre of a peak, middle of the slope of a shelf (Hz)'),
  gain_db: numberField(-24, 24).describe('Gain at the centre, or far out on the shelf (dB)'),
  q: qField.describe('Q of the section, as the Audio EQ Cookbook defines it'),
})

export const eqField = z.array(EqSection).max(16).default([])

export function sectionOf({ kind, freq_hz, gain_db, q }: z.infer<typeof EqSection>): Section {
  return { kind, freqHz: freq_hz, q, gainDb: gain_db }
}

/** Numbers of outputs; left out: all. */
export const outputsField = z.array(countField(1, OUTPUT_NUMBER_MAX)).min(1).max(32).optional()
