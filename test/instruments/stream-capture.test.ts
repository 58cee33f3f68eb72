/** Faults of a capture that no device here can have, by tools that say and do what the real ones do then. */
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { raiseLowWords } from '../../src/instruments/alsa-capture.js'
import type { Block, Capture } from '../../src/rig/roles.js'
import { StopError } from '../../src/units/stop.js'
import { alsa, DEVICE, ffmpeg, opened, RATE_SAID } from './fake-captures.js'
import { complain, type FakeTools, fakeTools, noiseS } from './fake-tools.js'

vi.setConfig({ testTimeout: 20_000 })
const never = new AbortController().signal

let tools: FakeTools
beforeEach(() => {
  tools = fakeTools()
  tools.set('amixer', 'exit 1')
  tools.set('pactl', 'exit 1')
})
afterEach(() => tools.remove())

const stopOf = async (capture: Capture): Promise<StopError> => {
  const error = await capture
    .start(() => {}, never)
    .then(
      () => null,
      (reason: unknown) => reason,
    )
  expect(error).toBeInstanceOf(StopError)
  expect((error as StopError).kind).toBe('instrument')
  return error as StopError
}
const HW = (formats: string, channels: string, rates: string): string =>
  complain(`FORMAT:  ${formats}`, 'SUBFORMAT:  STD', `CHANNELS: ${channels}`, `RATE: ${rates}`, 'PERIODS: [3 1024]')
const LIST = complain('nothing else') + "\necho 'card 1: Eight [Eight Line Inputs], device 0: USB Audio [USB Audio]'"

describe('ALSA, before the first sample, tells apart', () => {
  // What the tool says: alsa-utils 1.2.8 on a computer without cards, and its errors of the same form from errno.
  test.each([
    [
      'a device that is not there, with those that are',
      complain(
        'ALSA lib confmisc.c:165:(snd_config_get_card) Cannot get card index for card',
        'arecord: main:831: audio open error: No such device',
      ),
      `there is no sound input of this name (${DEVICE}). Plug the card in, or set capture.device in the rig file to one of: hw:CARD=Eight,DEV=0`,
    ],
    [
      'one that is busy',
      complain('arecord: main:831: audio open error: Device or resource busy'),
      `the sound input is busy: another program holds it (${DEVICE}). Close that program; fuser -v /dev/snd/* names it.`,
    ],
    [
      'one that is forbidden',
      complain('arecord: main:831: audio open error: Permission denied'),
      `this user may not open the sound input (${DEVICE}). Join the group audio: sudo usermod -aG audio "$USER"`,
    ],
    [
      'a server behind it that does not answer',
      complain('arecord: main:831: audio open error: Connection refused'),
      `the sound server behind it does not answer: audio open error: Connection refused (${DEVICE}). Start PulseAudio`,
    ],
    [
      'one with too few inputs',
      `${HW('S32_LE', '1', '48000')}\n${complain('arecord: set_params:1358: Channels count non available')}`,
      `the input has 1 channels, but 2 are needed (${DEVICE}). List fewer inputs in the rig file`,
    ],
    [
      'one with other rates',
      `${HW('S32_LE', '[1 8]', '[88200 192000]')}\n${complain('arecord: set_params:1403: Unable to install hw params:')}`,
      `the device runs at 88200 Hz though 48000 Hz was asked for (${DEVICE}). Set capture.sample_rate_hz in the rig file to a rate from 88200 to 192000.`,
    ],
    [
      'one with fewer bits',
      `${HW('S16_LE', '[1 8]', '48000')}\n${complain('arecord: set_params:1352: Sample format non available')}`,
      `the card gives none of the sample formats that are needed, only S16_LE (${DEVICE}). Set capture.bits in the rig file to 16.`,
    ],
    [
      "something else, in the tool's own words",
      complain('arecord: main:831: audio open error: Broken pipe'),
      `arecord failed: audio open error: Broken pipe (${DEVICE}). Check the device`,
    ],
  ])('%s', async (_, script, message) => {
    tools.set('arecord', `case "$*" in *-L*) exit 0;; *-l*) ${LIST}; exit 0;; esac\n${script}\nexit 1`)
    expect((await stopOf(alsa())).message).toContain(message)
  })

  test('a rate that the card took by itself', async () => {
    tools.set(
      'arecord',
      `${complain('Warning: rate is not accurate (requested = 48000Hz, got = 44100Hz)', '  rate         : 44100')}\n${noiseS(1)}\nexec sleep 60`,
    )
    expect((await stopOf(alsa())).message).toBe(
      `the device runs at 44100 Hz though 48000 Hz was asked for (${DEVICE}). Set capture.sample_rate_hz in the rig file to 44100, or the card to 48000 Hz.`,
    )
  })

  test('a volume that is not at 0 dB, before the card is opened', async () => {
    tools.set(
      'amixer',
      `cat <<'LIST'
numid=8,iface=MIXER,name='Line Capture Volume'
  ; type=INTEGER,access=rw---R--,values=1,min=0,max=20,step=0
  : values=12
  | dBscale-min=-10.00dB,step=1.00dB,mute=0
LIST`,
    )
    expect((await stopOf(alsa())).message).toBe(
      `the card's control "Line Capture Volume" is 2.0 dB off, so every level would be (${DEVICE}). Set it to 0.0 dB: amixer -c card cset numid=8 10`,
    )
  })

  test('no samples within 5 s', async () => {
    tools.set('arecord', 'exec sleep 60')
    expect((await stopOf(alsa())).message).toBe(
      `no samples came within 5 s (${DEVICE}). Check that no other program holds the card, then plug it in anew or start the sound server anew.`,
    )
  })
})

