/** Responses, passbands and the mask that a map entry asks for. Filters by their closed forms, without samples. */
import { describe, expect, test } from 'vitest'
import type { OutputSpec } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { median, passbandOf } from '../../src/measure/passband.js'
import { maskFor, responseOf } from '../../src/measure/response.js'
import { butterworth, type Filter, linkwitzRiley, magnitudeDb, peaking } from '../kit/biquad.js'
import { transferBy } from '../kit/transfer.js'

const RATE_HZ = 48_000
type Band = readonly [lowHz: number | null, highHz: number | null]

function specOf([lowHz, highHz]: Band, sides = 'left: 1, right: 0'): OutputSpec {
  const band = [lowHz === null ? '' : `low_hz: ${lowHz}`, highHz === null ? '' : `high_hz: ${highHz}`]
  const output = `{ number: 1, label: one, ${sides}, band: { ${band.filter(Boolean).join(', ')} }, level_vrms: 1 }`
  return parseJob(`name: job\nvehicle: { model: Quillon }\noutputs: [${output}]`, 'job.yaml').outputs[0]
}

/** By how much (dB) the filter keeps inside the mask where it is nearest to its limits; negative outside. */
function marginDb(filter: Filter, spec: OutputSpec, toleranceDb = 1): { marginDb: number; freqHz: number } {
  const response = responseOf(transferBy({ filter, errorDb: -200 }), spec)
  const mask = maskFor(spec, toleranceDb, response.freqHz)
  let nearest = { marginDb: Number.POSITIVE_INFINITY, freqHz: 0 }
  response.levelDb.forEach((levelDb, i) => {
    const room = Math.min(levelDb - (mask.minDb[i] ?? -1e3), (mask.maxDb[i] ?? 1e3) - levelDb)
    if (room < nearest.marginDb) nearest = { marginDb: room, freqHz: response.freqHz[i] }
  })
  return nearest
}

/** One pole, by the bilinear transform. */
function firstOrder(kind: 'low' | 'high', freqHz: number): Filter {
  const t = Math.tan((Math.PI * freqHz) / RATE_HZ)
  const b = kind === 'low' ? t / (1 + t) : 1 / (1 + t)
  return [{ b: [b, kind === 'low' ? b : -b, 0], a: [(t - 1) / (t + 1), 0] }]
}

describe('a response', () => {
  test('is that of the filter, relative to the reference frequency', () => {
    const filter = [peaking(100, 6, 1, RATE_HZ)]
    const spec = specOf([null, null])
    const { freqHz, levelDb, referenceHz } = responseOf(transferBy({ filter, errorDb: -200 }), spec)
    expect(referenceHz).toBe(1000)
    expect(freqHz[0]).toBeCloseTo(20, 0)
    expect(freqHz.at(-1)).toBeCloseTo(20_000, -3)
    // Truth: closed form. Tolerance: the mean power over a twelfth of an octave around a bend of Q 1 is off by
    // 0.02 dB at its top.
    freqHz.forEach((hz, i) => {
      const truth = magnitudeDb(filter, hz, RATE_HZ) - magnitudeDb(filter, 1000, RATE_HZ)
      expect(Math.abs(levelDb[i] - truth)).toBeLessThan(0.03)
    })
  })

  test('adds the sides that the map gives, with their signs', () => {
    for (const [sides, left, right] of [
      ['left: 0.5, right: 0.5', 0.5, 0.5],
      ['left: 1, right: -1', 0.5, -0.5],
    ] as const) {
      const { levelDb } = responseOf(transferBy({ left, right, errorDb: -200 }), specOf([null, null], sides))
      expect(Math.max(...levelDb.map(Math.abs))).toBeLessThan(1e-6)
    }
  })

  test('carries an uncertainty that grows where the output falls off', () => {
    const { freqHz, uDb } = responseOf(
      transferBy({ filter: butterworth('low', 4, 80, RATE_HZ), errorDb: -60 }),
      specOf([null, 80]),
    )
    const at = (hz: number): number => uDb[freqHz.findIndex((freq) => freq >= hz)]
    // Truth: twice the part of a complex error of 0.1 % rms that lies along the value, in dB; for the reference as well, so √2
    // of it. An octave up the value is √257 smaller: closed form. The five points of each mean share their noise wholly at
    // 20 Hz and ever less above: between 1 and 1/√5 of it is left.
    const single = 20 * Math.log10(1 + 2 * 0.001 * Math.SQRT1_2)
    for (const [hz, share] of [
      [21, Math.SQRT2],
      [40, Math.SQRT2],
      [160, Math.sqrt(258)],
    ]) {
      expect(at(hz)).toBeLessThan(1.02 * share * single)
      expect(at(hz)).toBeGreaterThan((share * single) / Math.sqrt(5))
    }
  })
})

const BANDS: readonly Band[] = [
  [3000, null],
  [null, 3000],
  [null, 80],
  [100, null],
  [150, 7000],
]
const around = (make: (kind: 'low' | 'high', freqHz: number) => Filter, [lowHz, highHz]: Band): Filter => [
  ...(lowHz === null ? [] : make('high', lowHz)),
  ...(highHz === null ? [] : make('low', highHz)),
]

