/** From a rig file's text to a checked rig: names renamed once, alike inputs written out. */
import { readDocument } from '../document/read.js'
import { checkKind } from '../document/which-file.js'
import { vrms } from '../units/level.js'
import { meterOf } from './parse-meter.js'
import type { Rig } from './rig.js'
import { RigFile } from './schema.js'

/**
 * Reads a rig file.
 *
 * @param fileName as the person named it, for messages
 * @throws StopError naming the line, the field, what was found and what is allowed
 */
export function parseRig(text: string, fileName: string): Rig {
  checkKind(text, 'rig', fileName)
  const { name, capture, player, meter, inputs, patches, faults, calibration } = readDocument(RigFile, text, fileName)
  const eachInput = Array.isArray(inputs) ? inputs : Array.from({ length: inputs.count }, () => inputs)
  return {
    name,
    capture: {
      driver: capture.driver,
      device: capture.device ?? null,
      ...(capture.input_format && { inputFormat: capture.input_format }),
      sampleRateHz: capture.sample_rate_hz,
      bits: capture.bits,
    },
    player: {
      driver: player.driver,
      device: player.device ?? null,
      ...(player.output_format && { outputFormat: player.output_format }),
    },
    meter: meter ? meterOf(meter) : null,
    inputs: eachInput.map((input) => ({
      fullScaleVrms: vrms(input.full_scale_vrms),
      padDb: input.pad_db,
      levelUncertaintyDb: input.level_uncertainty_db,
    })),
    patches:
      patches?.map((patch) => ({
        name: patch.name,
        leads: Object.entries(patch.leads).map(([input, output]) => ({
          inputNumber: Number(input),
          outputNumber: output,
        })),
      })) ?? null,
    faultsPath: faults ?? null,
    calibrationPath: calibration ?? null,
  }
}
