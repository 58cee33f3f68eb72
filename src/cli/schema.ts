/** linetrue schema FILE: what a file may hold, for editors that complete and check fields. */
import { jsonSchemaOf } from '../document/json-schema.js'
import { MapFile } from '../job/platform-schema.js'
import { JobFile } from '../job/schema.js'
import { CalibrationFile } from '../rig/calibration-schema.js'
import { RigFile } from '../rig/schema.js'
import { StopError } from '../units/stop.js'
import { FaultsFile } from '../vehicle/faults.js'
import { Result } from '../verdict/result.js'
import { EXIT } from './exit.js'

const SCHEMAS = {
  job: [JobFile, 'Job of linetrue'],
  map: [MapFile, 'Map of a platform of linetrue'],
  rig: [RigFile, 'Rig of linetrue'],
  calibration: [CalibrationFile, 'Calibration of a rig of linetrue'],
  faults: [FaultsFile, 'Faults of the simulated vehicle of linetrue'],
  result: [Result, 'Result of linetrue'],
} as const

export async function schemaCommand(name: string): Promise<number> {
  if (!Object.hasOwn(SCHEMAS, name)) {
    throw new StopError(
      `there is no schema "${name}"`,
      'linetrue schema',
      `Ask for one of ${Object.keys(SCHEMAS).join(', ')}.`,
    )
  }
  const [schema, title] = SCHEMAS[name as keyof typeof SCHEMAS]
  process.stdout.write(`${JSON.stringify(jsonSchemaOf(schema, title), null, 2)}\n`)
  return EXIT.pass
}
