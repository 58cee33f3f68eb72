/** The exact argument lists of every driver, held against the manuals of the tools. */
import { execFileSync } from 'node:child_process'
import { describe, expect, test } from 'vitest'
import { alsaArgs } from '../../src/instruments/alsa-stream.js'
import { type FfmpegCaptureSpec, ffmpegCaptureArgs, usualInputFormat } from '../../src/instruments/ffmpeg-capture.js'
import { ffmpegPlayerArgs, usualOutputFormat } from '../../src/instruments/ffmpeg-player.js'
import { pulseStream } from '../../src/instruments/pulse-capture.js'
import { needsTool } from '../tools.js'

const SPEC: FfmpegCaptureSpec = {
  device: 'Line In (Card)',
  inputFormat: 'dshow',
  sampleRateHz: 96_000,
  bits: 24,
  inputCount: 8,
}
const HEAD = ['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'info']
const QUICK = ['-probesize', '32', '-analyzeduration', '0', '-thread_queue_size', '1024']

describe('a capture asks', () => {
  test('the sound server for channels by their place, unmixed', () => {
    expect(pulseStream('card.in', 44_100, 3).args).toEqual([
      '--verbose',
      '--raw',
      '--device=card.in',
      '--format=float32le',
      '--rate=44100',
      '--channels=3',
      '--channel-map=aux0,aux1,aux2',
      '--no-remix',
      '--no-remap',
      '--latency-msec=50',
      '--client-name=linetrue',
      '--stream-name=capture',
    ])
  })

  test('ALSA for a device without any conversion', () => {
    const ask = { device: 'hw:CARD=Eight,DEV=0', sampleRateHz: 192_000, format: 'S24_3LE', channelCount: 8 } as const
    expect(alsaArgs(ask)).toEqual([
      '--device=hw:CARD=Eight,DEV=0',
      '--file-type=raw',
      '--format=S24_3LE',
      '--rate=192000',
      '--channels=8',
      '--buffer-time=1000000',
      '--period-time=50000',
      '--disable-resample',
      '--disable-channels',
      '--disable-format',
      '--disable-softvol',
      '--dump-hw-params',
      '--verbose',
    ])
  })

  test('every option of which the tools know', (context) => {
    needsTool(context, 'arecord', 'aplay')
    for (const tool of ['arecord', 'aplay']) {
      const help = execFileSync(tool, ['--help'], { encoding: 'utf8' })
      const ask = { device: 'default', sampleRateHz: 48_000, format: 'S32_LE', channelCount: 2 } as const
      for (const arg of alsaArgs(ask)) expect(help).toContain(arg.replace(/=.*/, ''))
    }
  })

  // ffmpeg-devices(1), dshow: `-i audio=NAME`, options sample_rate, sample_size, channels, audio_buffer_size; rtbufsize is
  // an option of every input.
  test('Windows for a device by its readable name', () => {
    expect(ffmpegCaptureArgs(SPEC)).toEqual([
      ...HEAD,
      ...QUICK,
      ...['-f', 'dshow', '-rtbufsize', '64M', '-audio_buffer_size', '50'],
      ...['-sample_rate', '96000', '-channels', '8', '-sample_size', '24', '-i', 'audio=Line In (Card)'],
      ...['-map', '0:a:0', '-c:a', 'pcm_f32le', '-f', 'f32le', 'pipe:1'],
    ])
  })

  // ffmpeg-devices(1), avfoundation: `-i "[[VIDEO]:[AUDIO]]"`, default is an alias of the default device.
  test('macOS for a device by its readable name, and nothing else', () => {
    const tail = ['-map', '0:a:0', '-c:a', 'pcm_f32le', '-f', 'f32le', 'pipe:1']
    const mac = { ...SPEC, inputFormat: 'avfoundation' } as const
    expect(ffmpegCaptureArgs(mac)).toEqual([...HEAD, ...QUICK, '-f', 'avfoundation', '-i', ':Line In (Card)', ...tail])
    expect(ffmpegCaptureArgs({ ...mac, device: null })).toContain(':default')
  })

  test('the sound server and ALSA through ffmpeg for samples that pass as they are', () => {
    expect(ffmpegCaptureArgs({ ...SPEC, inputFormat: 'pulse', device: 'card.in' })).toEqual([
      ...HEAD,
      ...QUICK,
      ...['-f', 'pulse', '-name', 'linetrue', '-stream_name', 'capture', '-sample_rate', '96000', '-channels', '8'],
      // 50 ms of 8 channels of 4 bytes.
      ...['-fragment_size', '153600', '-c:a', 'pcm_f32le', '-i', 'card.in'],
      ...['-map', '0:a:0', '-c:a', 'copy', '-f', 'f32le', 'pipe:1'],
    ])
    expect(ffmpegCaptureArgs({ ...SPEC, inputFormat: 'alsa', device: 'hw:0' }, 's24le')).toEqual([
      ...HEAD,
      ...QUICK,
      ...['-f', 'alsa', '-sample_rate', '96000', '-channels', '8', '-c:a', 'pcm_s24le', '-i', 'hw:0'],
      ...['-map', '0:a:0', '-c:a', 'copy', '-f', 's24le', 'pipe:1'],
    ])
  })

  test('ffmpeg only for what its manual lists', (context) => {
    needsTool(context, 'ffmpeg')
    const optionsOf = (about: string): string =>
      execFileSync('ffmpeg', ['-hide_banner', '-h', about], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] })
    for (const option of ['-name', '-stream_name', '-sample_rate', '-channels', '-fragment_size']) {
      expect(optionsOf('demuxer=pulse')).toMatch(new RegExp(`^ +${option} `, 'm'))
    }
    for (const option of ['-sample_rate', '-channels']) {
      expect(optionsOf('demuxer=alsa')).toMatch(new RegExp(`^ +${option} `, 'm'))
    }
    for (const option of ['-name', '-stream_name', '-device', '-buffer_duration']) {
      expect(optionsOf('muxer=pulse')).toMatch(new RegExp(`^ +${option} `, 'm'))
    }
  })
})

