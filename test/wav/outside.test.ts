/** WAV files of general tools are read as these tools meant them, and ours are read by them. */
import { execFileSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, test, vi } from 'vitest'
import { decodeFrames } from '../../src/wav/decode.js'
import { encodeFrames, encodeWav } from '../../src/wav/encode.js'
import { readWavHeader } from '../../src/wav/read-header.js'
import { wavHeader } from '../../src/wav/write-header.js'
import { half } from '../long.js'
import { needsTool } from '../tools.js'

vi.setConfig({ testTimeout: 30_000 })

const folder = mkdtempSync(join(tmpdir(), 'linetrue-wav-'))
afterAll(() => rmSync(folder, { recursive: true }))

const at = (name: string): string => join(folder, name)
const run = (tool: string, ...args: string[]): Buffer =>
  execFileSync(tool, args, { stdio: ['ignore', 'pipe', 'ignore'], maxBuffer: 1e8 })

/** Channels of a raw stream of interleaved doubles, as the tool itself decodes the file. */
function fromDoubles(raw: Buffer, channelCount: number): Float32Array[] {
  const doubles = new Float64Array(raw.buffer.slice(raw.byteOffset, raw.byteOffset + raw.byteLength))
  return Array.from({ length: channelCount }, (_, c) =>
    Float32Array.from({ length: doubles.length / channelCount }, (_, n) => doubles[n * channelCount + c]),
  )
}
function readWav(path: string) {
  const bytes = readFileSync(path)
  const info = readWavHeader(bytes, path)
  return { info, channels: decodeFrames(bytes.subarray(info.dataStart, info.dataStart + info.dataByteCount), info) }
}

/** Noise on the grid of a 16-bit word, different in each channel. */
const noise = (channelCount: number, frameCount: number): Float32Array[] =>
  Array.from({ length: channelCount }, (_, c) =>
    Float32Array.from(
      { length: frameCount },
      (_, n) => (Math.imul(n * channelCount + c + 1, 0x9e3779b1) >> 16) / 32_768,
    ),
  )

describe('a file written by sox', () => {
  const kinds = [
    ['16-bit mono', ['-b', '16', '-c', '1', '-e', 'signed'], 'pcm', 16],
    ['16-bit stereo', ['-b', '16', '-c', '2', '-e', 'signed'], 'pcm', 16],
    ['24-bit mono', ['-b', '24', '-c', '1', '-e', 'signed'], 'pcm', 24],
    ['24-bit with 12 channels', ['-b', '24', '-c', '12', '-e', 'signed'], 'pcm', 24],
    ['32-bit whole numbers', ['-b', '32', '-c', '2', '-e', 'signed'], 'pcm', 32],
    ['32-bit floating point', ['-b', '32', '-c', '3', '-e', 'float'], 'float', 32],
    ['64-bit floating point', ['-b', '64', '-c', '2', '-e', 'float'], 'float', 64],
  ] as const
  // Truth: sox decodes its own file to doubles; both are the same Float32, bit for bit.
  test.for(half(kinds))('as %s reads as sox reads it', ([name, options, encoding, bits], context) => {
    needsTool(context, 'sox')
    const path = at(`sox ${name}.wav`)
    run('sox', '-R', '-n', '-r', '48000', ...options, path, 'synth', '0.05', 'whitenoise', 'vol', '0.9')
    const { info, channels } = readWav(path)
    expect(info).toMatchObject({ encoding, bits, sampleRateHz: 48_000, frameCount: 2400, isCut: false })
    expect(channels).toEqual(fromDoubles(run('sox', path, '-t', 'f64', '-'), info.channelCount))
  })

  test('into a pipe reaches to its end', (context) => {
    needsTool(context, 'sox')
    const path = at('sox pipe.wav')
    const shape = ['-R', '-n', '-r', '48000', '-b', '24', '-c', '3', '-e', 'signed', '-t', 'wav']
    writeFileSync(path, run('sox', ...shape, '-', 'synth', '0.05', 'whitenoise'))
    run('sox', ...shape, at('sox whole.wav'), 'synth', '0.05', 'whitenoise')
    expect(readWav(path).info).toMatchObject({ frameCount: 2400, isCut: false })
    expect(readWav(path).channels).toEqual(readWav(at('sox whole.wav')).channels)
  })

  test('with A-law is named as such', (context) => {
    needsTool(context, 'sox')
    run('sox', '-n', '-r', '8000', '-e', 'a-law', at('alaw.wav'), 'synth', '0.01', 'sine', '997')
    expect(() => readWav(at('alaw.wav'))).toThrow('the WAV file is compressed: it holds A-law')
  })
})

