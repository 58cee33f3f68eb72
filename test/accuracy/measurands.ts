/**
 * Every measurand of the campaign: how its trials come out of a take, over what range it was drawn, and which tests hold it
 * against something outside.
 */

import type { Measurand } from './measurand.js'

export type { Measurand } from './measurand.js'

import { equaliserMeasurands } from './measurands-equaliser.js'
import { levelMeasurands } from './measurands-level.js'
import { noiseMeasurands } from './measurands-noise.js'
import { nonlinearMeasurands } from './measurands-nonlinear.js'
import { timeMeasurands } from './measurands-time.js'

export const MEASURANDS: readonly Measurand[] = [
  ...levelMeasurands,
  ...timeMeasurands,
  ...nonlinearMeasurands,
  ...noiseMeasurands,
  ...equaliserMeasurands,
]
