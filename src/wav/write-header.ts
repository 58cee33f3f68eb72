/**
 * Builds the header of a WAV file, for a file that is written whole and for one that is written as samples come.
 *
 * More than two channels or more than 16 bits get the extensible format, as its definition asks; beyond 4 GiB the file
 * becomes RF64 (ITU-R BS.2088-1). Speaker positions are given for mono and stereo only: a line output is no position.
 */

export interface WavSpec {
  readonly sampleRateHz: number
  readonly channelCount: number
  readonly bits: 16 | 24 | 32
  readonly encoding: 'pcm' | 'float'
  /** null: not known yet; a reader takes the samples up to the end of the file. */
  readonly frameCount: number | null
  /** Keeps room for long sizes, so that header lengths are equal whether or not the file passes 4 GiB. */
  readonly hasRoomForLongSizes: boolean
}

const UNKNOWN_32 = 0xffff_ffff
const LONG_SIZES_BYTE_COUNT = 28
const GUID_TAIL = [0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71]
const SPEAKERS = [0, 0x4, 0x3] // front centre; front left and right

/** Bytes of the samples, without the pad byte. */
export const wavDataByteCount = (spec: WavSpec, frameCount: number): number =>
  (frameCount * spec.channelCount * spec.bits) / 8

/** Chunks have an even length in the file: 1 where a byte has to follow the samples. */
export const wavPadByteCount = (spec: WavSpec, frameCount: number): number => wavDataByteCount(spec, frameCount) % 2

/**
 * All bytes in front of the samples.
 *
 * @throws RangeError for a count or rate that no header can hold, or more than 4 GiB without room for long sizes
 */
export function wavHeader(spec: WavSpec): Uint8Array {
  const { channelCount, sampleRateHz, bits, frameCount } = spec
  if (!Number.isInteger(channelCount) || channelCount < 1 || channelCount > 0xffff) {
    throw new RangeError(`wavHeader: ${channelCount} channels, want 1 to 65535`)
  }
  if (!Number.isInteger(sampleRateHz) || sampleRateHz < 1 || sampleRateHz > 0xffff_ffff) {
    throw new RangeError(`wavHeader: ${sampleRateHz} Hz, want a whole number of at least 1`)
  }
  const isFloat = spec.encoding === 'float'
  if (isFloat !== (bits === 32))
    throw new RangeError(`wavHeader: ${bits}-bit ${spec.encoding}, want PCM 16, 24 or float 32`)

  const isExtensible = channelCount > 2 || (!isFloat && bits > 16)
  const formatByteCount = isExtensible ? 40 : isFloat ? 18 : 16
  const byteCount =
    12 + (spec.hasRoomForLongSizes ? 8 + LONG_SIZES_BYTE_COUNT : 0) + 8 + formatByteCount + (isFloat ? 12 : 0) + 8
  const dataByteCount = frameCount === null ? null : wavDataByteCount(spec, frameCount)
  const riffByteCount = dataByteCount === null ? null : byteCount - 8 + dataByteCount + (dataByteCount % 2)
  const isLong = riffByteCount !== null && riffByteCount > UNKNOWN_32 - 1
  if (isLong && !spec.hasRoomForLongSizes) throw new RangeError(`wavHeader: ${riffByteCount} bytes need RF64`)

  const put = new Writer(byteCount)
  put.text(isLong ? 'RF64' : 'RIFF')
  put.u32(isLong || riffByteCount === null ? UNKNOWN_32 : riffByteCount)
  put.text('WAVE')
  if (spec.hasRoomForLongSizes) {
    put.text(isLong ? 'ds64' : 'JUNK')
    put.u32(LONG_SIZES_BYTE_COUNT)
    put.u64(isLong ? riffByteCount! : 0)
    put.u64(isLong ? dataByteCount! : 0)
    put.u64(isLong ? frameCount! : 0)
    put.u32(0)
  }
  put.text('fmt ')
  put.u32(formatByteCount)
  const tag = isFloat ? 3 : 1
  put.u16(isExtensible ? 0xfffe : tag)
  put.u16(channelCount)
  put.u32(sampleRateHz)
  put.u32((sampleRateHz * channelCount * bits) / 8)
  put.u16((channelCount * bits) / 8)
  put.u16(bits)
  if (isExtensible) {
    put.u16(22)
    put.u16(bits)
    put.u32(SPEAKERS[channelCount] ?? 0)
    put.u16(tag)
    for (const byte of GUID_TAIL) put.u8(byte)
  } else if (isFloat) put.u16(0)
  if (isFloat) {
    put.text('fact')
    put.u32(4)
    put.u32(Math.min(frameCount ?? UNKNOWN_32, UNKNOWN_32))
  }
  put.text('data')
  put.u32(isLong || dataByteCount === null ? UNKNOWN_32 : dataByteCount)
  return put.bytes
}

/** Little-endian fields, one after the other. */
class Writer {
  readonly bytes: Uint8Array
  private readonly view: DataView
  private at = 0

  constructor(byteCount: number) {
    this.bytes = new Uint8Array(byteCount)
    this.view = new DataView(this.bytes.buffer)
  }

  text(text: string): void {
    for (const character of text) this.u8(character.charCodeAt(0))
  }

  u8(value: number): void {
    this.view.setUint8(this.at, value)
    this.at += 1
  }

  u16(value: number): void {
    this.view.setUint16(this.at, value, true)
    this.at += 2
  }

  u32(value: number): void {
    this.view.setUint32(this.at, value, true)
    this.at += 4
  }

  u64(value: number): void {
    this.view.setBigUint64(this.at, BigInt(value), true)
    this.at += 8
  }
}
