/**
 * Reads a recording from disk: in pieces, straight into the samples, so that memory stays near the samples' own size.
 *
 * A recording that was cut short is read as far as it goes and says so; what it is good for is judged later.
 */
import { createHash } from 'node:crypto'
import { type FileHandle, open } from 'node:fs/promises'
import type { Audio } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { decodeFramesInto, frameByteCountOf } from '../wav/decode.js'
import { scanWavHeader, type WavInfo } from '../wav/read-header.js'
import { stopFromFileError } from './file-errors.js'

export interface Recording {
  readonly audio: Audio
  readonly info: WavInfo
  /** Of the whole file, in hex. */
  readonly sha256: string
}

const PIECE_BYTE_COUNT = 4 * 2 ** 20
const HEAD_BYTE_COUNT = 64 * 2 ** 10
/** Notes and pictures may stand before the samples; beyond this it is no recording. */
const HEAD_BYTE_COUNT_MAX = 64 * 2 ** 20
/** 2 GiB: a quarter of an hour of 12 inputs at 48 kHz. A track takes less than one minute. */
const SAMPLES_BYTE_COUNT_MAX = 2 ** 31

/**
 * Reads a WAV file.
 *
 * @param path as the person wrote it; it stands in messages
 * @throws StopError when there is no such file, it cannot be read, is no WAV, or is far too long
 */
export async function readRecording(path: string, signal?: AbortSignal): Promise<Recording> {
  signal?.throwIfAborted()
  let file: FileHandle | null = null
  try {
    file = await open(path, 'r')
    return await readOpen(file, path, signal)
  } catch (error) {
    throw stopFromFileError(error, path, 'read')
  } finally {
    await file?.close()
  }
}

async function readOpen(file: FileHandle, path: string, signal: AbortSignal | undefined): Promise<Recording> {
  const stat = await file.stat()
  if (stat.isDirectory()) throw new StopError('this is a folder', path, 'Name the WAV file in it.')
  if (!stat.isFile()) throw new StopError('this is not an ordinary file', path, 'Name a WAV file.')
  const info = await readHeader(file, path, stat.size)
  const samplesByteCount = 4 * info.channelCount * info.frameCount
  if (samplesByteCount > SAMPLES_BYTE_COUNT_MAX) {
    const minutes = (info.frameCount / info.sampleRateHz / 60).toFixed(0)
    throw new StopError(
      `the recording holds ${info.channelCount} channels of ${minutes} minutes, far more than one track`,
      path,
      'Cut out the part that holds the track.',
    )
  }
  const channels = Array.from({ length: info.channelCount }, () => sharedSamples(info.frameCount))
  const sha256 = await readSamples(file, info, channels, stat.size, signal)
  if (info.encoding === 'float' && channels.some((channel) => !holdsNumbers(channel))) {
    throw new StopError(
      'the recording holds samples that are no numbers',
      path,
      'Record it again, with whole numbers of 16 or 24 bits.',
    )
  }
  return { audio: { sampleRateHz: info.sampleRateHz, channels }, info, sha256 }
}

async function readHeader(file: FileHandle, path: string, fileByteCount: number): Promise<WavInfo> {
  let wantByteCount = Math.min(HEAD_BYTE_COUNT, fileByteCount)
  for (;;) {
    const head = new Uint8Array(wantByteCount)
    const readByteCount = await readFully(file, head, 0)
    const found = scanWavHeader(
      head.subarray(0, readByteCount),
      path,
      readByteCount < wantByteCount ? readByteCount : fileByteCount,
    )
    if (typeof found !== 'number') return found
    if (found > HEAD_BYTE_COUNT_MAX) {
      throw new StopError(
        'the file holds no audio data in its first 64 MiB',
        path,
        'Record it again, or name another file.',
      )
    }
    wantByteCount = Math.min(Math.max(2 * wantByteCount, found), fileByteCount)
  }
}

/** In memory that worker threads see too. */
const sharedSamples = (count: number): Float32Array =>
  new Float32Array(new SharedArrayBuffer(Float32Array.BYTES_PER_ELEMENT * count))

/** Reads the whole file once, in pieces: every byte into the checksum, the samples into the channels. */
async function readSamples(
  file: FileHandle,
  info: WavInfo,
  channels: readonly Float32Array[],
  fileByteCount: number,
  signal: AbortSignal | undefined,
): Promise<string> {
  const hash = createHash('sha256')
  const frameByteCount = frameByteCountOf(info)
  const dataEnd = info.dataStart + info.dataByteCount
  // Two buffers: while one is worked on, the next piece is on its way.
  const pieceByteCount = frameByteCount * Math.max(1, Math.floor(PIECE_BYTE_COUNT / frameByteCount))
  const buffers = [new Uint8Array(pieceByteCount), new Uint8Array(pieceByteCount)]
  const pieceAt = (start: number, turn: number): Promise<number> => {
    const end = start < info.dataStart ? info.dataStart : start < dataEnd ? dataEnd : fileByteCount
    return readFully(file, buffers[turn % 2].subarray(0, Math.min(pieceByteCount, end - start)), start)
  }
  let atByte = 0
  let coming = pieceAt(0, 0)
  for (let turn = 0; atByte < fileByteCount; turn++) {
    const byteCount = await coming
    signal?.throwIfAborted()
    if (byteCount === 0) break // the file has shrunk since it was opened
    const piece = buffers[turn % 2].subarray(0, byteCount)
    const start = atByte
    atByte += byteCount
    if (atByte < fileByteCount) coming = pieceAt(atByte, turn + 1)
    hash.update(piece)
    if (start >= info.dataStart && start < dataEnd) {
      const whole = piece.subarray(0, piece.length - (piece.length % frameByteCount))
      decodeFramesInto(channels, (start - info.dataStart) / frameByteCount, whole, info)
    }
  }
  return hash.digest('hex')
}

/** Fills the buffer from a position in the file; fewer bytes only at the file's end. */
async function readFully(file: FileHandle, buffer: Uint8Array, position: number): Promise<number> {
  let filled = 0
  while (filled < buffer.length) {
    const { bytesRead } = await file.read(buffer, filled, buffer.length - filled, position + filled)
    if (bytesRead === 0) break
    filled += bytesRead
  }
  return filled
}

/** One sum is enough: a sample that is infinite or no number makes it so too. */
function holdsNumbers(samples: Float32Array): boolean {
  let sum = 0
  for (const sample of samples) sum += sample
  return Number.isFinite(sum)
}
