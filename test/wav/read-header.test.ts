import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { StopError } from '../../src/units/stop.js'
import { encodeWav } from '../../src/wav/encode.js'
import { readWavHeader, scanWavHeader, type WavInfo } from '../../src/wav/read-header.js'

/** A chunk as it stands in a file, pad byte included. */
function chunk(id: string, body: readonly number[], statedSize = body.length): number[] {
  return [...text(id), ...u32(statedSize), ...body, ...(body.length % 2 === 1 ? [0] : [])]
}
const text = (value: string): number[] => [...value].map((character) => character.charCodeAt(0))
const u16 = (value: number): number[] => [value & 255, (value >>> 8) & 255]
const u32 = (value: number): number[] => [...u16(value & 0xffff), ...u16(value >>> 16)]
const u64 = (value: number): number[] => [...u32(value >>> 0), ...u32(Math.floor(value / 2 ** 32))]

function fmt(tag: number, channelCount: number, sampleRateHz: number, bits: number, frameBytes?: number): number[] {
  const align = frameBytes ?? (channelCount * Math.ceil(bits / 8)) & 0xffff
  return [
    ...u16(tag),
    ...u16(channelCount),
    ...u32(sampleRateHz),
    ...u32(sampleRateHz * align),
    ...u16(align),
    ...u16(bits),
  ]
}
function riff(...chunks: readonly number[][]): Uint8Array {
  const body = chunks.flat()
  return Uint8Array.from([...text('RIFF'), ...u32(4 + body.length), ...text('WAVE'), ...body])
}
const PLAIN = fmt(1, 2, 48_000, 16)
const GUID_TAIL = [0, 0, 0, 0, 16, 0, 128, 0, 0, 170, 0, 56, 155, 113]
const extensible = (subTag: number, validBits: number, bits: number, tail = GUID_TAIL): number[] => [
  ...fmt(0xfffe, 2, 48_000, bits),
  ...u16(22),
  ...u16(validBits),
  ...u32(3),
  ...u16(subTag),
  ...tail,
]

