import { describe, expect, test } from 'vitest'
import {
  type ListedPort,
  listMeterPorts,
  pathOfPort,
  portsWithSerial,
  serialNumberOf,
} from '../../src/instruments/ports.js'
import { stopFrom } from './stop-from.js'

const listing =
  (...ports: ListedPort[]) =>
  async (): Promise<ListedPort[]> =>
    ports
const BARE = { path: '/dev/ttyS0' }
const FIRST = { path: '/dev/ttyUSB0', manufacturer: 'Lead Works', serialNumber: 'A1B2' }
const SECOND = { path: '/dev/ttyUSB1', manufacturer: ' ', serialNumber: 'C3D4', pnpId: 'usb-lead-if00' }

describe('ports', () => {
  test('that name their hardware come without those that do not', async () => {
    expect(await listMeterPorts(listing(BARE, FIRST, SECOND))).toEqual([
      {
        path: '/dev/ttyUSB0',
        maker: 'Lead Works',
        serialNumber: 'A1B2',
        says: '/dev/ttyUSB0 (Lead Works, serial number A1B2)',
      },
      { path: '/dev/ttyUSB1', maker: null, serialNumber: 'C3D4', says: '/dev/ttyUSB1 (serial number C3D4)' },
    ])
  })

  test('that say nothing of themselves are the first few', async () => {
    const many = Array.from({ length: 32 }, (_, n) => ({ path: `/dev/ttyS${n}` }))
    expect((await listMeterPorts(listing(...many))).map(({ says }) => says)).toEqual(
      many.slice(0, 4).map(({ path }) => path),
    )
    expect(await listMeterPorts(listing())).toEqual([])
  })

  test('of this computer can be listed, with an answer in any case', async () => {
    expect(Array.isArray(await listMeterPorts())).toBe(true)
  })
})

describe('a port by its serial number', () => {
  test('is found wherever it is', async () => {
    expect(await pathOfPort('serial:c3d4', listing(FIRST, SECOND))).toBe('/dev/ttyUSB1')
    expect(await pathOfPort('serial: A1B2', listing({ ...FIRST, path: 'COM7' }))).toBe('COM7')
    expect(await serialNumberOf('/dev/ttyUSB0', listing(FIRST))).toBe('A1B2')
    expect(await serialNumberOf('/dev/ttyUSB9', listing(FIRST))).toBeNull()
    expect(await portsWithSerial('A1B2', listing(FIRST, { ...SECOND, serialNumber: 'A1B2' }))).toHaveLength(2)
  })

  test('that is not there lists those that are', async () => {
    expect((await stopFrom(pathOfPort('serial:XYZ', listing(FIRST, SECOND)))).message).toBe(
      'no port has the serial number XYZ (serial:XYZ). Set meter.port in the rig file to one of: ' +
        '/dev/ttyUSB0 (Lead Works, serial number A1B2), /dev/ttyUSB1 (serial number C3D4)',
    )
    expect((await stopFrom(pathOfPort('serial:XYZ', listing()))).message).toContain(
      'Plug the meter in: this computer has no serial port now.',
    )
  })

  test('that several ports have is refused', async () => {
    const twice = listing(FIRST, { ...SECOND, serialNumber: 'A1B2' })
    expect((await stopFrom(pathOfPort('serial:A1B2', twice))).message).toBe(
      '2 ports have the serial number A1B2: /dev/ttyUSB0, /dev/ttyUSB1 (serial:A1B2). ' +
        'Set meter.port in the rig file to the path of the right one.',
    )
  })
})
