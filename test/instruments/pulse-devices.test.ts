import { describe, expect, test } from 'vitest'
import { parseDevices } from '../../src/instruments/pulse-devices.js'

// Taken from `pactl list sources` of PulseAudio 16.1 on a null sink (first) and written in the same form for a card
// (second): its neutral setting is below full, as for cards with a preamplifier.
const LIST = `Source #0
\tState: IDLE
\tName: radio.monitor
\tDescription: Monitor of Null Output
\tDriver: module-null-sink.c
\tSample Specification: s32le 2ch 48000Hz
\tChannel Map: aux0,aux1
\tOwner Module: 1
\tMute: no
\tVolume: aux0: 65536 / 100% / 0.00 dB,   aux1: 65536 / 100% / 0.00 dB
\t        balance 0.00
\tBase Volume: 65536 / 100% / 0.00 dB
\tMonitor of Sink: radio
\tLatency: 0 usec, configured 2000000 usec
\tFlags: DECIBEL_VOLUME LATENCY 
\tProperties:
\t\tdevice.description = "Monitor of Null Output"
\t\tdevice.class = "monitor"
\tFormats:
\t\tpcm

Source #7
\tState: RUNNING
\tName: alsa_input.usb-card.multichannel-input
\tSample Specification: s24le 8ch 96000Hz
\tMute: yes
\tVolume: aux0: 41285 /  63% / -12.04 dB,   aux1: 41285 /  63% / -12.00 dB,   aux2: 0 /   0% / -inf dB
\t        balance 0.00
\tBase Volume: 41285 /  63% / -12.04 dB
\tMonitor of Sink: n/a
`

describe('the list of devices', () => {
  test('gives name, shape, mute and kind of each', () => {
    expect(parseDevices(LIST)).toEqual([
      {
        name: 'radio.monitor',
        channelCount: 2,
        sampleRateHz: 48_000,
        isMuted: false,
        volumeOffsetDb: 0,
        isMonitor: true,
        says: 'Monitor of Null Output',
        processing: null,
      },
      {
        name: 'alsa_input.usb-card.multichannel-input',
        channelCount: 8,
        sampleRateHz: 96_000,
        isMuted: true,
        volumeOffsetDb: Number.POSITIVE_INFINITY,
        isMonitor: false,
        says: '',
        processing: null,
      },
    ])
  })

  test("takes the card's own neutral setting for untouched", () => {
    const [, card] = parseDevices(LIST.replace(',   aux2: 0 /   0% / -inf dB', ''))
    expect(card.volumeOffsetDb).toBeCloseTo(0.04, 9)
  })

  // The first two as PulseAudio 16.1 gives them for its own modules; the last in the form of PipeWire's, from memory.
  test.each([
    ['module-echo-cancel.c', 'device.class = "filter"', 'module-echo-cancel'],
    ['module-remap-source.c', 'device.class = "filter"', null],
    ['module-ladspa-source.c', 'device.class = "filter"', 'module-ladspa-source'],
    ['PipeWire', 'node.name = "rnnoise_source"', 'rnnoise'],
    ['module-alsa-card.c', 'device.class = "sound"', null],
  ])('tells what changes the sound: %s with %s', (driver, property, processing) => {
    const text = LIST.replace('module-null-sink.c', driver).replace('device.class = "monitor"', property)
    expect(parseDevices(text)[0].processing).toBe(processing)
  })

  test('may be empty', () => {
    expect(parseDevices('')).toEqual([])
  })
})