describe('a sound header', () => {
  // Truth: the RIFF and RF64 layouts (EBU Tech 3306), written out by hand above.
  test('gives the format and where the samples stand', () => {
    expect(readWavHeader(riff(chunk('fmt ', PLAIN), chunk('data', [1, 2, 3, 4, 5, 6, 7, 8])), 'a.wav')).toEqual({
      sampleRateHz: 48_000,
      channelCount: 2,
      bits: 16,
      encoding: 'pcm',
      dataStart: 44,
      dataByteCount: 8,
      frameCount: 2,
      isCut: false,
    } satisfies WavInfo)
  })

  test('may have chunks of odd length before and after the samples', () => {
    const bytes = riff(
      chunk('LIST', [1, 2, 3]),
      chunk('fmt ', PLAIN),
      chunk('note', [7]),
      chunk('data', [1, 2, 3, 4]),
      chunk('id3 ', [1]),
    )
    expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ dataStart: 44 + 12 + 10, frameCount: 1, isCut: false })
  })

  test('may be extensible, with fewer valid bits than the word has', () => {
    const bytes = riff(chunk('fmt ', extensible(1, 20, 24)), chunk('data', new Array(12).fill(0)))
    expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ bits: 24, encoding: 'pcm', frameCount: 2, dataStart: 68 })
  })

  test('may be extensible with floating point', () => {
    const bytes = riff(chunk('fmt ', extensible(3, 32, 32)), chunk('data', new Array(16).fill(0)))
    expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ bits: 32, encoding: 'float', frameCount: 2 })
  })

  test.each(['RF64', 'BW64'])('may be %s, whose long sizes stand in ds64', (form) => {
    const ds64 = chunk('ds64', [...u64(1000), ...u64(8), ...u64(2), ...u32(1), ...text('big '), ...u64(6)])
    const body = [
      ...ds64,
      ...chunk('big ', [1, 2, 3, 4, 5, 6], 0xffff_ffff),
      ...chunk('fmt ', PLAIN),
      ...chunk('data', [1, 2, 3, 4, 5, 6, 7, 8], 0xffff_ffff),
      ...chunk('tail', [9, 9]),
    ]
    const bytes = Uint8Array.from([...text(form), ...u32(0xffff_ffff), ...text('WAVE'), ...body])
    // The data chunk's end comes from ds64, so the chunk behind it is not taken for samples.
    expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ frameCount: 2, isCut: false })
  })

  test('beyond 4 GiB counts the frames that ds64 promises', () => {
    const dataByteCount = 5 * 2 ** 30
    const ds64 = chunk('ds64', [
      ...u64(dataByteCount + 80),
      ...u64(dataByteCount),
      ...u64(dataByteCount / 4),
      ...u32(0),
    ])
    const head = Uint8Array.from([
      ...text('RF64'),
      ...u32(0xffff_ffff),
      ...text('WAVE'),
      ...ds64,
      ...chunk('fmt ', PLAIN),
      ...chunk('data', [], 0xffff_ffff),
    ])
    expect(scanWavHeader(head, 'a.wav', head.length + dataByteCount)).toMatchObject({
      frameCount: dataByteCount / 4,
      isCut: false,
    })
    expect(scanWavHeader(head, 'a.wav', head.length + dataByteCount - 4)).toMatchObject({
      frameCount: dataByteCount / 4 - 1,
      isCut: true,
    })
  })

  test('of a file from a pipe reaches to the end of the file', () => {
    for (const size of [0xffff_ffff, 0x7fff_f000, 0x7fff_ffff]) {
      const bytes = riff(chunk('fmt ', PLAIN), chunk('data', [1, 2, 3, 4, 5, 6, 7], size))
      expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ frameCount: 2, isCut: false })
    }
  })

  test('of a recorder that lost power, with sizes of zero, reaches to the end and counts as cut', () => {
    const bytes = riff(chunk('fmt ', PLAIN), chunk('data', [1, 2, 3, 4, 5, 6, 7, 8], 0))
    bytes.set(u32(0), 4)
    expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ frameCount: 2, isCut: true })
  })

  test('with no samples behind it holds no frames and is not cut', () => {
    expect(readWavHeader(riff(chunk('fmt ', PLAIN), chunk('data', [])), 'a.wav')).toMatchObject({
      frameCount: 0,
      isCut: false,
    })
  })

  test('that promises more samples than there are is cut to whole frames', () => {
    const bytes = riff(chunk('fmt ', PLAIN), chunk('data', [1, 2, 3, 4, 5, 6], 4000))
    expect(readWavHeader(bytes, 'a.wav')).toMatchObject({ frameCount: 1, dataByteCount: 4, isCut: true })
  })

  test('asks for more bytes when only the beginning of the file was read', () => {
    const bytes = riff(chunk('bext', new Array(700).fill(0)), chunk('fmt ', PLAIN), chunk('data', [1, 2, 3, 4]))
    let known = 1
    for (let asked = 0; asked < 10; asked++) {
      const found = scanWavHeader(bytes.subarray(0, known), 'a.wav', bytes.length)
      if (typeof found !== 'number') {
        expect(found).toEqual(readWavHeader(bytes, 'a.wav'))
        // The samples themselves were not needed.
        expect(known).toBe(found.dataStart)
        return
      }
      expect(found).toBeGreaterThan(known)
      known = found
    }
    expect.unreachable('it never had enough')
  })
})

