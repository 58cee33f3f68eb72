import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { cardOf, isDenied, parseHardware, parseHwParams, parseNames } from '../../src/instruments/alsa-devices.js'

// In the form of arecord -l of alsa-utils 1.2.8, written for made-up cards (its source: device_list in aplay.c).
const HARDWARE = `**** List of CAPTURE Hardware Devices ****
card 0: PCH [HD-Audio Generic], device 0: Analog [Generic Analog]
  Subdevices: 1/1
  Subdevice #0: subdevice #0
card 2: Eight [Eight Line Inputs], device 1: USB Audio [USB Audio #1]
  Subdevices: 0/1
  Subdevice #0: subdevice #0
`

test('hardware gets names that stay when cards are numbered anew', () => {
  expect(parseHardware(HARDWARE)).toEqual([
    { name: 'hw:CARD=PCH,DEV=0', says: 'HD-Audio Generic, Generic Analog' },
    { name: 'hw:CARD=Eight,DEV=1', says: 'Eight Line Inputs, USB Audio #1' },
  ])
  expect(parseHardware('arecord: device_list:274: no soundcards found...\n')).toEqual([])
})

// The first two entries as arecord -L gives them here, the others in its form, as cards add them.
test('names come with what they say of themselves, of one line, more, or none', () => {
  const text = `null
    Discard all samples (playback) or generate zero samples (capture)
bench
hw:CARD=Eight,DEV=0
    Eight Line Inputs, USB Audio
    Direct hardware device without any conversions
`
  expect(parseNames(text)).toEqual([
    { name: 'null', says: 'Discard all samples (playback) or generate zero samples (capture)' },
    { name: 'bench', says: '' },
    {
      name: 'hw:CARD=Eight,DEV=0',
      says: 'Eight Line Inputs, USB Audio, Direct hardware device without any conversions',
    },
  ])
})

describe('what a device can do', () => {
  // The first as arecord --dump-hw-params gives it on the pulse plugin; the second in its form, for a card of fixed size.
  test.each([
    [
      ['FORMAT:  U8 S16_LE S32_LE FLOAT_LE', 'CHANNELS: [1 32]', 'RATE: [1 384000]'],
      ['U8', 'S16_LE', 'S32_LE', 'FLOAT_LE'],
      { min: 1, max: 32 },
      { min: 1, max: 384_000 },
    ],
    [
      ['FORMAT:  S24_3LE', 'CHANNELS: 18', 'RATE: 48000'],
      ['S24_3LE'],
      { min: 18, max: 18 },
      { min: 48_000, max: 48_000 },
    ],
    [['FORMAT:  S32_LE', 'CHANNELS: ALL', 'RATE: NONE'], ['S32_LE'], null, null],
  ])('is read from its dump (%#)', (lines, formats, channels, rates) => {
    expect(parseHwParams(['ACCESS:  RW_INTERLEAVED', ...lines, 'PERIODS: [3 1024]'])).toEqual({
      formats,
      channels,
      rates,
    })
  })

  test('is not known where it could not be opened', () => {
    expect(parseHwParams(['arecord: main:831: audio open error: No such device'])).toBeNull()
  })
})

test.each([
  ['hw:CARD=Eight,DEV=0', 'Eight'],
  ['hw:2,0', '2'],
  ['plughw:DEV=1,CARD=PCH', 'PCH'],
  ['pulse', null],
  ['bench_monitor', null],
])('the card of %s is %s', (device, card) => {
  expect(cardOf(device)).toBe(card)
})

test('cards count as forbidden only where there are some and none can be opened', () => {
  const folder = mkdtempSync(join(tmpdir(), 'linetrue-snd-'))
  try {
    expect(isDenied(folder)).toBe(false)
    expect(isDenied(join(folder, 'missing'))).toBe(false)
    writeFileSync(join(folder, 'controlC0'), '', { mode: 0o000 })
    // Root may open everything.
    expect(isDenied(folder)).toBe(process.getuid?.() !== 0)
  } finally {
    rmSync(folder, { recursive: true })
  }
})
