import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { decodeFrames } from '../../src/wav/decode.js'
import { tpdfDither } from '../../src/wav/dither.js'
import { encodeFrames, encodeWav } from '../../src/wav/encode.js'
import { readWavHeader } from '../../src/wav/read-header.js'
import { wavHeader } from '../../src/wav/write-header.js'

const decodeWav = (bytes: Uint8Array): Float32Array[] => {
  const info = readWavHeader(bytes, 'x.wav')
  return decodeFrames(bytes.subarray(info.dataStart, info.dataStart + info.dataByteCount), info)
}

describe('dither', () => {
  // Truth: closed form (Lipshitz, Wannamaker, Vanderkooy, JAES 40(5), 1992): the total error of a TPDF-dithered word is q²/4, 4.771 dB over the
  // undithered one. With N = 400 000 samples the power estimate of an error that is the sum of a triangular and a
  // uniform part has a relative standard deviation below sqrt(2 / N) = 0.22 % (a Gaussian's; these have lighter tails),
  // so 1 % is more than four of them.
  test.each([16, 24] as const)(
    'makes the error of a %i-bit word a quarter of a squared step, white and without bias',
    (bits) => {
      const stepFs = 2 / 2 ** bits
      const sampleCount = 400_000
      // Float64 stands for the ideal signal; Float32 would round 24-bit material by itself, so levels lie on its grid
      // and the offsets between steps come from a coarser one: sixteenths of a step at a low level.
      const wanted = Float32Array.from(
        { length: sampleCount },
        (_, n) => Math.round(160 * Math.sin(0.05 * n * 1.37)) * (stepFs / 16),
      )
      const [read] = decodeWav(encodeWav({ sampleRateHz: 48_000, channels: [wanted] }, bits, 7))
      const errors = wanted.map((sample, n) => (read[n] - sample) / stepFs)
      let [power, bias, lagged] = [0, 0, 0]
      errors.forEach((error, n) => {
        power += error * error
        bias += error
        lagged += n === 0 ? 0 : error * errors[n - 1]
      })
      expect(Math.abs(power / sampleCount / 0.25 - 1)).toBeLessThan(0.01)
      // Standard deviations: 0.5 / sqrt(N) = 0.0008 steps and 0.25 / sqrt(N) = 0.0004 squared steps; five of them.
      expect(Math.abs(bias / sampleCount)).toBeLessThan(0.004)
      expect(Math.abs(lagged / sampleCount)).toBeLessThan(0.002)
    },
  )

  // Truth: closed form. A triangle on ±1 has a variance of 1/6 and a fourth moment of 1/15.
  test('has the moments of a triangle two steps wide', () => {
    const next = tpdfDither(3)
    const count = 400_000
    let [second, fourth, widest] = [0, 0, 0]
    for (let n = 0; n < count; n++) {
      const value = next()
      widest = Math.max(widest, Math.abs(value))
      second += value ** 2 / count
      fourth += value ** 4 / count
    }
    expect(widest).toBeLessThan(1)
    // Deviations: sqrt((1/15 - 1/36) / N) = 0.0003 and, from the eighth moment 1/45, sqrt((1/45 - 1/225) / N) = 0.0002.
    expect(Math.abs(second - 1 / 6)).toBeLessThan(0.0015)
    expect(Math.abs(fourth - 1 / 15)).toBeLessThan(0.001)
  })

  test('differs between seeds and repeats with the same one', () => {
    const audio = { sampleRateHz: 48_000, channels: [new Float32Array(1000)] }
    expect(encodeWav(audio, 16, 5)).toEqual(encodeWav(audio, 16, 5))
    expect(encodeWav(audio, 16, 5)).not.toEqual(encodeWav(audio, 16, 6))
  })
})

