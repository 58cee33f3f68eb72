/** Reads a rig file and opens its bench for a look at the rig itself, without a vehicle and without anything loud. */
import { dirname, resolve } from 'node:path'
import { type Ask, liveBench } from '../instruments/bench.js'
import { parseRig } from '../rig/parse.js'
import type { Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { simulatedCard } from '../vehicle/bench.js'
import { type Faults, NO_FAULTS, parseFaults } from '../vehicle/faults.js'
import { type Loaded, readText, shown } from './files.js'

/** @throws StopError when the file is missing or wrong, or the rig has no card that could be looked at */
export async function loadRigWithCard(path: string): Promise<Loaded<Rig>> {
  const text = await readText(
    path,
    'rig file',
    'Check the path of the rig file; ready ones are in rigs/, linetrue rig new FILE makes one.',
  )
  const value = parseRig(text, shown(path))
  if (value.capture.driver === 'recording') {
    throw new StopError(
      'this rig is for recordings made elsewhere, there is no card to look at',
      shown(path),
      'Name a rig with a card; linetrue rig devices lists what there is.',
    )
  }
  return { value, text, path }
}

/**
 * The live bench, or the simulated card with its faults.
 *
 * @param onNotice told what the person should know at once
 */
export async function openBenchOf(
  rig: Loaded<Rig>,
  ask: Ask,
  onNotice: (says: string) => void,
  signal: AbortSignal,
): Promise<Bench> {
  if (rig.value.capture.driver !== 'simulated') return liveBench(rig.value, [], ask, signal, null, onNotice)
  return simulatedCard(rig.value, faultsOf(rig, await readFaults(rig)))
}

/** Text of the simulated vehicle's faults file; null where the rig is a real one, or names none. */
export async function readFaults({ value, path }: Loaded<Rig>): Promise<string | null> {
  if (value.capture.driver !== 'simulated' || value.faultsPath === null) return null
  const remedy = `The rig names it: check "faults" in ${shown(path)}.`
  return readText(resolve(dirname(path), value.faultsPath), 'faults file', remedy)
}

/** @param text as it was read; null: no faults */
export const faultsOf = ({ value, path }: Loaded<Rig>, text: string | null): Faults =>
  text === null ? NO_FAULTS : parseFaults(text, shown(resolve(dirname(path), value.faultsPath!)))