describe('a card that refuses the first words', () => {
  // Truth: the bytes that the tool gives, 0x010203 and -1 in 24 bits, on eight channels of which two are wanted.
  test('is asked for those that it has, with all its channels', async () => {
    const dump = HW('S16_LE S24_3LE', '8', '[44100 96000]')
    const frame = `\\003\\002\\001\\377\\377\\377${'\\000'.repeat(18)}`
    tools.set(
      'arecord',
      `case "$*" in
*--format=S24_3LE*--channels=8*) ${RATE_SAID}
printf '${frame}'; exec sleep 60;;
*) ${dump}
${complain('arecord: set_params:1352: Sample format non available')}
exit 1;;
esac`,
    )
    const blocks: Block[] = []
    const run = await alsa().start((block) => blocks.push(block), never)
    await run.stop()
    expect(run.inputCount).toBe(2)
    expect(blocks[0].map((channel) => channel[0] * 2 ** 23)).toEqual([0x010203, -1])
  })

  test('may have its 24 bits in the low bytes', () => {
    const bytes = Uint8Array.from([0x03, 0x02, 0x01, 0xee, 0xff, 0xff, 0xff, 0x00])
    raiseLowWords(bytes)
    expect([...bytes]).toEqual([0, 0x03, 0x02, 0x01, 0, 0xff, 0xff, 0xff])
  })
})

// The errors of dshow and avfoundation are from memory; those of ALSA as ffmpeg 5.1 gives them.
describe('ffmpeg tells apart', () => {
  test.each([
    [
      'a device that is not there, with those that are',
      {},
      complain(
        '[dshow @ 0x1] Could not find audio only device with name [Line In] among source devices of type audio.',
        'audio=Line In: I/O error',
      ),
      'there is no sound input of this name (Line In). Plug the card in, or set capture.device in the rig file to one of: Microphone (Desk)',
    ],
    [
      'one that it only calls faulty, but is not there either',
      {},
      complain('audio=Line In: I/O error'),
      'there is no sound input of this name (Line In). Plug the card in, or set capture.device in the rig file to one of: Microphone (Desk)',
    ],
    [
      'one that is busy',
      { inputFormat: 'alsa', device: DEVICE },
      complain(
        `[alsa @ 0x1] cannot open audio device ${DEVICE} (Device or resource busy)`,
        `${DEVICE}: Input/output error`,
      ),
      `the sound input is busy: another program holds it (${DEVICE}). Close that program`,
    ],
    [
      'one that is forbidden',
      { inputFormat: 'alsa', device: DEVICE },
      complain(`[alsa @ 0x1] cannot open audio device ${DEVICE} (Permission denied)`, `${DEVICE}: Input/output error`),
      `this user may not open the sound input (${DEVICE}). Join the group audio`,
    ],
  ] as const)('%s', async (_, more, script, message) => {
    const list = complain('[dshow @ 0x1] "Microphone (Desk)" (audio)')
    tools.set('ffmpeg', `case "$*" in *-list_devices*) ${list}\nexit 1;; esac\n${script}\nexit 1`)
    expect((await stopOf(ffmpeg(more))).message).toContain(message)
  })

  test('no name where there is no default device', async () => {
    tools.set('ffmpeg', `${complain('[dshow @ 0x1] "Microphone (Desk)" (audio)')}\nexit 1`)
    expect((await stopOf(ffmpeg({ device: null }))).message).toContain('to one of: Microphone (Desk)')
  })

  test('a rate and a number of channels that the device took by itself', async () => {
    const run = (shape: string): void => tools.set('ffmpeg', `${opened(shape)}\n${noiseS(0.5)}\nexec sleep 60`)
    run('44100 Hz, stereo')
    expect((await stopOf(ffmpeg({ inputFormat: 'avfoundation' }))).message).toBe(
      'the device runs at 44100 Hz though 48000 Hz was asked for (Line In). Set its rate to 48000 Hz in Audio MIDI Setup, or capture.sample_rate_hz in the rig file to 44100.',
    )
    run('48000 Hz, mono')
    expect((await stopOf(ffmpeg())).message).toContain('the input has 1 channels, but 2 are needed (Line In)')
  })

  test('more channels than are wanted, and takes the first', async () => {
    tools.set('ffmpeg', `${opened('48000 Hz, 4 channels')}\n${noiseS(0.5)}\nexec sleep 60`)
    const blocks: Block[] = []
    const run = await ffmpeg().start((block) => blocks.push(block), never)
    // Half a second of 2 channels is a quarter of 4.
    await vi.waitFor(() => expect(blocks.reduce((sum, block) => sum + block[0].length, 0)).toBe(12_000), 5000)
    await run.stop()
    expect(blocks[0]).toHaveLength(2)
  })
})

test('a tool that is not installed is named with its package', async () => {
  const path = process.env['PATH']
  process.env['PATH'] = '/nowhere'
  try {
    expect((await stopOf(alsa())).message).toBe(
      `the tool arecord is not installed (${DEVICE}). Install the Debian package alsa-utils: apt-get install alsa-utils`,
    )
    expect((await stopOf(ffmpeg({ inputFormat: 'alsa' }))).message).toContain(
      'the tool ffmpeg is not installed (Line In)',
    )
  } finally {
    process.env['PATH'] = path
  }
})
