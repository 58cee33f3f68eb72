/** Names of the stages of a job, as a heading has them. */
import type { StageName } from '../job/job.js'

export const STAGE_WORDS: Readonly<Record<StageName, string>> = {
  pins: 'Harness pins',
  outputs: 'Outputs',
  flat: 'Flat signal',
  gains: 'Gains',
  chimes: 'Chimes and warnings',
  engine: 'Engine running',
  standby: 'Standby current',
}
