/** Finds and reads the calibration file that belongs to a rig. */
import { basename, dirname, extname, join, resolve } from 'node:path'
import type { Calibration } from '../rig/calibration.js'
import { parseCalibration } from '../rig/calibration-file.js'
import type { Rig } from '../rig/rig.js'
import type { StopError } from '../units/stop.js'
import { type Loaded, readText, shown } from './files.js'

/** Where a rig's calibration lies: the file that the rig names, or the rig's own name with .calibration.yaml. */
export function calibrationPathOf({ path, value }: Loaded<Rig>): string {
  if (value.calibrationPath) return resolve(dirname(path), value.calibrationPath)
  return join(dirname(path), `${basename(path, extname(path))}.calibration.yaml`)
}

/**
 * @returns null where there is none yet; a file that the rig names has to be there unless it is about to be made
 * @throws StopError when it cannot be read, or holds something else
 */
export async function loadCalibration(rig: Loaded<Rig>, isAboutToBeMade = false): Promise<Loaded<Calibration> | null> {
  const path = calibrationPathOf(rig)
  const remedy = `The rig names it: check "calibration" in ${shown(rig.path)}, or make it with linetrue rig calibrate.`
  const text = await readText(path, 'calibration file', remedy).catch((error: StopError) => {
    const isMissing = ((error.cause as NodeJS.ErrnoException | undefined)?.code ?? '') === 'ENOENT'
    if (isMissing && (isAboutToBeMade || !rig.value.calibrationPath)) return null
    throw error
  })
  return text === null ? null : { value: parseCalibration(text, shown(path)), text, path }
}
