/** From the rig file's words to an open meter, whichever its driver. */
import { usualLine } from '../rig/meter-spec.js'
import type { MeterSpec } from '../rig/rig.js'
import { openBytePort, type PortSettings } from './byte-port.js'
import { FrameMeter } from './frame-meter.js'
import { openLineLink } from './line-link.js'
import { LineMeter } from './line-meter.js'
import { type MeterOptions, type OpenMeter, type OpenSource, openSettledMeter } from './meter.js'
import { noPort, UnpluggedError } from './port-errors.js'
import { type ListPorts, pathOfPort, portLines, portsWithSerial, serialNumberOf, systemPorts } from './ports.js'
import type { ReadingSource } from './reading.js'
import { ScpiMeter } from './scpi-meter.js'

export interface OpenMeterOptions extends MeterOptions {
  /** 1 waits for answers as long as real meters need; tests wait less. */
  readonly patience?: number
  readonly list?: ListPorts
}

/**
 * Opens the meter that a rig names.
 *
 * @param signal ends the opening only
 * @throws StopError when it has no port, or the port cannot be opened
 * @throws RangeError for the simulated meter, which has no port
 */
export async function openMeter(
  spec: MeterSpec,
  signal: AbortSignal,
  options: OpenMeterOptions = {},
): Promise<OpenMeter> {
  const { list = systemPorts } = options
  if (spec.driver === 'simulated') throw new RangeError('openMeter: the simulated meter belongs to its bench')
  const { port } = spec
  if (port === null) throw noPort(await portLines(list))
  const path = await pathOfPort(port, list)
  // A plug that comes back may have another path; its serial number, where it has one, is what stays.
  let serialNumber: Promise<string | null> | null = null
  const open: OpenSource = async (openSignal) => {
    const from = serialNumber === null ? path : await pathNow(port, path, await serialNumber, list)
    return await openSource(spec, from, options, openSignal)
  }
  const meter = await openSettledMeter(open, spec, options, signal)
  // Asking the system takes a moment, and is not waited for: it is needed only when the plug was pulled.
  serialNumber = serialNumberOf(path, list).catch(() => null)
  return meter
}

async function pathNow(port: string, path: string, serialNumber: string | null, list: ListPorts): Promise<string> {
  if (port !== path) return await pathOfPort(port, list)
  if (serialNumber === null) return path
  const paths = await portsWithSerial(serialNumber, list)
  if (paths.length === 0) throw new UnpluggedError(path)
  // Of several with one serial number the path is the better guess.
  return paths.length === 1 ? paths[0] : path
}

async function openSource(
  spec: MeterSpec,
  path: string,
  { patience = 1, onNotice = () => {} }: OpenMeterOptions,
  signal: AbortSignal,
): Promise<ReadingSource> {
  const settings: PortSettings = { path, baudRate: spec.baudRate, line: spec.line ?? usualLine(spec.driver) }
  switch (spec.driver) {
    case 'lines':
      return new LineMeter(await openLineLink(settings, signal), spec, patience)
    case 'frames':
      return new FrameMeter(await openBytePort(settings, signal), spec.frame ?? 'segments', onNotice, patience)
    default:
      return new ScpiMeter(await openLineLink(settings, signal), spec.accuracyVrms, patience)
  }
}
