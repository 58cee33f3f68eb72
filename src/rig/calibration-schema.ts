/**
 * The calibration file as a schema. linetrue writes it, but a person may read and move it; so it is checked like any other.
 */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'
import { UTC_TIME } from './dates.js'
import { INPUT_COUNT_MAX, SAMPLE_RATES_HZ } from './schema.js'

const db = (says: string) => numberField(-400, 400).describe(says)
const uDb = (says: string) => numberField(0, 400).describe(says)
const freqField = numberField(1, 100_000).describe('Frequency (Hz)')
const voltsField = (says: string) => numberField(1e-6, 1e4).describe(says)
const dofField = numberField(0.5, 1e12)
  .optional()
  .describe('Degrees of freedom; left out where there are as many as one likes')

const made = {
  made_at: z.string().regex(UTC_TIME, 'date and time in UTC, as 2026-04-01T14:30:00Z').describe('When it was measured'),
  program: textField().describe('Program and version that measured it'),
  capture: z
    .strictObject({
      driver: textField(40).describe('Capture driver of the rig file'),
      device: textField(200).optional().describe('Device of the rig file, if it named one'),
      says: textField(400).describe('How the device calls itself'),
      sample_rate_hz: z.literal(SAMPLE_RATES_HZ).describe('Sample rate (Hz)'),
      bits: z.literal([16, 24, 32]).describe('Bits of each sample'),
    })
    .describe('The card'),
}
const ofInput = {
  input: countField(1, INPUT_COUNT_MAX).describe('Number of the input'),
  pad_db: numberField(0, 80).describe('Pad in front of it, by the rig file of that day (dB)'),
}
const feedField = z
  .enum(['all', 'each', 'both'])
  .describe('Inputs fed in parallel, one after the other, or first in parallel and then one after the other')

const Volts = z.strictObject({
  ...made,
  meter: z
    .strictObject({
      says: textField(200).describe('Maker, model, serial number, firmware, as the meter says them'),
      accuracy_pct: numberField(0, 20).describe('Accuracy by the rig file: part of the reading (%)'),
      accuracy_vrms: numberField(0, 1).describe('Accuracy by the rig file: fixed part (V rms)'),
    })
    .describe('The meter'),
  feed: feedField,
  loading: textField(400).describe('What the loading of the source means for these values'),
  inputs: inputList(
    z.strictObject({
      ...ofInput,
      full_scale_vrms: voltsField('Sine at the lead, in front of the pad, that just reaches full scale (V rms)'),
      expanded_db: uDb('Expanded uncertainty of it (dB, k times the standard uncertainty)'),
      k: numberField(1, 1000).describe('Coverage factor for 95.45 % of all cases'),
      dof: dofField,
      rig_file_vrms: voltsField('What the rig file says of it (V rms)'),
      rig_file_u_db: uDb('How far off the rig file says that may be (dB, k = 2)'),
      difference_db: db('How much more was found than the rig file says (dB)'),
      budget: z
        .array(
          z.strictObject({
            source: textField().describe('What the contribution comes from'),
            u_db: uDb('Standard uncertainty (dB, k = 1)'),
            dof: dofField,
          }),
        )
        .max(40)
        .describe('What the uncertainty is made of'),
      points: z
        .array(
          z.strictObject({
            freq_hz: freqField,
            meter_vrms: voltsField('Mean of the readings (V rms)'),
            level_dbfs: db('Level of the capture (dBFS)'),
            full_scale_vrms: voltsField('Full scale at the lead from these readings (V rms)'),
            reading_count: countField(1, 1000).describe('How many readings'),
            spread_db: uDb('Standard deviation of one reading (dB)'),
          }),
        )
        .max(100)
        .describe('What each frequency and level gave'),
    }),
  ),
})

const Shorted = z.strictObject({
  ...made,
  inputs: inputList(
    z.strictObject({
      ...ofInput,
      noise_dbfs: db('Noise, 20 Hz to 20 kHz (dBFS)'),
      noise_a_dbfs: db('Noise, A-weighted (dBFS)'),
      noise_u_db: uDb('Expanded uncertainty of both (dB)'),
      hum_dbfs: db('Mains series, or what it is at most (dBFS)'),
      hum_is_at_most: z.boolean().describe('No mains series stands out'),
      third_octaves: z
        .array(z.strictObject({ freq_hz: freqField, level_dbfs: db('Level in the band (dBFS)') }))
        .max(60)
        .describe('Spectrum of the noise, by the exact centres of the bands'),
    }),
  ),
})

const ratioFields = {
  freq_hz: freqField,
  ratio_pct: numberField(0, 1000).describe('Products over what was played (%)'),
  u_pct: numberField(0, 1000).describe('Expanded uncertainty (%)'),
  is_at_most: z.boolean().describe('As much may be noise'),
}

const Looped = z.strictObject({
  ...made,
  feed: feedField,
  inputs: inputList(
    z.strictObject({
      ...ofInput,
      level_dbfs: db('Level of the steady tones at the input (dBFS)'),
      thd: z
        .array(z.strictObject(ratioFields))
        .max(20)
        .describe('Harmonics over the fundamental, for each steady tone'),
      intermodulation: z
        .array(
          z.strictObject({ kind: z.enum(['smpte', 'difference']).describe('Which pair of tones'), ...ratioFields }),
        )
        .max(4)
        .describe('Intermodulation of two tones'),
      response: z
        .array(z.strictObject({ freq_hz: freqField, deviation_db: db('Against 1 kHz (dB)') }))
        .max(200)
        .describe('Response'),
      response_u_db: uDb('Expanded uncertainty of the response (dB)'),
      match_db: db('Level against the middle one of all inputs, by the volts of the rig file (dB)'),
      match_u_db: uDb('Expanded uncertainty of it (dB)'),
      polarity: z.literal([1, -1]).optional().describe('-1: the input turns the signal over; left out where not sure'),
      delay_us: db('Later than the middle one of all inputs (µs)').optional(),
      delay_u_us: uDb('Expanded uncertainty of it (µs)').optional(),
      crosstalk: z
        .strictObject({
          from_input: countField(1, INPUT_COUNT_MAX).describe('Input whose signal gets in'),
          freq_hz: freqField,
          level_db: db('What gets in, against what that input gets (dB)'),
          u_db: uDb('Expanded uncertainty (dB)'),
          is_at_most: z.boolean().describe('As much may be noise'),
        })
        .optional()
        .describe('The most that gets in from another input'),
    }),
  ),
})

export const CalibrationFile = z.strictObject({
  rig: textField().describe('Name of the rig, as in its file'),
  volts: Volts.optional().describe('Volts of the inputs, by the meter: linetrue rig calibrate'),
  shorted: Shorted.optional().describe('What the inputs read when they are shorted: linetrue rig limits'),
  looped: Looped.optional().describe("What the player's own output gives on the inputs: linetrue rig limits"),
})
export type CalibrationFile = z.infer<typeof CalibrationFile>

/** A list with one entry for an input at most. */
function inputList<Shape extends { input: z.ZodNumber }>(entry: z.ZodObject<Shape, z.core.$strict>) {
  return z
    .array(entry)
    .min(1)
    .max(INPUT_COUNT_MAX)
    .superRefine((entries, context) => {
      const numbers = (entries as readonly { readonly input: number }[]).map(({ input }) => input)
      numbers.forEach((number, index) => {
        if (numbers.indexOf(number) === index) return
        complain(context, [index, 'input'], `input ${number} is given twice`, 'Calibrate the rig again.')
      })
    })
    .describe('The inputs')
}
