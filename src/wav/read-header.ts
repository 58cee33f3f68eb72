/**
 * Reads the header of a WAV file: RIFF, RF64 and BW64, by walking its chunks.
 *
 * Convention: nothing is assumed about where the samples start; sizes count bytes, and a frame is one sample of every
 * channel. Sources: Microsoft RIFF multimedia specification, ITU-R BS.2088-1 for RF64 and BW64.
 */
import { StopError } from '../units/stop.js'
import { latin1, looksLike, printable } from './looks-like.js'

export interface WavInfo {
  readonly sampleRateHz: number
  readonly channelCount: number
  /** Size of one sample in the file; fewer valid bits stand at the top of it. */
  readonly bits: 16 | 24 | 32 | 64
  readonly encoding: 'pcm' | 'float'
  readonly dataStart: number
  /** Bytes of whole frames that the file really holds. */
  readonly dataByteCount: number
  readonly frameCount: number
  /** The header promises more samples than the file holds. */
  readonly isCut: boolean
}

interface Format {
  readonly encoding: 'pcm' | 'float'
  readonly channelCount: number
  readonly sampleRateHz: number
  readonly frameByteCount: number
  readonly bits: 16 | 24 | 32 | 64
}

const SAMPLE_RATE_HZ_MIN = 1000
const SAMPLE_RATE_HZ_MAX = 1_000_000
const UNKNOWN_32 = 0xffff_ffff

/** Format tags of compressed WAV files; the numbers are those of the RIFF registry (RFC 2361). */
const COMPRESSED: ReadonlyMap<number, string> = new Map([
  [0x0002, 'Microsoft ADPCM'],
  [0x0006, 'A-law'],
  [0x0007, 'µ-law'],
  [0x0011, 'IMA ADPCM'],
  [0x0031, 'GSM 6.10'],
  [0x0050, 'MPEG layer 1 or 2'],
  [0x0055, 'MP3'],
  [0x00ff, 'AAC'],
  [0x0161, 'WMA'],
  [0x2000, 'AC-3'],
  [0xf1ac, 'FLAC'],
])

/** The last 14 bytes of the sub-format GUIDs; the first two are the format tag. */
const GUID_TAIL = '\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71'

/**
 * Reads the header of a whole file.
 *
 * @param bytes the whole file
 * @param fileName for messages
 * @throws StopError (input) when it is no WAV, ends inside its header, holds no samples or is compressed
 */
export function readWavHeader(bytes: Uint8Array, fileName: string): WavInfo {
  const found = scanWavHeader(bytes, fileName, bytes.length)
  if (typeof found === 'number') throw new RangeError(`readWavHeader: asks for ${found} of ${bytes.length} bytes`)
  return found
}

/**
 * Same for a file of which only the beginning has been read.
 *
 * @param head the file's first bytes
 * @param fileByteCount length of the whole file
 * @returns the header, or the number of bytes from the file's start that it takes to go on
 * @throws StopError as readWavHeader
 */
export function scanWavHeader(head: Uint8Array, fileName: string, fileByteCount: number): WavInfo | number {
  if (head.length < Math.min(12, fileByteCount)) return 12
  const form = latin1(head, 0, 4)
  const isRf64 = form === 'RF64' || form === 'BW64'
  if (!(form === 'RIFF' || isRf64) || (head.length >= 12 && latin1(head, 8, 4) !== 'WAVE')) {
    throw noWav(head, fileName)
  }
  if (head.length < 12) throw cutHeader(fileName, fileByteCount)

  const view = new DataView(head.buffer, head.byteOffset, head.byteLength)
  const riffByteCount = view.getUint32(4, true)
  let wideSizes: ReadonlyMap<string, number> = new Map()
  let format: Format | null = null
  let atByte = 12
  while (atByte + 8 <= fileByteCount) {
    if (atByte + 8 > head.length) return atByte + 8
    const id = latin1(head, atByte, 4)
    const size32 = view.getUint32(atByte + 4, true)
    const start = atByte + 8
    const size = size32 === UNKNOWN_32 ? (wideSizes.get(id) ?? size32) : size32
    if (id === 'data') {
      if (format === null) throw contradiction(fileName, 'its samples come before their format')
      const isUnfinished = size === 0 && 8 + riffByteCount <= start && start < fileByteCount
      return dataOf(format, start, size, isUnfinished, fileByteCount)
    }
    if (id === 'fmt ' || id === 'ds64') {
      const needed = start + Math.min(size, 1024)
      if (needed > fileByteCount) throw cutHeader(fileName, fileByteCount)
      if (needed > head.length) return needed
      const chunk = new DataView(head.buffer, head.byteOffset + start, Math.min(size, 1024))
      if (id === 'fmt ') format = readFormat(chunk, fileName)
      else if (isRf64) wideSizes = readWideSizes(chunk, fileName)
    }
    // Chunks stand on even offsets; the pad byte is not counted in the size.
    atByte = start + size + (size % 2)
  }
  const riffEnd = isRf64 || riffByteCount === UNKNOWN_32 ? atByte : 8 + riffByteCount
  if (atByte !== fileByteCount || riffEnd > fileByteCount) throw cutHeader(fileName, fileByteCount)
  throw new StopError('the file holds no audio data', fileName, 'Record it again, or name another file.')
}

