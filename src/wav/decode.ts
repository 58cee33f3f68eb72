/**
 * Turns the bytes of a WAV's samples into one Float32Array for each channel, and back to nothing else.
 *
 * Convention: whole numbers are divided by 2^(bits - 1), so -1 is reached and +1 just not; 16- and 24-bit samples are
 * held exactly, 32-bit ones are rounded to 24 bits of mantissa. Floating point is taken as it is.
 */
import type { WavInfo } from './read-header.js'

export type SampleFormat = Pick<WavInfo, 'channelCount' | 'bits' | 'encoding'>

/** Frames converted at a time: the bytes of one run stay in the nearest cache while each channel walks over them. */
const RUN_FRAME_COUNT = 512

/** Bytes of one sample of every channel. */
export const frameByteCountOf = (format: SampleFormat): number => (format.channelCount * format.bits) / 8

/**
 * Decodes a block of whole frames.
 *
 * @param bytes whole frames, interleaved, little-endian
 * @returns one array for each channel
 * @throws RangeError when the bytes do not end with a frame
 */
export function decodeFrames(bytes: Uint8Array, format: SampleFormat): Float32Array[] {
  const frameCount = bytes.length / frameByteCountOf(format)
  const channels = Array.from({ length: format.channelCount }, () => new Float32Array(Math.floor(frameCount)))
  decodeFramesInto(channels, 0, bytes, format)
  return channels
}

/**
 * Same, into arrays that exist.
 *
 * @param channels one array for each channel, with room for the frames from atFrame on
 * @throws RangeError when the bytes do not end with a frame, or the arrays do not fit
 */
export function decodeFramesInto(
  channels: readonly Float32Array[],
  atFrame: number,
  bytes: Uint8Array,
  format: SampleFormat,
): void {
  const frameByteCount = frameByteCountOf(format)
  const frameCount = bytes.length / frameByteCount
  if (!Number.isInteger(frameCount)) {
    throw new RangeError(`decodeFramesInto: ${bytes.length} bytes, want a multiple of ${frameByteCount}`)
  }
  if (channels.length !== format.channelCount || channels.some((channel) => channel.length < atFrame + frameCount)) {
    throw new RangeError(`decodeFramesInto: no room for ${format.channelCount} × ${frameCount} samples at ${atFrame}`)
  }
  const decodeRun = format.encoding === 'float' ? FLOAT_RUNS[format.bits === 64 ? 64 : 32] : PCM_RUNS[pcmBits(format)]
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  for (let run = 0; run < frameCount; run += RUN_FRAME_COUNT) {
    const runEnd = Math.min(run + RUN_FRAME_COUNT, frameCount)
    for (let c = 0; c < format.channelCount; c++) {
      const offset = run * frameByteCount + (c * format.bits) / 8
      decodeRun(channels[c], atFrame + run, atFrame + runEnd, bytes, view, offset, frameByteCount)
    }
  }
}

type DecodeRun = (
  target: Float32Array,
  from: number,
  to: number,
  bytes: Uint8Array,
  view: DataView,
  offset: number,
  stride: number,
) => void

/** A power of two: multiplying by it is as exact as dividing, and faster. */
const FROM_32_BITS = 2 ** -31

const PCM_RUNS: Record<16 | 24 | 32, DecodeRun> = {
  16: (target, from, to, bytes, _view, offset, stride) => {
    for (let n = from, at = offset; n < to; n++, at += stride) {
      target[n] = ((bytes[at] << 16) | (bytes[at + 1] << 24)) * FROM_32_BITS
    }
  },
  24: (target, from, to, bytes, _view, offset, stride) => {
    for (let n = from, at = offset; n < to; n++, at += stride) {
      target[n] = ((bytes[at] << 8) | (bytes[at + 1] << 16) | (bytes[at + 2] << 24)) * FROM_32_BITS
    }
  },
  32: (target, from, to, bytes, _view, offset, stride) => {
    for (let n = from, at = offset; n < to; n++, at += stride) {
      target[n] = (bytes[at] | (bytes[at + 1] << 8) | (bytes[at + 2] << 16) | (bytes[at + 3] << 24)) * FROM_32_BITS
    }
  },
}

const FLOAT_RUNS: Record<32 | 64, DecodeRun> = {
  32: (target, from, to, _bytes, view, offset, stride) => {
    for (let n = from, at = offset; n < to; n++, at += stride) target[n] = view.getFloat32(at, true)
  },
  64: (target, from, to, _bytes, view, offset, stride) => {
    for (let n = from, at = offset; n < to; n++, at += stride) target[n] = view.getFloat64(at, true)
  },
}

function pcmBits(format: SampleFormat): 16 | 24 | 32 {
  if (format.bits === 64) throw new RangeError('decodeFramesInto: 64-bit whole numbers, want 16, 24 or 32')
  return format.bits
}
