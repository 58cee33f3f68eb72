/**
 * Polarity and delay of filters that are minimum phase, from their closed forms with noise of a known size.
 *
 * Truth: the sign and the delay that were put in; a digital filter of this kind (W3C Audio EQ Cookbook, poles and zeros
 * inside the unit circle) adds neither.
 */
import { describe, expect, test } from 'vitest'
import type { ExcessPhase } from '../../src/measure/analysis.js'
import { excessPhaseOf } from '../../src/measure/excess-phase.js'
import { sweepReference, transferOf } from '../../src/measure/transfer.js'
import { allPass, butterworth, type Filter, filtered, linkwitzRiley, peaking, shelf } from '../kit/biquad.js'
import { hiss } from '../kit/random.js'
import { delayed, placeOf, playTrack, scaled, summed } from '../kit/track.js'
import { type Path, transferBy } from '../kit/transfer.js'

const RATE_HZ = 48_000
const SUBWOOFER = butterworth('low', 4, 80, RATE_HZ)
const TWEETER = butterworth('high', 4, 3000, RATE_HZ)
const FILL = [...butterworth('high', 4, 150, RATE_HZ), ...butterworth('low', 4, 7000, RATE_HZ)]
const FILTERS: readonly (readonly [string, Filter])[] = [
  ['full-range output', []],
  ['80 Hz fourth-order low-pass', SUBWOOFER],
  ['3 kHz fourth-order high-pass', TWEETER],
  ['150 Hz to 7 kHz band-pass', FILL],
]

function excessOf(path: Path): ExcessPhase {
  const { leftRe, leftIm, leftError } = transferBy(path)
  const excess = excessPhaseOf(leftRe, leftIm, leftError)
  if (!excess) throw new Error('no excess phase was read')
  return excess
}

/** As the verdict takes it: above 0.9, and clearly better than the other sign. */
const isSure = ({ confidence, rival }: ExcessPhase): boolean => confidence >= 0.9 && confidence - rival >= 0.15

describe.each(FILTERS)('of a %s', (name, filter) => {
  const cases = [80, 40].flatMap((snrDb) =>
    [0, 0.013].flatMap((delayS) => [1, -1].map((sign) => ({ snrDb, delayS, sign }))),
  )

  test.each(cases)('the sign is right and sure at $snrDb dB, $delayS s late, sign $sign', ({ snrDb, delayS, sign }) => {
    for (const seed of [1, 2]) {
      const excess = excessOf({ filter, left: sign, delayS, errorDb: -snrDb, seed })
      expect(excess.sign).toBe(sign)
      // At 40 dB noise turns the phase of points at the band's edge, 12 dB down, by 0.04 rad; what is left of the
      // confidence is in the slope beyond the band.
      expect(excess.confidence).toBeGreaterThan(0.97)
      expect(excess.confidence - excess.rival).toBeGreaterThan(0.15)
    }
  })

  test('the delay is right at 80 dB', () => {
    for (const { delayS, sign } of cases.filter(({ snrDb }) => snrDb === 80)) {
      const excess = excessOf({ filter, left: sign, delayS, errorDb: -80 })
      expect(Math.abs(excess.delayS - delayS)).toBeLessThan(delayLimitS(name, excess))
    }
  })
})

/**
 * Full range: 5 microseconds, a quarter of a sample. Elsewhere what lies beyond the band is a guess, and the reading says
 * how good a guess; for a subwoofer, a hundredth of a period at its corner, a fifth of what a map allows it.
 */
const delayLimitS = (name: string, { delayU }: ExcessPhase): number =>
  Math.max(name.startsWith('80 Hz') ? 0.01 / 80 : 5e-6, name.startsWith('full') ? 0 : delayU)

test.each<[string, Filter]>([
  ['peak of 6 dB', [peaking(1000, 6, 1.4, RATE_HZ)]],
  ['bass shelf of 9 dB', [shelf('low', 150, 9, RATE_HZ)]],
  ['treble shelf of -6 dB', [shelf('high', 6000, -6, RATE_HZ)]],
  ['second-order high-pass', butterworth('high', 2, 3000, RATE_HZ)],
  ['Linkwitz-Riley low-pass', linkwitzRiley('low', 4, 3000, RATE_HZ)],
  ['subwoofer with a high-pass under it', [...SUBWOOFER, ...butterworth('high', 4, 25, RATE_HZ)]],
  ['coupling capacitor of 2 Hz', butterworth('high', 2, 2, RATE_HZ)],
])('a %s does not change what the sign is read as', (_, filter) => {
  for (const sign of [1, -1]) {
    const excess = excessOf({ filter, left: sign, delayS: 0.005, errorDb: -60 })
    expect(excess.sign).toBe(sign)
    expect(excess.confidence).toBeGreaterThan(0.97)
  }
})

describe('an all-pass of second order in the way', () => {
  /** Well inside each band: above the tweeter's corner by an octave less a third, else its middle. */
  const INSIDE_HZ = new Map([
    ['full-range output', 632],
    ['80 Hz fourth-order low-pass', 35],
    ['3 kHz fourth-order high-pass', 5000],
    ['150 Hz to 7 kHz band-pass', 1025],
  ])

  test.each(FILTERS)('inside the band of a %s leaves it unsure', (name, filter) => {
    for (const q of [0.5, Math.SQRT1_2, 1]) {
      for (const sign of [1, -1]) {
        const inTheWay = allPass(INSIDE_HZ.get(name)!, q, RATE_HZ)
        const excess = excessOf({ filter: [...filter, inTheWay], left: sign, delayS: 0.001, errorDb: -60 })
        expect(excess.confidence).toBeLessThan(0.9)
      }
    }
  })

  test.each(FILTERS)(
    'half an octave below there, and up to an octave above, never gives a %s the wrong sign with confidence',
    (name, filter) => {
      for (const octave of [-0.5, 0, 0.5, 1]) {
        for (const q of [0.5, 1, 2, 5]) {
          const inTheWay = allPass(INSIDE_HZ.get(name)! * 2 ** octave, q, RATE_HZ)
          const excess = excessOf({ filter: [...filter, inTheWay], delayS: 0.002, errorDb: -70 })
          expect(excess.sign === 1 || !isSure(excess)).toBe(true)
        }
      }
    },
  )
})

test('nothing is read where nothing stands clear of the noise', () => {
  // A point ten times its own rms error comes once in e^100.
  const { leftRe, leftIm, leftError } = transferBy({ left: 0, errorDb: -60 })
  expect(excessPhaseOf(leftRe, leftIm, leftError)).toBeNull()
  const silence = new Float64Array(leftRe.length)
  expect(excessPhaseOf(silence, silence, silence)).toBeNull()
})

test('from real sweeps with noise the sign is right and the delay is within the uncertainty', () => {
  const played = playTrack({ leadInS: 0.5, fromS: 5, toS: 21 })
  const reference = sweepReference(placeOf(played))
  for (const [index, [name, filter]] of FILTERS.entries()) {
    const wire = scaled(delayed(filtered(played.left, filter), 624), -0.5)
    // Noise 75 dB below the sweep, like a card of 13 bits.
    const taken = summed(wire, hiss(wire.length, 1.5e-5, 20 + index))
    const { leftRe, leftIm, leftError } = transferOf(Float32Array.from(taken), reference)
    const excess = excessPhaseOf(leftRe, leftIm, leftError)!
    expect(excess.sign).toBe(-1)
    expect(excess.confidence).toBeGreaterThan(0.97)
    expect(Math.abs(excess.delayS - 0.013)).toBeLessThan(delayLimitS(name, excess))
  }
})