describe('a file written by ffmpeg', () => {
  const source = ['-v', 'error', '-y', '-f', 'lavfi', '-i', 'anoisesrc=d=0.05:r=48000:a=0.9:seed=4']
  const kinds = [
    ['16-bit', ['-c:a', 'pcm_s16le', '-ac', '2'], 2],
    ['24-bit', ['-c:a', 'pcm_s24le', '-ac', '1'], 1],
    ['24-bit with 6 channels', ['-c:a', 'pcm_s24le', '-ac', '6'], 6],
    ['24-bit without its own notes', ['-c:a', 'pcm_s24le', '-ac', '2', '-bitexact'], 2],
    ['32-bit', ['-c:a', 'pcm_s32le', '-ac', '2'], 2],
    ['32-bit floating point', ['-c:a', 'pcm_f32le', '-ac', '2'], 2],
    ['64-bit floating point', ['-c:a', 'pcm_f64le', '-ac', '2'], 2],
    ['RF64', ['-c:a', 'pcm_s24le', '-ac', '2', '-rf64', 'always'], 2],
    ['broadcast notes', ['-c:a', 'pcm_s24le', '-ac', '2', '-write_bext', '1', '-metadata', 'description=odd'], 2],
  ] as const
  // Truth: ffmpeg decodes its own file to doubles; both are the same Float32, bit for bit.
  test.for(half(kinds))('as %s reads as ffmpeg reads it', ([name, options, channelCount], context) => {
    needsTool(context, 'ffmpeg')
    const path = at(`ffmpeg ${name}.wav`)
    run('ffmpeg', ...source, ...options, path)
    const { info, channels } = readWav(path)
    expect(info).toMatchObject({ channelCount, frameCount: 2400, isCut: false })
    expect(channels).toEqual(fromDoubles(run('ffmpeg', '-v', 'error', '-i', path, '-f', 'f64le', '-'), channelCount))
  })

  test('into a pipe reaches to its end', (context) => {
    needsTool(context, 'ffmpeg')
    writeFileSync(at('ffmpeg pipe.wav'), run('ffmpeg', ...source, '-f', 'wav', '-'))
    expect(readWav(at('ffmpeg pipe.wav')).info).toMatchObject({ frameCount: 2400, isCut: false })
  })

  const others = [
    ['flac', 'FLAC'],
    ['mp3', 'MP3'],
    ['m4a', 'MP4 or M4A'],
    ['ogg', 'Ogg'],
    ['aac', 'AAC'],
    ['aiff', 'AIFF'],
    ['w64', 'Wave64'],
    ['caf', 'CAF'],
    ['mka', 'Matroska'],
  ] as const
  test.for(half(others))('as .%s is called %s', ([extension, name], context) => {
    needsTool(context, 'ffmpeg')
    const path = at(`other.${extension}`)
    run('ffmpeg', ...source, ...(extension === 'mp3' ? ['-id3v2_version', '0', '-write_xing', '0'] : []), path)
    expect(() => readWav(path)).toThrow(`this is not a WAV file: it looks like ${name}`)
  })

  test('with ADPCM is named as such', (context) => {
    needsTool(context, 'ffmpeg')
    run('ffmpeg', ...source, '-c:a', 'adpcm_ima_wav', at('adpcm.wav'))
    expect(() => readWav(at('adpcm.wav'))).toThrow('the WAV file is compressed: it holds IMA ADPCM')
  })
})

describe('a file of ours', () => {
  const kinds = [
    [16, 2],
    [16, 1],
    [24, 1],
    [16, 12],
    [24, 12],
    [24, 2],
    [32, 12],
    [32, 2],
  ] as const
  // Truth: the samples that went in lie on a 16-bit grid, so every word holds them exactly. 1001 frames make an odd
  // number of bytes where a word has three.
  test.for(half(kinds))(
    'of %i bits and %i channels holds the same samples for sox and for ffmpeg',
    ([bits, channelCount], context) => {
      needsTool(context, 'sox', 'ffmpeg')
      const channels = noise(channelCount, 1001)
      const encoding = bits === 32 ? 'float' : 'pcm'
      const path = at(`ours ${bits} ${channelCount}.wav`)
      // The first round is a finished file, the second what a killed run leaves: sizes unknown, with room for long ones.
      for (const frameCount of [1001, null]) {
        const hasRoomForLongSizes = frameCount === null
        const header = wavHeader({
          sampleRateHz: 48_000,
          channelCount,
          bits,
          encoding,
          frameCount,
          hasRoomForLongSizes,
        })
        const samples = encodeFrames(channels, bits, null)
        const pad = frameCount === null ? 0 : samples.length % 2
        writeFileSync(path, Buffer.concat([header, samples, Buffer.alloc(pad)]))
        expect(readWav(path).channels).toEqual(channels)
        expect(readWav(path).info.isCut).toBe(false)
        expect(fromDoubles(run('sox', path, '-t', 'f64', '-'), channelCount)).toEqual(channels)
        expect(fromDoubles(run('ffmpeg', '-v', 'error', '-i', path, '-f', 'f64le', '-'), channelCount)).toEqual(
          channels,
        )
      }
    },
  )

  // Truth: closed form (Lipshitz, Wannamaker, Vanderkooy, JAES 40(5), 1992): 93.319 dB for a full-scale sine in 16 bits, and 3.01 dB more
  // for the sine's peak: idle noise is -93.319 dBFS, which sox, by rms, calls -96.33. Its noise figure has two decimals,
  // and 96 000 samples spread by 20 lg(1 + 1 / sqrt(2 N)) = 0.02 dB: five of them.
  test('with nothing but dither has the noise that theory gives, by the statistics of sox', (context) => {
    needsTool(context, 'sox')
    writeFileSync(at('idle.wav'), encodeWav({ sampleRateHz: 48_000, channels: [new Float32Array(96_000)] }, 16, 11))
    // sox prints its statistics on standard error.
    const says = execFileSync('sh', ['-c', 'sox "$0" -n stats 2>&1', at('idle.wav')]).toString()
    const rmsDb = Number(/RMS lev dB\s+(\S+)/.exec(says)?.[1])
    expect(Math.abs(rmsDb - (-93.319 - 3.0103))).toBeLessThan(0.1)
  })
})
