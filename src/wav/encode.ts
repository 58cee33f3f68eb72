/**
 * Turns channels of samples into the bytes of a WAV file.
 *
 * Convention: 1 is digital full scale, 2^(bits - 1) steps; the topmost step does not exist in whole numbers, so +1 is
 * written one step lower. Beyond full scale samples are held at the limit.
 */
import { type Audio, frameCountOf } from '../units/audio.js'
import { tpdfDither } from './dither.js'
import { type WavSpec, wavDataByteCount, wavHeader, wavPadByteCount } from './write-header.js'

/**
 * A whole WAV file, rounded with TPDF dither.
 *
 * @param seed of the dither; the same audio and seed give the same bytes
 * @throws RangeError when channels are missing or differ in length
 */
export function encodeWav(audio: Audio, bits: 16 | 24, seed: number): Uint8Array {
  const frameCount = frameCountOf(audio)
  const spec: WavSpec = {
    sampleRateHz: audio.sampleRateHz,
    channelCount: audio.channels.length,
    bits,
    encoding: 'pcm',
    frameCount,
    hasRoomForLongSizes: false,
  }
  const header = wavHeader(spec)
  const bytes = new Uint8Array(header.length + wavDataByteCount(spec, frameCount) + wavPadByteCount(spec, frameCount))
  bytes.set(header)
  encodeFramesInto(bytes, header.length, audio.channels, bits, tpdfDither(seed))
  return bytes
}

/**
 * Samples as interleaved little-endian bytes: whole numbers for 16 and 24 bits, floating point for 32.
 *
 * Without dither, samples that came from a word of this size keep their exact value.
 *
 * @param channels equal lengths
 * @throws RangeError when channels differ in length
 */
export function encodeFrames(
  channels: readonly Float32Array[],
  bits: 16 | 24 | 32,
  dither: (() => number) | null,
): Uint8Array {
  const bytes = new Uint8Array(((channels[0]?.length ?? 0) * channels.length * bits) / 8)
  encodeFramesInto(bytes, 0, channels, bits, dither)
  return bytes
}

function encodeFramesInto(
  bytes: Uint8Array,
  start: number,
  channels: readonly Float32Array[],
  bits: 16 | 24 | 32,
  dither: (() => number) | null,
): void {
  const frameCount = channels[0]?.length ?? 0
  if (channels.some((channel) => channel.length !== frameCount)) {
    throw new RangeError(
      `encodeFrames: channels of ${channels.map((channel) => channel.length)} samples, want equal lengths`,
    )
  }
  const sampleByteCount = bits / 8
  const stride = sampleByteCount * channels.length
  channels.forEach((channel, c) => {
    const offset = start + c * sampleByteCount
    if (bits === 32) writeFloats(bytes, offset, stride, channel)
    else writeSteps(bytes, offset, stride, channel, bits, dither ?? noDither)
  })
}

const noDither = (): number => 0

function writeSteps(
  bytes: Uint8Array,
  offset: number,
  stride: number,
  samples: Float32Array,
  bits: 16 | 24,
  dither: () => number,
): void {
  const stepCount = 2 ** (bits - 1)
  for (let n = 0, at = offset; n < samples.length; n++, at += stride) {
    const wanted = Math.floor(samples[n] * stepCount + dither() + 0.5)
    const step = wanted < -stepCount ? -stepCount : wanted >= stepCount ? stepCount - 1 : wanted
    bytes[at] = step
    bytes[at + 1] = step >> 8
    if (bits === 24) bytes[at + 2] = step >> 16
  }
}

function writeFloats(bytes: Uint8Array, offset: number, stride: number, samples: Float32Array): void {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  for (let n = 0, at = offset; n < samples.length; n++, at += stride) view.setFloat32(at, samples[n], true)
}
