/** The limits of the job file as a schema; each field changes one limit of the profile. */
import { z } from 'zod'
import { countField, numberField } from '../document/fields.js'
import { PROFILE_NAMES } from './limits.js'

export const LimitsFields = z.strictObject({
  profile: z.enum(PROFILE_NAMES).default('standard').describe('Set of limits that the fields below change'),
  level_tolerance_db: numberField(0.05, 12)
    .optional()
    .describe('Allowed difference from the expected level, either way (dB)'),
  pair_balance_db_max: numberField(0.05, 12)
    .optional()
    .describe('Largest level difference between the two outputs of a pair (dB)'),
  flatness_db_max: numberField(0.05, 24)
    .optional()
    .describe('Largest deviation of the response inside the band, either way (dB)'),
  delay_tolerance_ms: numberField(0.005, 100)
    .optional()
    .describe('Allowed difference from the expected delay, either way (ms)'),
  thd_pct_max: numberField(0.0001, 100).optional().describe('Largest total harmonic distortion (%)'),
  thd_n_pct_max: numberField(0.0001, 100).optional().describe('Largest total harmonic distortion plus noise (%)'),
  noise_dbv_max: numberField(-160, 20).optional().describe('Highest idle noise, unweighted, 20 Hz to 20 kHz (dBV)'),
  noise_dbv_a_max: numberField(-160, 20).optional().describe('Highest idle noise, A-weighted (dBV)'),
  hum_dbv_max: numberField(-160, 20).optional().describe('Highest sum of the mains hum series (dBV)'),
  crosstalk_db_max: numberField(-160, 0)
    .optional()
    .describe('Highest leakage from a side that the output does not hear, against its level (dB)'),
  dead_db_below: numberField(6, 120)
    .optional()
    .describe('An output this far below its expected level counts as dead (dB)'),
  meter_agreement_db_max: numberField(0.01, 6)
    .optional()
    .describe('Largest difference between meter and capture on the same lead (dB)'),
  imd_pct_max: numberField(0.0001, 100).optional().describe('Largest intermodulation (%)'),
  clean_level_dbfs_min: numberField(-40, 0)
    .optional()
    .describe('Source level up to which an output has to be clean at least (dBFS)'),
  noise_468_dbv_max: numberField(-160, 20)
    .optional()
    .describe('Highest idle noise, ITU-R 468-weighted with 0 dB at 1 kHz, rms (dBV)'),
  dynamic_range_db_min: numberField(20, 160)
    .optional()
    .describe('Smallest distance from full-scale level to the noise under a -60 dBFS tone (dB)'),
  delay_spread_ms_max: numberField(0.005, 100)
    .optional()
    .describe("Largest spread of all outputs' delays after the map's own (ms)"),
  gain_change_db_max: numberField(0.02, 24)
    .optional()
    .describe(
      'Largest difference of gain between signals of one level, or of low levels, that last differently long (dB)',
    ),
  loudness_db_max: numberField(0.05, 24)
    .optional()
    .describe("Largest change of the response's shape from one volume to another (dB)"),
  whine_dbv_max: numberField(-160, 20)
    .optional()
    .describe('Highest sum of the series that moves with the engine (dBV)'),
  engine_rise_db_max: numberField(0.1, 60).optional().describe('Largest rise of the noise when the engine runs (dB)'),
  sum_flatness_db_max: numberField(0.05, 24)
    .optional()
    .describe('Largest deviation of an electrical sum from flat, either way (dB)'),
  calibration_age_days_max: countField(1, 3650)
    .optional()
    .describe('Greatest age of the calibration of the inputs (days)'),
})