describe('one clear line', () => {
  const cases: [string, Uint8Array, string][] = [
    ['an empty file', new Uint8Array(0), 'the file is empty (take.wav). Record it again, or name another file.'],
    [
      'FLAC',
      Uint8Array.from(text('fLaC\0\0\0\x22aaaa')),
      'this is not a WAV file: it looks like FLAC (take.wav). Convert it to WAV',
    ],
    ['MP3 with a tag', Uint8Array.from(text('ID3\x03\0\0\0\0\0\0aaaa')), 'it looks like MP3 (take.wav)'],
    [
      'MP3 without one',
      Uint8Array.from([0xff, 0xfb, 0x90, 0x64, 0, 0, 0, 0, 0, 0, 0, 0]),
      'it looks like MP3 (take.wav)',
    ],
    ['AAC frames', Uint8Array.from([0xff, 0xf1, 0x50, 0x80, 0, 0, 0, 0, 0, 0, 0, 0]), 'it looks like AAC (take.wav)'],
    ['M4A', Uint8Array.from(text('\0\0\0\x20ftypM4A ')), 'it looks like MP4 or M4A (AAC or ALAC) (take.wav)'],
    ['Ogg', Uint8Array.from(text('OggS\0\x02\0\0\0\0\0\0')), 'it looks like Ogg (Vorbis or Opus) (take.wav)'],
    ['AIFF', Uint8Array.from(text('FORM\0\0\0\0AIFF')), 'it looks like AIFF (take.wav)'],
    ['Wave64', Uint8Array.from(text('riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb')), 'it looks like Wave64 (take.wav)'],
    [
      'a RIFF of another type',
      Uint8Array.from(text('RIFF\0\0\0\0AVI LIST')),
      'it looks like RIFF of type "AVI " (take.wav)',
    ],
    ['a text', Uint8Array.from(text('name: my job\noutputs:\n')), 'it looks like text (take.wav)'],
    [
      'something unknown',
      Uint8Array.from([0, 1, 2, 3, 65, 66, 0, 0, 0, 0, 0, 0, 0]),
      'this is not a WAV file: it starts with "....AB......"',
    ],
    [
      'a file cut in its first word',
      Uint8Array.from(text('RIFF\x24')),
      'the file ends inside its header, after 5 bytes (take.wav). Copy it again',
    ],
    [
      'a file cut in its format',
      riff(chunk('fmt ', PLAIN)).subarray(0, 30),
      'the file ends inside its header, after 30 bytes',
    ],
    ['no data chunk', riff(chunk('fmt ', PLAIN), chunk('LIST', [1, 2])), 'the file holds no audio data (take.wav)'],
    [
      'A-law',
      riff(chunk('fmt ', fmt(6, 1, 8000, 8)), chunk('data', [0, 0])),
      'the WAV file is compressed: it holds A-law (take.wav)',
    ],
    ['MP3 in a WAV', riff(chunk('fmt ', fmt(0x55, 2, 48_000, 0)), chunk('data', [0, 0])), 'compressed: it holds MP3'],
    [
      'an unknown tag',
      riff(chunk('fmt ', fmt(0x1234, 2, 48_000, 16)), chunk('data', [0, 0])),
      'compressed: it holds format 4660 (0x1234)',
    ],
    [
      'compression named by a GUID',
      riff(chunk('fmt ', extensible(2, 16, 16)), chunk('data', [0, 0])),
      'compressed: it holds Microsoft ADPCM',
    ],
    [
      'an unknown GUID',
      riff(chunk('fmt ', extensible(1, 16, 16, new Array(14).fill(7))), chunk('data', [0, 0])),
      'compressed: it holds samples of an unknown kind',
    ],
    [
      'no channels',
      riff(chunk('fmt ', fmt(1, 0, 48_000, 16, 4)), chunk('data', [0, 0])),
      'the WAV header is damaged: it says that it has no channels',
    ],
    [
      'a rate of zero',
      riff(chunk('fmt ', fmt(1, 2, 0, 16)), chunk('data', [0, 0])),
      'it says that its sample rate is 0 Hz',
    ],
    [
      'an absurd rate',
      riff(chunk('fmt ', fmt(1, 2, 4_000_000_000, 16)), chunk('data', [0, 0])),
      'its sample rate is 4000000000 Hz',
    ],
    [
      '8-bit samples',
      riff(chunk('fmt ', fmt(1, 2, 48_000, 8)), chunk('data', [0, 0])),
      'the file holds 8-bit whole numbers (take.wav). Record with 16, 24 or 32 bits',
    ],
    [
      'a frame that does not fit',
      riff(chunk('fmt ', fmt(1, 2, 48_000, 16, 3)), chunk('data', [0, 0])),
      '2 channels of 16 bits do not make a frame of 3 bytes',
    ],
    [
      'a short format',
      riff(chunk('fmt ', PLAIN.slice(0, 14)), chunk('data', [0, 0])),
      'its format takes 14 bytes, at least 16 are due',
    ],
    [
      'samples before their format',
      riff(chunk('data', [0, 0]), chunk('fmt ', PLAIN)),
      'its samples come before their format',
    ],
  ]
  test.each(cases)('for %s', (_name, bytes, says) => {
    const error = thrownBy(() => readWavHeader(bytes, 'take.wav'))
    expect(error).toBeInstanceOf(StopError)
    expect((error as StopError).message).toContain(says)
    expect((error as StopError).kind).toBe('input')
  })
})

