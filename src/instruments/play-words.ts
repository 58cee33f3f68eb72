/**
 * Samples as interleaved little-endian words for a player's tool.
 *
 * Convention: 1 is full scale, 2^31 steps, so every 24-bit sample is exact in 32 bits. A card of 16 bits gets TPDF dither.
 */
import { tpdfDither } from '../wav/dither.js'
import { encodeFrames } from '../wav/encode.js'

/** Any will do: it only has to differ from sample to sample. */
const DITHER_SEED = 1

/** 32-bit whole numbers; channels that the audio has not are silent. */
export function words32(channels: readonly Float32Array[], channelCount = channels.length): Uint8Array {
  const frameCount = channels[0]?.length ?? 0
  const words = new Int32Array(frameCount * channelCount)
  channels.forEach((channel, c) => {
    for (let n = 0, at = c; n < frameCount; n++, at += channelCount) {
      words[at] = Math.min(2 ** 31 - 1, Math.max(-(2 ** 31), Math.round(channel[n] * 2 ** 31)))
    }
  })
  return new Uint8Array(words.buffer)
}

/** 24 bits in the low bytes of 32. */
export function lowWords(channels: readonly Float32Array[], channelCount = channels.length): Uint8Array {
  const bytes = words32(channels, channelCount)
  const words = new Int32Array(bytes.buffer)
  words.forEach((word, at) => {
    words[at] = word >> 8
  })
  return bytes
}

/** Words of 16 or 24 bits, or floating point. */
export function framesOf(
  channels: readonly Float32Array[],
  bits: 16 | 24 | 32,
  channelCount = channels.length,
): Uint8Array {
  const silent = new Float32Array(channels[0]?.length ?? 0)
  const all = Array.from({ length: channelCount }, (_, c) => channels[c] ?? silent)
  return encodeFrames(all, bits, bits === 16 ? tpdfDither(DITHER_SEED) : null)
}
