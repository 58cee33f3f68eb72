import { execFileSync } from 'node:child_process'
import {
  closeSync,
  constants,
  existsSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, test } from 'vitest'
import { stopFromFileError } from '../../src/instruments/file-errors.js'
import { readRecording } from '../../src/instruments/recording.js'
import { partPath, TakeFile, writeWavFile } from '../../src/instruments/take-file.js'
import { StopError } from '../../src/units/stop.js'
import { encodeWav } from '../../src/wav/encode.js'

const folder = mkdtempSync(join(tmpdir(), 'linetrue-take-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))
const at = (name: string): string => join(folder, name)

const noise = (channelCount: number, frameCount: number, bits: number): Float32Array[] =>
  Array.from({ length: channelCount }, (_, c) =>
    Float32Array.from(
      { length: frameCount },
      (_, n) => (Math.imul(n * channelCount + c + 1, 0x9e3779b1) >> (32 - bits)) / 2 ** (bits - 1),
    ),
  )
const part = (channels: Float32Array[], from: number, to: number): Float32Array[] =>
  channels.map((channel) => channel.subarray(from, to))

describe('a take', () => {
  // Truth: the samples that went in. 24-bit mono with an odd count needs a pad byte.
  test.each([
    [16, 2, 1000],
    [24, 1, 1001],
    [24, 12, 1001],
    [32, 3, 1000],
  ] as const)(
    'of %i bits and %i channels holds its blocks one after the other',
    async (bits, channelCount, frameCount) => {
      const path = at(`take ${bits} ${channelCount}.wav`)
      // Floats hold 24 bits; a 32-bit take keeps all of them.
      const channels = noise(channelCount, frameCount, Math.min(bits, 24))
      const take = await TakeFile.create(path, { sampleRateHz: 96_000, channelCount, bits })
      for (const [from, to] of [
        [0, 1],
        [1, 400],
        [400, 400],
        [400, frameCount],
      ]) {
        take.append(part(channels, from, to))
      }
      expect(take.durationS).toBe(frameCount / 96_000)
      await take.finish()
      const { audio, info } = await readRecording(path)
      expect(audio.channels).toEqual(channels)
      expect(info).toMatchObject({ sampleRateHz: 96_000, bits, isCut: false, frameCount })
      const bytes = readFileSync(path)
      expect(bytes.readUInt32LE(4)).toBe(bytes.length - 8)
      expect(existsSync(partPath(path))).toBe(false)
    },
  )

  test('that was never finished stands aside and can be read as far as it came', async () => {
    const path = at('killed.wav')
    const channels = noise(2, 500, 24)
    const take = await TakeFile.create(path, { sampleRateHz: 48_000, channelCount: 2, bits: 24 })
    take.append(channels)
    // What a killed run leaves: the blocks are on disk, the sizes are not.
    await expect.poll(() => readFileSync(partPath(path)).length).toBeGreaterThan(3000)
    expect(existsSync(path)).toBe(false)
    const { audio, info } = await readRecording(partPath(path))
    expect(audio.channels).toEqual(channels)
    expect(info.isCut).toBe(false)
    await take.discard()
    expect(existsSync(partPath(path))).toBe(false)
  })

  test('takes the place of an earlier one only when it is finished', async () => {
    const path = at('again.wav')
    writeFileSync(path, 'earlier')
    const take = await TakeFile.create(path, { sampleRateHz: 48_000, channelCount: 1, bits: 16 })
    take.append(noise(1, 10, 16))
    expect(readFileSync(path, 'utf8')).toBe('earlier')
    await take.finish()
    expect((await readRecording(path)).info.frameCount).toBe(10)
  })

  test('refuses blocks of another width, and blocks after its end', async () => {
    const take = await TakeFile.create(at('refuse.wav'), { sampleRateHz: 48_000, channelCount: 2, bits: 16 })
    expect(() => take.append(noise(3, 10, 16))).toThrow(RangeError('TakeFile.append: 3 channels, want 2'))
    await take.finish()
    expect(() => take.append(noise(2, 10, 16))).toThrow(RangeError('TakeFile.append: the take is finished'))
  })

  test('in a folder that is not there stops with a line', async () => {
    const format = { sampleRateHz: 48_000, channelCount: 2, bits: 16 } as const
    await expect(TakeFile.create(at('nowhere/take.wav'), format)).rejects.toThrow(
      `there is no such folder (${at('nowhere/take.wav')}). Make the folder, or name another.`,
    )
  })

  // A pipe that nobody reads any more stands for a disk that fails in the middle of a take.
  test('on a disk that fails says so at once, and again at its end', async () => {
    const path = at('broken.wav')
    execFileSync('mkfifo', [partPath(path)])
    const reader = openSync(partPath(path), constants.O_RDONLY | constants.O_NONBLOCK)
    const failures: StopError[] = []
    const format = { sampleRateHz: 48_000, channelCount: 2, bits: 16 } as const
    const take = await TakeFile.create(path, format, (error) => failures.push(error))
    closeSync(reader)
    take.append(noise(2, 10, 16))
    take.append(noise(2, 10, 16))
    await expect.poll(() => failures.length).toBe(1)
    const error = await take.finish().catch((reason: unknown) => reason)
    expect(error).toBe(failures[0])
    expect((error as StopError).message).toBe(
      `the file cannot be written: EPIPE (${path}). Check the disk, or name another folder.`,
    )
    expect(existsSync(path)).toBe(false)
  })

  // /dev/full takes nothing: every write to it fails as on a full disk.
  test.skipIf(!existsSync('/dev/full'))('on a full disk stops with a line', async () => {
    const path = at('full.wav')
    symlinkSync('/dev/full', partPath(path))
    const format = { sampleRateHz: 48_000, channelCount: 2, bits: 16 } as const
    const error = await TakeFile.create(path, format).catch((reason: unknown) => reason)
    expect(error).toBeInstanceOf(StopError)
    expect((error as StopError).message).toBe(`the disk is full (${path}). Free some space; finished takes are kept.`)
    expect((error as StopError).kind).toBe('instrument')
  })
})

describe('a WAV file written whole', () => {
  const audio = { sampleRateHz: 48_000, channels: noise(2, 100, 16) }

  test('is the encoded audio, with nothing left beside it', async () => {
    const path = at('whole.wav')
    await writeWavFile(path, audio, 24, 9)
    expect(readFileSync(path).equals(encodeWav(audio, 24, 9))).toBe(true)
    expect(readdirSync(folder)).not.toContain('whole.wav.part')
  })

  test('leaves what was there when it cannot be written', async () => {
    mkdirSync(at('taken.wav/inside'), { recursive: true })
    const error = await writeWavFile(at('taken.wav'), audio, 16, 1).catch((reason: unknown) => reason)
    expect(error).toBeInstanceOf(StopError)
    expect((error as StopError).message).toBe(`this is a folder (${at('taken.wav')}). Name a file.`)
    expect(readdirSync(folder)).not.toContain('taken.wav.part')
  })
})

describe('what the system says of a file', () => {
  const fault = (code: string): Error => Object.assign(new Error(`${code}: …`), { code, syscall: 'write' })

  test.each([
    ['ENOSPC', 'the disk is full (a.wav). Free some space; finished takes are kept.', 'instrument'],
    ['EROFS', 'the disk is read-only (a.wav). Name a folder on another disk.', 'instrument'],
    [
      'EACCES',
      'no permission to write here (a.wav). Give yourself the right to write, or name another folder.',
      'input',
    ],
    ['EIO', 'the file cannot be written: EIO (a.wav). Check the disk, or name another folder.', 'instrument'],
  ] as const)('as %s becomes one line', (code, says, kind) => {
    const stop = stopFromFileError(fault(code), 'a.wav', 'write')
    expect(stop).toBeInstanceOf(StopError)
    expect((stop as StopError).message).toBe(says)
    expect((stop as StopError).kind).toBe(kind)
  })

  test('leaves faults of the program alone', () => {
    const error = new RangeError('x')
    expect(stopFromFileError(error, 'a.wav', 'read')).toBe(error)
  })
})