describe('samples', () => {
  // Truth: closed form, two's complement.
  test('at and beyond full scale are held at the limit', () => {
    const bytes = encodeFrames([Float32Array.of(1, -1, 2, -2, 0.5, 1 - 2 ** -15)], 16, null)
    expect([...new Int16Array(bytes.buffer)]).toEqual([32_767, -32_768, 32_767, -32_768, 16_384, 32_767])
    expect([...encodeFrames([Float32Array.of(1, -1)], 24, null)]).toEqual([0xff, 0xff, 0x7f, 0x00, 0x00, 0x80])
  })

  test.each([16, 24] as const)('of a %i-bit word come back exactly', (bits) => {
    const steps = 2 ** (bits - 1)
    const samples = fc.array(fc.integer({ min: -steps, max: steps - 1 }), { minLength: 1, maxLength: 40 })
    fc.assert(
      fc.property(samples, fc.integer({ min: 1, max: 5 }), (values, channelCount) => {
        const channels = Array.from({ length: channelCount }, (_, c) =>
          Float32Array.from(values, (value) => (c % 2 ? -1 - value : value) / steps),
        )
        expect(decodeFrames(encodeFrames(channels, bits, null), { channelCount, bits, encoding: 'pcm' })).toEqual(
          channels,
        )
      }),
      { seed: 22 },
    )
  })

  test('in floating point come back exactly, beyond full scale too', () => {
    fc.assert(
      fc.property(fc.float32Array({ noNaN: true, maxLength: 50 }), (samples) => {
        expect(
          decodeFrames(encodeFrames([samples], 32, null), { channelCount: 1, bits: 32, encoding: 'float' }),
        ).toEqual([samples])
      }),
      { seed: 23 },
    )
  })

  // Truth: the definition of the word, a whole number over 2^31, rounded to Float32.
  test('of 32-bit whole numbers and of 64-bit floats are rounded once', () => {
    const words = Int32Array.of(-(2 ** 31), 2 ** 31 - 1, 1, -1, 123_456_789)
    expect(decodeFrames(new Uint8Array(words.buffer), { channelCount: 1, bits: 32, encoding: 'pcm' })[0]).toEqual(
      Float32Array.from(words, (word) => word / 2 ** 31),
    )
    const floats = Float64Array.of(0.1, -1.5, 1e-300)
    expect(decodeFrames(new Uint8Array(floats.buffer), { channelCount: 1, bits: 64, encoding: 'float' })[0]).toEqual(
      Float32Array.from(floats),
    )
  })

  test('are decoded from any place in a buffer', () => {
    const bytes = encodeFrames([Float32Array.of(0.25, -0.5)], 32, null)
    const moved = new Uint8Array(bytes.length + 1)
    moved.set(bytes, 1)
    expect(decodeFrames(moved.subarray(1), { channelCount: 1, bits: 32, encoding: 'float' })[0]).toEqual(
      Float32Array.of(0.25, -0.5),
    )
  })

  test('in blocks that end inside a frame are refused', () => {
    expect(() => decodeFrames(new Uint8Array(7), { channelCount: 2, bits: 24, encoding: 'pcm' })).toThrow(
      RangeError('decodeFramesInto: 7 bytes, want a multiple of 6'),
    )
  })

  test('of channels with different lengths are refused', () => {
    expect(() => encodeFrames([new Float32Array(2), new Float32Array(3)], 16, null)).toThrow(
      RangeError('encodeFrames: channels of 2,3 samples, want equal lengths'),
    )
  })
})

describe('a header', () => {
  const spec = {
    sampleRateHz: 48_000,
    channelCount: 1,
    bits: 24,
    encoding: 'pcm',
    frameCount: 3,
    hasRoomForLongSizes: false,
  } as const

  // Truth: the header that general tools write for 24-bit mono at 48 kHz (RIFF, WAVE_FORMAT_EXTENSIBLE).
  test('of 24-bit mono is the published one byte by byte', () => {
    expect(Buffer.from(wavHeader(spec)).toString('hex')).toBe(
      '52494646' +
        '46000000' +
        '57415645' + // RIFF, 60 + 8 + 9 + 1 - 8 = 70, WAVE
        '666d7420' +
        '28000000' +
        'feff' +
        '0100' +
        '80bb0000' +
        '80320200' +
        '0300' +
        '1800' +
        '1600' +
        '1800' +
        '04000000' +
        '0100000000001000800000aa00389b71' +
        '64617461' +
        '09000000',
    )
  })

  test('of 16-bit stereo is the classic one of 44 bytes', () => {
    const header = wavHeader({ ...spec, channelCount: 2, bits: 16 })
    expect(header.length).toBe(44)
    expect(readWavHeader(Uint8Array.from([...header, ...new Array(12).fill(0)]), 'x.wav')).toMatchObject({
      bits: 16,
      channelCount: 2,
      frameCount: 3,
    })
  })

  test('with an odd number of bytes is followed by a pad byte that only RIFF counts', () => {
    const bytes = encodeWav({ sampleRateHz: 48_000, channels: [new Float32Array(3)] }, 24, 1)
    const view = new DataView(bytes.buffer)
    expect(bytes.length).toBe(68 + 9 + 1)
    expect(view.getUint32(4, true)).toBe(bytes.length - 8)
    expect(view.getUint32(64, true)).toBe(9)
  })

  test('keeps its length when the file passes 4 GiB and becomes RF64', () => {
    const wide = { ...spec, channelCount: 12, hasRoomForLongSizes: true } as const
    const long = wavHeader({ ...wide, frameCount: 2 ** 28 })
    expect(long.length).toBe(wavHeader(wide).length)
    expect(long.length).toBe(wavHeader({ ...wide, frameCount: null }).length)
    expect(Buffer.from(long.subarray(0, 4)).toString()).toBe('RF64')
    const view = new DataView(long.buffer)
    expect(Number(view.getBigUint64(20, true))).toBe(long.length - 8 + 36 * 2 ** 28)
    expect(Number(view.getBigUint64(28, true))).toBe(36 * 2 ** 28)
    expect(Number(view.getBigUint64(36, true))).toBe(2 ** 28)
  })

  test('beyond 4 GiB needs the room', () => {
    expect(() => wavHeader({ ...spec, channelCount: 12, frameCount: 2 ** 28 })).toThrow(
      /^wavHeader: \d+ bytes need RF64$/,
    )
  })
})