describe('any bytes', () => {
  /** A StopError, or a header whose frames the bytes really hold. */
  const expectNamedEnd = (bytes: Uint8Array): WavInfo | null => {
    const outcome = thrownBy(() => readWavHeader(bytes, 'take.wav'))
    if (outcome instanceof StopError) return null
    if (outcome instanceof Error) throw outcome
    const info = outcome as WavInfo
    expect(info.dataStart + info.dataByteCount).toBeLessThanOrEqual(bytes.length)
    expect(Number.isInteger(info.frameCount)).toBe(true)
    return info
  }

  const WHOLE_FILES = [
    encodeWav({ sampleRateHz: 48_000, channels: [new Float32Array(9)] }, 24, 1),
    encodeWav({ sampleRateHz: 44_100, channels: [new Float32Array(9), new Float32Array(9)] }, 16, 1),
    riff(
      chunk('bext', new Array(61).fill(1)),
      chunk('fmt ', extensible(1, 24, 24)),
      chunk('data', new Array(18).fill(3)),
      chunk('LIST', [1]),
    ),
  ]
  test.each(WHOLE_FILES.map((file, index) => [index + 1, file] as const))(
    'of file %i cut at every length end in a StopError, or in fewer frames that are called cut',
    (_index, file) => {
      const whole = readWavHeader(file, 'take.wav')
      for (let length = 0; length < file.length; length++) {
        const info = expectNamedEnd(file.subarray(0, length))
        const isBeforeSamples = length < whole.dataStart
        expect(info === null).toBe(isBeforeSamples)
        if (info === null) continue
        expect(info.isCut).toBe(length < whole.dataStart + whole.dataByteCount)
        expect(info.frameCount).toBe(
          Math.min(
            whole.frameCount,
            Math.floor(((length - whole.dataStart) / whole.dataByteCount) * whole.frameCount + 1e-9),
          ),
        )
      }
    },
  )

  test('with changed bytes in the header never end in another exception', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...WHOLE_FILES),
        fc.array(fc.tuple(fc.nat(110), fc.nat(255)), { minLength: 1, maxLength: 6 }),
        (file, changes) => {
          const bytes = file.slice()
          for (const [at, value] of changes) if (at < bytes.length) bytes[at] = value
          expectNamedEnd(bytes)
        },
      ),
      { numRuns: 2000, seed: 20 },
    )
  })

  test('at random behind RIFF and WAVE never end in another exception', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (tail) => {
        expectNamedEnd(Uint8Array.from([...text('RIFF'), ...u32(0xff), ...text('WAVE'), ...tail]))
      }),
      { numRuns: 2000, seed: 21 },
    )
  })
})

function thrownBy(work: () => unknown): unknown {
  try {
    return work()
  } catch (error) {
    return error
  }
}
