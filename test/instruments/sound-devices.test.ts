// Listings in the form of ffmpeg's, from memory, for made-up devices: neither system can be run here.
import { afterEach, beforeEach, expect, test } from 'vitest'
import { parsePaths, parseStream } from '../../src/instruments/pulse-path.js'
import { listSoundDevices, listSoundTools } from '../../src/instruments/sound-devices.js'
import { complain, type FakeTools, fakeTools } from './fake-tools.js'

let tools: FakeTools
beforeEach(() => {
  tools = fakeTools()
})
afterEach(() => tools.remove())
const never = new AbortController().signal

test('macOS lists inputs and outputs by their readable names', async () => {
  const inputs = complain(
    '[AVFoundation indev @ 0x1] AVFoundation audio devices:',
    '[AVFoundation indev @ 0x1] [0] Line In',
  )
  const outputs = complain('[AudioToolbox @ 0x1] [1]       Line Out, LineOutDevice')
  tools.set('ffmpeg', `case "$*" in *avfoundation*) ${inputs}\n;; *) ${outputs}\n;; esac\nexit 1`)
  const both = { driver: 'ffmpeg', channelCount: null, sampleRateHz: null, notes: [] }
  expect(await listSoundDevices(never, 'darwin')).toEqual([
    { ...both, direction: 'capture', name: 'Line In', says: 'Line In' },
    { ...both, direction: 'player', name: 'Line Out', says: 'Line Out' },
  ])
})

test('Windows lists inputs by their readable names', async () => {
  tools.set('ffmpeg', `${complain('[dshow @ 0x1] "Line In (Card)" (audio)')}\nexit 1`)
  const devices = await listSoundDevices(never, 'win32')
  expect(devices.map(({ direction, name }) => [direction, name])).toEqual([['capture', 'Line In (Card)']])
})

test('a missing tool is told with what to do on its system', async () => {
  tools.remove()
  const path = process.env['PATH']
  process.env['PATH'] = '/nowhere'
  try {
    expect(await listSoundDevices(never, 'darwin')).toEqual([])
    expect(await listSoundTools(never, 'darwin')).toEqual([
      {
        name: 'ffmpeg',
        isThere: false,
        notes: ['without ffmpeg there is no capture and output. Install ffmpeg, for instance by: brew install ffmpeg'],
      },
    ])
  } finally {
    process.env['PATH'] = path
  }
})

// Taken from `pactl list source-outputs` and `pactl list sources` of PulseAudio 16.1, shortened.
test('a stream on the sound server is found by its process', () => {
  const streams = `Source Output #14
\tDriver: protocol-native.c
\tSource: 2
\tSample Specification: s32le 2ch 48000Hz
\tChannel Map: front-left,front-right
\tProperties:
\t\tapplication.process.id = "17670"

Source Output #15
\tSource: 3
\tSample Specification: s32le 1ch 44100Hz
\tChannel Map: mono
\tProperties:
\t\tapplication.process.id = "17671"
`
  expect(parseStream(streams, 17_670)).toEqual({
    deviceIndex: 2,
    sampleRateHz: 48_000,
    channelMap: 'front-left,front-right',
  })
  expect(parseStream(streams, 17_671)?.deviceIndex).toBe(3)
  expect(parseStream(streams, 1767)).toBeNull()
  const sources = `Source #2
\tName: line.monitor
\tSample Specification: s32le 2ch 96000Hz
\tChannel Map: aux0,aux1
`
  expect(parsePaths(sources)).toEqual([
    { deviceIndex: 2, name: 'line.monitor', sampleRateHz: 96_000, channelMap: 'aux0,aux1' },
  ])
})
