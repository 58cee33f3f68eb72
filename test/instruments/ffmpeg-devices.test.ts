// Listings are written from memory in the form that ffmpeg prints, for made-up devices; the options are checked against its manual.
import { describe, expect, test } from 'vitest'
import {
  listArgs,
  openedStream,
  parseAvfoundation,
  parseDshow,
  parseOutputs,
} from '../../src/instruments/ffmpeg-devices.js'

describe('a list of devices', () => {
  test('of macOS gives the sound inputs only', () => {
    const said = [
      '[AVFoundation indev @ 0x7f8e3a704d40] AVFoundation video devices:',
      '[AVFoundation indev @ 0x7f8e3a704d40] [0] Desk Camera',
      '[AVFoundation indev @ 0x7f8e3a704d40] AVFoundation audio devices:',
      '[AVFoundation indev @ 0x7f8e3a704d40] [0] Built-in Microphone',
      '[AVFoundation indev @ 0x7f8e3a704d40] [1] Eight Line Inputs',
      ': Input/output error',
    ]
    expect(parseAvfoundation(said)).toEqual([
      { name: 'Built-in Microphone', index: 0 },
      { name: 'Eight Line Inputs', index: 1 },
    ])
    expect(parseAvfoundation(["Unknown input format: 'avfoundation'"])).toEqual([])
  })

  test.each([
    [
      'newer',
      [
        '[dshow @ 000001a2] "Desk Camera" (video)',
        '[dshow @ 000001a2]   Alternative name "@device_pnp_\\\\?\\usb#vid"',
        '[dshow @ 000001a2] "Line In (Eight Line Inputs)" (audio)',
        '[dshow @ 000001a2]   Alternative name "@device_cm_{33D9A762}\\wave_{8A}"',
        '[dshow @ 000001a2] "Microphone (Desk)" (audio)',
        'dummy: Immediate exit requested',
      ],
    ],
    [
      'older',
      [
        '[dshow @ 000001a2] DirectShow video devices (some may be both video and audio devices)',
        '[dshow @ 000001a2]  "Desk Camera"',
        '[dshow @ 000001a2]     Alternative name "@device_pnp_\\\\?\\usb#vid"',
        '[dshow @ 000001a2] DirectShow audio devices',
        '[dshow @ 000001a2]  "Line In (Eight Line Inputs)"',
        '[dshow @ 000001a2]     Alternative name "@device_cm_{33D9A762}\\wave_{8A}"',
        '[dshow @ 000001a2]  "Microphone (Desk)"',
        'dummy: Immediate exit requested',
      ],
    ],
  ])('of Windows, %s, gives the sound inputs only', (_, said) => {
    expect(parseDshow(said).map(({ name }) => name)).toEqual(['Line In (Eight Line Inputs)', 'Microphone (Desk)'])
  })

  test('of outputs on macOS gives names and numbers', () => {
    const said = [
      '[AudioToolbox @ 0x7fb] CoreAudio devices:',
      '[AudioToolbox @ 0x7fb] [0]            Built-in Microphone, BuiltInMicrophoneDevice',
      '[AudioToolbox @ 0x7fb] [2]                Built-in Output, BuiltInSpeakerDevice',
    ]
    expect(parseOutputs(said)).toEqual([
      { name: 'Built-in Microphone', index: 0 },
      { name: 'Built-in Output', index: 2 },
    ])
  })

  // ffmpeg-devices(1): `ffmpeg -f avfoundation -list_devices true -i ""`, `ffmpeg -list_devices true -f dshow -i dummy`,
  // `ffmpeg -f lavfi -i sine=r=44100 -f audiotoolbox -list_devices true -`.
  test('is asked for as the manual says', () => {
    expect(listArgs('avfoundation').slice(2)).toEqual(['-f', 'avfoundation', '-list_devices', 'true', '-i', ''])
    expect(listArgs('dshow').slice(2)).toEqual(['-list_devices', 'true', '-f', 'dshow', '-i', 'dummy'])
    expect(listArgs('audiotoolbox').slice(-5)).toEqual(['-f', 'audiotoolbox', '-list_devices', 'true', '-'])
  })
})

// Layouts as ffmpeg 5.1 prints them for raw input of so many channels.
test.each([
  ['mono', 1],
  ['stereo', 2],
  ['2.1', 3],
  ['5.1(side)', 6],
  ['7.1', 8],
  ['hexadecagonal', 16],
  ['12 channels', 12],
  ['7.1.4', 12],
  ['32 channels (FL+FR)', 32],
])('an opened stream of layout %s has %d channels', (layout, channelCount) => {
  const said = [
    "Input #0, pulse, from 'card':",
    '  Duration: N/A, start: 1700000000.1, bitrate: 3072 kb/s',
    `  Stream #0:0: Audio: pcm_f32le, 96000 Hz, ${layout}, flt, 3072 kb/s`,
    '  Stream #0:0: Audio: pcm_f32le, 48000 Hz, mono, flt, 3072 kb/s',
  ]
  expect(openedStream(said)).toEqual({ sampleRateHz: 96_000, channelCount })
})

test('a stream that is not opened yet has no shape', () => {
  expect(openedStream(["Input #0, pulse, from 'card':"])).toBeNull()
})