describe('a player asks', () => {
  const head = ['-hide_banner', '-nostats', '-loglevel', 'info']
  const input = ['-f', 's32le', '-ar', '48000', '-ac', '2', '-i', 'pipe:0', '-map', '0:a:0', '-c:a', 'pcm_s32le']

  // ffmpeg-devices(1), audiotoolbox: `-f audiotoolbox -audio_device_index 2 -`, or - for the default output.
  test.each([
    ['audiotoolbox', 'Line Out', 2, ['-audio_device_index', '2', '-']],
    ['audiotoolbox', null, null, ['-']],
    [
      'pulse',
      'card.out',
      null,
      ['-name', 'linetrue', '-stream_name', 'track', '-buffer_duration', '500', '-device', 'card.out', 'track'],
    ],
    ['pulse', null, null, ['-name', 'linetrue', '-stream_name', 'track', '-buffer_duration', '500', 'track']],
    ['alsa', 'hw:0', null, ['hw:0']],
    ['alsa', null, null, ['default']],
  ] as const)('%s for device %s', (outputFormat, device, index, output) => {
    expect(ffmpegPlayerArgs({ device, outputFormat }, 48_000, 2, index)).toEqual([
      ...head,
      ...input,
      ...['-f', outputFormat],
      ...output,
    ])
  })
})

test('formats are as usual on each system', () => {
  const systems = ['darwin', 'win32', 'linux'] as const
  expect(systems.map((system) => usualInputFormat(system))).toEqual(['avfoundation', 'dshow', 'pulse'])
  expect(systems.map((system) => usualOutputFormat(system))).toEqual(['audiotoolbox', 'pulse', 'pulse'])
})
