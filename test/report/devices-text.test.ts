import { expect, test } from 'vitest'
import { devicesText, type ShownFound } from '../../src/report/devices-text.js'
import { widthOf } from '../../src/report/text.js'

const PLAIN = { isColour: false, columnCount: 80 }
const NOTHING: ShownFound = { captures: [], players: [], ports: [], tools: [] }
const card = {
  driver: 'alsa',
  name: 'hw:CARD=Two,DEV=0',
  says: 'Two, line in',
  channelCount: 2,
  sampleRateHz: 48_000,
  notes: ['muted'],
}

test('devices stand as they go into the rig file, with what is known of them', () => {
  const text = devicesText(
    {
      captures: [
        card,
        { ...card, name: 'Line: in', says: 'Line: in', channelCount: null, sampleRateHz: null, notes: [] },
      ],
      players: [{ ...card, driver: 'computer', name: 'radio', channelCount: 1, notes: [] }],
      ports: [{ path: '/dev/ttyUSB0', says: '/dev/ttyUSB0 (Adapter Works, serial number A1B2)', serialNumber: 'A1B2' }],
      tools: [
        {
          name: 'ffmpeg',
          isThere: false,
          notes: ['without ffmpeg there is no capture through ffmpeg. Install it: apt-get install ffmpeg'],
        },
      ],
    },
    PLAIN,
  )
  const lines = text.split('\n')
  expect(lines.slice(0, 3)).toEqual([
    'Cards, for capture:',
    '  driver: alsa, device: hw:CARD=Two,DEV=0',
    '    Two, line in, 2 channels, 48 kHz, muted',
  ])
  // A colon and a space would end the name in YAML.
  expect(lines).toContain('  driver: alsa, device: "Line: in"')
  expect(lines).toContain('    Two, line in, 1 channel, 48 kHz')
  expect(lines).toContain('  port: /dev/ttyUSB0')
  expect(lines).toContain('    or, to find it at any socket, port: serial:A1B2')
  expect(text).toContain('Missing:\n  without ffmpeg there is no capture through ffmpeg.')
  expect(lines.at(-1)).toBe('  linetrue rig new FILE makes a rig file of these by a few questions.')
  expect(Math.max(...lines.map(widthOf))).toBeLessThanOrEqual(80)
})

test('where there is nothing it says so, and what to do', () => {
  const text = devicesText(NOTHING, PLAIN)
  expect(text).toContain('Cards, for capture:\n  None. Plug the card in')
  expect(text).toContain('Outputs, for player:\n  None. A person can start the track from a stick')
  expect(text).toContain('Serial ports, for meter:\n  None. Plug the meter')
  expect(text).toContain('rigs/simulated.yaml')
  expect(text).not.toContain('Missing')
  expect(text).not.toContain('\x1b')
})

test('prose keeps to a narrow window, and a name to be copied is never broken', () => {
  const name = `alsa_input.usb-${'0'.repeat(60)}`
  const text = devicesText({ ...NOTHING, captures: [{ ...card, name }] }, { isColour: false, columnCount: 44 })
  expect(text).toContain(`device: ${name}\n`)
  const prose = text.split('\n').filter((line) => !line.includes(name))
  expect(Math.max(...prose.map(widthOf))).toBeLessThanOrEqual(44)
})

test('a name cannot steer the terminal', () => {
  expect(devicesText({ ...NOTHING, captures: [{ ...card, says: 'a\x1b[31mb' }] }, PLAIN)).not.toContain('\x1b')
})
