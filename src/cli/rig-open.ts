/** Reads a rig file and opens its bench for a look at the rig itself, without a vehicle and without anything loud. */
import { dirname, resolve } from 'node:path'
import { type Ask, liveBench } from '../instruments/bench.js'
import { parseRig } from '../rig/parse.js'
import type { Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { simulatedCard } from '../vehicle/bench.js'
import { NO_FAULTS, parseFaults } from '../vehicle/faults.js'
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

/** Whether a person starts what is played. */
export const isByHand = (playerDriver: string): boolean => playerDriver === 'none' || playerDriver === 'stick'

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
  const { faultsPath } = rig.value
  if (faultsPath === null) return simulatedCard(rig.value, NO_FAULTS)
  const path = resolve(dirname(rig.path), faultsPath)
  const text = await readText(path, 'faults file', `The rig names it: check "faults" in ${shown(rig.path)}.`)
  return simulatedCard(rig.value, parseFaults(text, shown(path)))
}