/** Where the samples are, and how many the file really holds. */
function dataOf(
  format: Format,
  dataStart: number,
  statedByteCount: number,
  isUnfinished: boolean,
  fileByteCount: number,
): WavInfo {
  const heldByteCount = fileByteCount - dataStart
  // A program that writes to a pipe can't come back to fill in the size: it leaves all bits set (or, signed, nearly
  // 2 GiB rounded down to whole frames). Such a file ends where it ends.
  const isStreamed =
    statedByteCount === UNKNOWN_32 || (statedByteCount >= 0x7fff_e000 && statedByteCount <= 0x7fff_ffff)
  const isWhole = statedByteCount <= heldByteCount
  const usableByteCount = isWhole && !isUnfinished ? statedByteCount : heldByteCount
  const frameCount = Math.floor(usableByteCount / format.frameByteCount)
  return {
    sampleRateHz: format.sampleRateHz,
    channelCount: format.channelCount,
    bits: format.bits,
    encoding: format.encoding,
    dataStart,
    dataByteCount: frameCount * format.frameByteCount,
    frameCount,
    isCut: isUnfinished || (!isWhole && !isStreamed),
  }
}

function readFormat(chunk: DataView, fileName: string): Format {
  if (chunk.byteLength < 16)
    throw contradiction(fileName, `its format takes ${chunk.byteLength} bytes, at least 16 are due`)
  let tag = chunk.getUint16(0, true)
  if (tag === 0xfffe) {
    if (chunk.byteLength < 40) throw contradiction(fileName, 'its extended format is too short')
    tag = chunk.getUint16(24, true)
    const tail = latin1(new Uint8Array(chunk.buffer, chunk.byteOffset + 26, 14), 0, 14)
    if (tail !== GUID_TAIL) throw compressed(fileName, 'samples of an unknown kind')
  }
  const channelCount = chunk.getUint16(2, true)
  const sampleRateHz = chunk.getUint32(4, true)
  const frameByteCount = chunk.getUint16(12, true)
  const statedBits = chunk.getUint16(14, true)
  if (tag !== 1 && tag !== 3) {
    throw compressed(fileName, COMPRESSED.get(tag) ?? `format ${tag} (0x${tag.toString(16).padStart(4, '0')})`)
  }
  if (channelCount === 0) throw contradiction(fileName, 'it says that it has no channels')
  if (sampleRateHz < SAMPLE_RATE_HZ_MIN || sampleRateHz > SAMPLE_RATE_HZ_MAX) {
    throw contradiction(fileName, `it says that its sample rate is ${sampleRateHz} Hz`)
  }
  const encoding = tag === 1 ? 'pcm' : 'float'
  const bits = 8 * Math.ceil(statedBits / 8)
  if (bits * channelCount !== 8 * frameByteCount) {
    throw contradiction(
      fileName,
      `${channelCount} channels of ${statedBits} bits do not make a frame of ${frameByteCount} bytes`,
    )
  }
  if (encoding === 'pcm' ? bits === 16 || bits === 24 || bits === 32 : bits === 32 || bits === 64) {
    return { encoding, channelCount, sampleRateHz, frameByteCount, bits: bits as Format['bits'] }
  }
  throw new StopError(
    `the file holds ${statedBits}-bit ${encoding === 'pcm' ? 'whole numbers' : 'floating point'}`,
    fileName,
    'Record with 16, 24 or 32 bits (or 32-bit floating point).',
  )
}

/** Sizes that do not fit in 32 bits, by chunk: the data's own and those of the table behind it. */
function readWideSizes(chunk: DataView, fileName: string): ReadonlyMap<string, number> {
  if (chunk.byteLength < 28) throw contradiction(fileName, 'its table of long sizes is too short')
  const sizes = new Map<string, number>()
  const tableLength = chunk.getUint32(24, true)
  for (let row = 0; row < tableLength && 28 + 12 * row + 12 <= chunk.byteLength; row++) {
    const at = 28 + 12 * row
    const id = latin1(new Uint8Array(chunk.buffer, chunk.byteOffset + at, 4), 0, 4)
    sizes.set(id, Number(chunk.getBigUint64(at + 4, true)))
  }
  return sizes.set('data', Number(chunk.getBigUint64(8, true)))
}

function noWav(head: Uint8Array, fileName: string): StopError {
  if (head.length === 0) return new StopError('the file is empty', fileName, 'Record it again, or name another file.')
  const kind = looksLike(head)
  const seen = kind === null ? `it starts with "${printable(latin1(head, 0, 12))}"` : `it looks like ${kind}`
  return new StopError(
    `this is not a WAV file: ${seen}`,
    fileName,
    'Convert it to WAV (16 or 24 bit), or name another file.',
  )
}

const cutHeader = (fileName: string, fileByteCount: number): StopError =>
  new StopError(
    `the file ends inside its header, after ${fileByteCount} bytes`,
    fileName,
    'Copy it again from where it was recorded.',
  )

const contradiction = (fileName: string, what: string): StopError =>
  new StopError(
    `the WAV header is damaged: ${what}`,
    fileName,
    'Copy it again from where it was recorded, or record it again.',
  )

const compressed = (fileName: string, what: string): StopError =>
  new StopError(
    `the WAV file is compressed: it holds ${what}`,
    fileName,
    'Record uncompressed PCM: a converted file has already lost what is to be measured.',
  )