describe('the mask', () => {
  test('passes a full-range output, with a margin of the whole tolerance', () => {
    expect(marginDb([], specOf([null, null])).marginDb).toBeCloseTo(1, 6)
    expect(marginDb([], specOf([null, null]), 0.5).marginDb).toBeCloseTo(0.5, 6)
  })

  describe.each(BANDS.map((band) => ({ band, name: `${band[0] ?? 20} Hz to ${band[1] ?? 20_000} Hz` })))(
    'for $name',
    ({ band }) => {
      test.each([2, 4] as const)('passes Butterworth filters of order %d at its corners', (order) => {
        expect(
          marginDb(
            around((kind, hz) => butterworth(kind, order, hz, RATE_HZ), band),
            specOf(band),
          ).marginDb,
        ).toBeGreaterThan(0)
      })

      test.each([2, 4] as const)(
        'passes Linkwitz-Riley filters of order %d that are 3 dB down at its corners',
        (order) => {
          // Truth: 1 / (1 + x^order) = 10^(-3/20) a Linkwitz-Riley filter away from its own -6 dB frequency.
          const x = (10 ** (3 / 20) - 1) ** (1 / order)
          const make = (kind: 'low' | 'high', hz: number): Filter =>
            linkwitzRiley(kind, order, kind === 'low' ? hz / x : hz * x, RATE_HZ)
          expect(marginDb(around(make, band), specOf(band)).marginDb).toBeGreaterThan(0)
        },
      )

      test('fails an output without the filter', () => {
        expect(marginDb([], specOf(band)).marginDb).toBeLessThan(-2)
      })

      test('fails the filter an octave too far inside', () => {
        const make = (kind: 'low' | 'high', hz: number): Filter =>
          butterworth(kind, 4, kind === 'low' ? hz / 2 : 2 * hz, RATE_HZ)
        expect(marginDb(around(make, band), specOf(band)).marginDb).toBeLessThan(-2)
      })

      // Pin: the mask asks for 3 dB an octave out and 10 dB two octaves out, and one pole has 7 and 12.
      test('passes one pole at each corner, just so', () => {
        const { marginDb: room } = marginDb(around(firstOrder, band), specOf(band))
        expect(room).toBeGreaterThan(0)
        expect(room).toBeLessThan(1)
      })
    },
  )

  test('of a subwoofer fails a full-range output an octave above its corner and beyond', () => {
    const spec = specOf([null, 80])
    const { freqHz, levelDb } = responseOf(transferBy({ errorDb: -200 }), spec)
    const { maxDb } = maskFor(spec, 1, freqHz)
    freqHz.forEach((hz, i) => {
      if (hz > 161) expect(levelDb[i]).toBeGreaterThan(maxDb[i]! + 2.9)
      if (hz < 80) expect(levelDb[i]).toBeLessThan(maxDb[i]!)
    })
  })

  test('lets the ends of the audio band fall by 3 dB, and no more', () => {
    const spec = specOf([null, null])
    // Truth: one pole at 5 Hz is 0.26 dB down at 20 Hz; second order at 20 Hz is 3.01 dB down there and 1.4 dB at 25 Hz.
    expect(marginDb(firstOrder('high', 5), spec).marginDb).toBeGreaterThan(0)
    expect(marginDb(butterworth('high', 2, 20, RATE_HZ), spec).marginDb).toBeLessThan(0)
    expect(marginDb(butterworth('low', 2, 20_000, RATE_HZ), spec).freqHz).toBeGreaterThan(15_000)
  })
})

describe('a passband', () => {
  test.each(BANDS)('from %s to %s Hz has its corners where the filter is 3 dB down', (lowHz, highHz) => {
    const band = passbandOf(
      transferBy({ filter: around((kind, hz) => butterworth(kind, 4, hz, RATE_HZ), [lowHz, highHz]) }),
    )!
    // Grid cells are 1/48 of an octave, 1.5 %; the corner is the last point inside, and the median lies within 0.02 dB of
    // the top.
    for (const [found, made] of [
      [band.lowHz, lowHz],
      [band.highHz, highHz],
    ]) {
      if (made === null) expect(found).toBeNull()
      else expect(Math.abs(found! / made - 1)).toBeLessThan(0.02)
    }
    expect(band.gain).toBeCloseTo(1, 1)
  })

  test.each([
    [1, 0],
    [0, 1],
    [0.5, 0.5],
    [0.5, -0.5],
    [1, 0.1],
    [0.2, 1],
  ])('says which sides it hears: %d of the left and %d of the right', (left, right) => {
    const { sideRad, sidePhase } = passbandOf(transferBy({ left, right, errorDb: -80 }))!
    // Truth: the angle of the two gains, and the sign of their product. Noise at -80 dB turns it by less than 1e-3.
    expect(Math.abs(sideRad - Math.atan2(Math.abs(right), Math.abs(left)))).toBeLessThan(1e-3)
    if (left * right !== 0) expect(sidePhase).toBeCloseTo(Math.sign(left * right), 3)
  })

  test('is not there where nothing stands ten times above the noise', () => {
    expect(passbandOf(transferBy({ left: 0, right: 0, errorDb: -60 }))).toBeNull()
    expect(passbandOf(transferBy({ left: 0.005, right: 0, errorDb: -60 }))).toBeNull()
  })

  test('keeps its gain and corners under a boosted stretch', () => {
    const band = passbandOf(transferBy({ filter: [peaking(60, 8, 1, RATE_HZ)] }))!
    expect(band.lowHz).toBeNull()
    expect(band.highHz).toBeNull()
    // Most of ten octaves lies outside the bump.
    expect(Math.abs(20 * Math.log10(band.gain))).toBeLessThan(0.2)
  })
})

test('a median is the middle value, or the mean of the middle two', () => {
  expect(median([3, 1, 2])).toBe(2)
  expect(median([4, 1, 3, 2])).toBe(2.5)
  expect(() => median([])).toThrow(new RangeError('median: no values'))
})
