/**
 * The serial ports of this computer, with maker and serial number as their adapters say them.
 *
 * A rig file names a port by its path, or as `serial:A1B2C3` by the adapter's serial number, which stays when the adapter comes
 * back at another path. Several cheap adapters may have one serial number: then only the path tells them apart.
 */
import { StopError } from '../units/stop.js'
import { portsRemedy } from './port-errors.js'

export interface MeterPort {
  readonly path: string
  readonly maker: string | null
  readonly serialNumber: string | null
  /** All that is known of it, in one line. */
  readonly says: string
}

/** What the system says of a port. */
export interface ListedPort {
  readonly path: string
  readonly manufacturer?: string | undefined
  readonly serialNumber?: string | undefined
  readonly pnpId?: string | undefined
}
export type ListPorts = () => Promise<readonly ListedPort[]>

/** Of ports that say nothing about themselves, the first few are enough for advice. */
const BARE_PORT_COUNT_MAX = 4
const BY_SERIAL = /^serial:\s*/i

/** Where the system cannot list its ports there are none. */
export const systemPorts: ListPorts = async () => {
  const { SerialPort } = await import('serialport')
  return await SerialPort.list().catch(() => [])
}

/** Ports that name their hardware; where none does, the first few: a board lists dozens that lead nowhere. */
export async function listMeterPorts(list: ListPorts = systemPorts): Promise<readonly MeterPort[]> {
  const ports = await list()
  const named = ports.filter((port) => port.pnpId || port.manufacturer || port.serialNumber)
  return (named.length > 0 ? named : ports.slice(0, BARE_PORT_COUNT_MAX)).map(meterPortOf)
}

/** Same, as lines for a message. */
export const portLines = async (list: ListPorts = systemPorts): Promise<string[]> =>
  (await listMeterPorts(list)).map(({ says }) => says)

/**
 * The path of a port as the rig file names it.
 * @throws StopError when no port has that serial number, or several have it
 */
export async function pathOfPort(port: string, list: ListPorts = systemPorts): Promise<string> {
  if (!BY_SERIAL.test(port)) return port
  const wanted = port.replace(BY_SERIAL, '')
  const found = await portsWithSerial(wanted, list)
  if (found.length === 1) return found[0]
  if (found.length === 0) {
    const lines = await portLines(list)
    const remedy = lines.length === 0 ? 'Plug the meter in: this computer has no serial port now.' : portsRemedy(lines)
    throw new StopError(`no port has the serial number ${wanted}`, port, remedy, 'instrument')
  }
  throw new StopError(
    `${found.length} ports have the serial number ${wanted}: ${found.join(', ')}`,
    port,
    'Set meter.port in the rig file to the path of the right one.',
    'instrument',
  )
}

/** null where the system does not say it. */
export async function serialNumberOf(path: string, list: ListPorts = systemPorts): Promise<string | null> {
  const port = (await list()).find((candidate) => candidate.path === path)
  return port ? meterPortOf(port).serialNumber : null
}

export async function portsWithSerial(serialNumber: string, list: ListPorts = systemPorts): Promise<string[]> {
  const isSame = (other: string | undefined): boolean => other?.trim().toLowerCase() === serialNumber.toLowerCase()
  return (await list()).filter((port) => isSame(port.serialNumber)).map(({ path }) => path)
}

function meterPortOf({ path, manufacturer, serialNumber }: ListedPort): MeterPort {
  const maker = textOrNull(manufacturer)
  const serial = textOrNull(serialNumber)
  const about = [...(maker ? [maker] : []), ...(serial ? [`serial number ${serial}`] : [])].join(', ')
  return { path, maker, serialNumber: serial, says: about === '' ? path : `${path} (${about})` }
}

const textOrNull = (text: string | undefined): string | null => text?.trim() || null
