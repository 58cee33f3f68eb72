import { createHash } from 'node:crypto'
import { chmodSync, mkdirSync, mkdtempSync, rmSync, truncateSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, test } from 'vitest'
import { readRecording } from '../../src/instruments/recording.js'
import { StopError } from '../../src/units/stop.js'
import { encodeFrames } from '../../src/wav/encode.js'
import { type WavSpec, wavHeader } from '../../src/wav/write-header.js'
import { asNobody } from '../nobody.js'

const folder = mkdtempSync(join(tmpdir(), 'linetrue-recording-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))
const at = (name: string): string => join(folder, name)

/** Noise on the grid of a 24-bit word. */
const noise = (channelCount: number, frameCount: number): Float32Array[] =>
  Array.from({ length: channelCount }, (_, c) =>
    Float32Array.from(
      { length: frameCount },
      (_, n) => (Math.imul(n * channelCount + c + 1, 0x9e3779b1) >> 8) / 2 ** 23,
    ),
  )

function wavOf(channels: Float32Array[], bits: 16 | 24 | 32 = 24, before: Uint8Array = new Uint8Array(0)): Buffer {
  const spec: WavSpec = {
    sampleRateHz: 48_000,
    channelCount: channels.length,
    bits,
    encoding: bits === 32 ? 'float' : 'pcm',
    frameCount: channels[0].length,
    hasRoomForLongSizes: false,
  }
  const header = Buffer.from(wavHeader(spec))
  const samples = encodeFrames(channels, bits, null)
  return Buffer.concat([header.subarray(0, 12), before, header.subarray(12), samples, Buffer.alloc(samples.length % 2)])
}

async function stopOf(work: Promise<unknown>): Promise<StopError> {
  const error = await work.then(
    () => null,
    (reason: unknown) => reason,
  )
  expect(error).toBeInstanceOf(StopError)
  return error as StopError
}

describe('a recording', () => {
  // Truth: what was written. 400 000 frames of 5 channels of 24 bits are 6 MB: two pieces, and a frame of 15 bytes does
  // not divide a piece.
  test('larger than one piece gives every sample, its checksum and its format', async () => {
    const channels = noise(5, 400_000)
    const bytes = wavOf(channels)
    writeFileSync(at('large.wav'), bytes)
    const { audio, info, sha256 } = await readRecording(at('large.wav'))
    expect(audio.sampleRateHz).toBe(48_000)
    expect(audio.channels.length).toBe(5)
    channels.forEach((channel, c) => {
      expect(Buffer.from(audio.channels[c].buffer).equals(Buffer.from(channel.buffer))).toBe(true)
    })
    expect(info).toMatchObject({ bits: 24, encoding: 'pcm', frameCount: 400_000, isCut: false })
    expect(sha256).toBe(createHash('sha256').update(bytes).digest('hex'))
  })

  test('with a long note before its samples is read all the same', async () => {
    const note = Buffer.alloc(8 + 300_000, 'x')
    note.write('note', 0)
    note.writeUInt32LE(300_000, 4)
    const channels = noise(2, 1000)
    writeFileSync(at('note.wav'), wavOf(channels, 16, note))
    const { audio, info } = await readRecording(at('note.wav'))
    expect(info.dataStart).toBe(44 + note.length)
    expect(audio.channels[0].length).toBe(1000)
    // A 16-bit word: half a step of rounding.
    expect(Math.abs(audio.channels[1][999] - channels[1][999])).toBeLessThanOrEqual(2 ** -16)
  })

  test('that was cut in its samples is read as far as it goes, and says so', async () => {
    const channels = noise(2, 1000)
    writeFileSync(at('cut.wav'), wavOf(channels))
    truncateSync(at('cut.wav'), 68 + 6 * 700 + 4)
    const { audio, info } = await readRecording(at('cut.wav'))
    expect(info.isCut).toBe(true)
    expect(audio.channels.map((channel) => channel.length)).toEqual([700, 700])
    expect(audio.channels[1]).toEqual(channels[1].subarray(0, 700))
  })

  test('with no samples at all is read as such', async () => {
    writeFileSync(at('none.wav'), wavOf([new Float32Array(0), new Float32Array(0)]))
    expect((await readRecording(at('none.wav'))).audio.channels).toEqual([new Float32Array(0), new Float32Array(0)])
  })

  test('is not read when the run was stopped', async () => {
    writeFileSync(at('stopped.wav'), wavOf(noise(1, 10)))
    const reason = new Error('Ctrl-C')
    await expect(readRecording(at('stopped.wav'), AbortSignal.abort(reason))).rejects.toBe(reason)
  })
})

describe('one clear line', () => {
  test('for a file that is not there', async () => {
    const error = await stopOf(readRecording(at('nothing.wav')))
    expect(error.message).toBe(`there is no such file (${at('nothing.wav')}). Check the path.`)
    expect(error.kind).toBe('input')
  })

  test('for a path through a file', async () => {
    writeFileSync(at('plain'), 'x')
    expect((await stopOf(readRecording(at('plain/a.wav')))).what).toBe('a part of the path is no folder')
  })

  test('for a folder', async () => {
    mkdirSync(at('folder'))
    expect((await stopOf(readRecording(at('folder')))).message).toBe(
      `this is a folder (${at('folder')}). Name the WAV file in it.`,
    )
  })

  test('for something that is no ordinary file', async () => {
    expect((await stopOf(readRecording('/dev/null'))).what).toBe('this is not an ordinary file')
  })

  test('for an empty file, a text, and a file cut in its header', async () => {
    writeFileSync(at('empty.wav'), '')
    writeFileSync(at('text.wav'), 'name: job\n')
    writeFileSync(at('header.wav'), wavOf(noise(1, 10)).subarray(0, 40))
    expect((await stopOf(readRecording(at('empty.wav')))).what).toBe('the file is empty')
    expect((await stopOf(readRecording(at('text.wav')))).what).toBe('this is not a WAV file: it looks like text')
    expect((await stopOf(readRecording(at('header.wav')))).what).toBe('the file ends inside its header, after 40 bytes')
  })

  test('for samples that are no numbers', async () => {
    const channels = noise(2, 10)
    channels[1][7] = Number.NaN
    writeFileSync(at('nan.wav'), wavOf(channels, 32))
    expect((await stopOf(readRecording(at('nan.wav')))).what).toBe('the recording holds samples that are no numbers')
  })

  test('for a recording of hours, before memory is asked for it', async () => {
    const spec: WavSpec = {
      sampleRateHz: 48_000,
      channelCount: 12,
      bits: 16,
      encoding: 'pcm',
      frameCount: 48_000 * 3600,
      hasRoomForLongSizes: false,
    }
    writeFileSync(at('hours.wav'), wavHeader(spec))
    // A sparse file: its length is promised, its bytes take no room.
    truncateSync(at('hours.wav'), wavHeader(spec).length + 48_000 * 3600 * 24)
    expect((await stopOf(readRecording(at('hours.wav')))).message).toBe(
      `the recording holds 12 channels of 60 minutes, far more than one track (${at('hours.wav')}). Cut out the part that holds the track.`,
    )
  })

  test('for a file that may not be read', async () => {
    writeFileSync(at('secret.wav'), wavOf(noise(1, 10)))
    chmodSync(at('secret.wav'), 0)
    const error = await asNobody(() => stopOf(readRecording(at('secret.wav'))))
    expect(error.what).toBe('no permission to read the file')
  })
})
