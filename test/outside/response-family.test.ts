/** What is read from responses, worked out a second time by numpy and scipy (response-family.py, no code of the project). */
import { execFileSync } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { afterAll, describe, expect, test } from 'vitest'
import { fractionalOctaveBands } from '../../src/dsp/bands.js'
import { crosstalkCurve } from '../../src/measure/crosstalk.js'
import { electricalSum } from '../../src/measure/electrical-sum.js'
import { fullBandLevel } from '../../src/measure/full-band.js'
import { groupDelayOf } from '../../src/measure/group-delay.js'
import { heardOf } from '../../src/measure/heard.js'
import { smoothed } from '../../src/measure/smoothing.js'
import { volumeChanges } from '../../src/measure/volume.js'
import { butterworth, type Filter } from '../kit/biquad.js'
import { wireWith } from '../kit/grid-noise.js'
import { needsTool } from '../tools.js'
import { openWorkshop, PATIENT_MS } from './outside.js'

const RATE_HZ = 48_000
const workshop = openWorkshop('response-family')
afterAll(() => workshop.remove())

type Spec = readonly (readonly ['low' | 'high', 2 | 4, number])[]
const filterOf = (spec: Spec): Filter => spec.flatMap(([kind, order, hz]) => butterworth(kind, order, hz, RATE_HZ))

const BAND_PASS: Spec = [
  ['high', 4, 60],
  ['low', 4, 5000],
]
const LEAK: Spec = [['high', 2, 700]]
const DELAYED: Spec = [
  ['low', 2, 1000],
  ['low', 4, 9000],
]
const FRACTIONS = [1, 2, 3, 6, 12, 24, 48] as const
const LEAK_DB = -46
const leakBands = fractionalOctaveBands(3, 100, 4000).map(({ lowHz, highHz }) => [lowHz, highHz])

interface Halves {
  readonly first: Spec
  readonly second: Spec
}
const SUMS: readonly (Halves & { readonly name: string; readonly gain: number; readonly lateS: number })[] = [
  {
    name: 'fourth-order Butterworth halves',
    first: [['low', 4, 3000]],
    second: [['high', 4, 3000]],
    gain: 0.8,
    lateS: 0.0003,
  },
  {
    name: 'an underlapping pair of second order',
    first: [['low', 2, 1800]],
    second: [['high', 2, 2600]],
    gain: -0.6,
    lateS: 0.0001,
  },
]
const bandHz = [200, 15_000] as const
const sums = SUMS.map(({ first, second, gain, lateS }) =>
  electricalSum(
    [first, second].map((spec, k) => ({
      outputNumber: k + 1,
      transfer: wireWith(null, {
        filter: filterOf(spec),
        left: k === 0 ? 1 : gain,
        delayS: k === 0 ? 0.01 : 0.01 + lateS,
      }),
      gainVrms: 1,
      leftGain: 1,
      rightGain: 0,
    })),
    { bandHz },
  ),
)

const response = heardOf(wireWith(null, { filter: filterOf(BAND_PASS), delayS: 0.01 }), 1, 0)
const delayed = groupDelayOf(heardOf(wireWith(null, { filter: filterOf(DELAYED) }), 1, 0))

interface Answer {
  readonly smoothing: Readonly<Record<string, { readonly freq_hz: number[]; readonly power: number[] }>>
  readonly pink: number
  readonly white: number
  readonly group_delay_s: number[]
  readonly crosstalk_db: number[]
  readonly sums: readonly {
    readonly delay_s: number
    readonly gain_db: number
    readonly rms_db: number
    readonly least_rms_db: number
  }[]
  readonly shape_db: number[]
}

let answer: Answer | null = null

/** What scipy says to all of it, asked once. */
function scipySays(context: { skip(note?: string): void }): Answer {
  needsTool(context, 'scipy')
  answer ??= ask()
  return answer
}

function ask(): Answer {
  writeFileSync(
    workshop.at('request.json'),
    JSON.stringify({
      filter: BAND_PASS,
      fractions: FRACTIONS,
      delayed: DELAYED,
      delay_hz: delayed.freqHz,
      leak: LEAK,
      leak_db: LEAK_DB,
      leak_bands: leakBands,
      sums: SUMS.map(({ first, second, gain, lateS }, n) => ({
        first,
        second,
        second_gain: gain,
        late_s: lateS,
        found_s: sums[n].settings[0].extraDelayS,
        found_sign: sums[n].settings[0].isTurned ? -1 : 1,
        freq_hz: sums[n].freqHz,
      })),
    }),
  )
  const script = fileURLToPath(new URL('response-family.py', import.meta.url))
  return JSON.parse(execFileSync('/usr/bin/python3', [script, workshop.at('request.json')], { encoding: 'utf8' }))
}

/** Chords over cells of h = ln 2 / 48: a mean is off by h² / 8 times the bend of ln P, 16 at a fourth-order corner. */
const CHORD = ((Math.LN2 / 48) ** 2 / 8) * 16
const CHORD_DB = (10 / Math.LN10) * CHORD

describe('read by scipy as well', { timeout: PATIENT_MS }, () => {
  test.for(FRACTIONS)('smoothing over 1/%d octave agrees', (fraction, context) => {
    const { freqHz, power } = smoothed(response, fraction, 20, 14_000)
    const outside = scipySays(context).smoothing[String(fraction)]
    expect(freqHz).toHaveLength(outside.freq_hz.length)
    power.forEach((value, n) => {
      expect(Math.abs(freqHz[n] / outside.freq_hz[n] - 1)).toBeLessThan(1e-12)
      expect(Math.abs(value / outside.power[n] - 1)).toBeLessThan(CHORD)
    })
  })

  test('the full-band levels agree', (context) => {
    const { pinkGain, whiteGain } = fullBandLevel(response, 20, 20_000)
    const { pink, white } = scipySays(context)
    // Over whole cells a chord is off by h² / 12 and not h² / 8; half of that on the gain.
    expect(Math.abs(pinkGain / pink - 1)).toBeLessThan(CHORD / 3)
    expect(Math.abs(whiteGain / white - 1)).toBeLessThan(CHORD / 3)
  })

  test('group delay agrees wherever the low-pass lets through', (context) => {
    const outside = scipySays(context).group_delay_s
    expect(delayed.freqHz.length).toBeGreaterThan(400)
    delayed.delayS.forEach((value, n) => {
      // The slope over ±4 cells h of a phase whose features are as wide as a fourth-order corner, Q 1.31: (4h)^4 / 24 of its
      // fourth derivative, some 200 of the largest delay of 0.25 ms; far down it is rounding.
      expect(Math.abs(value - outside[n])).toBeLessThan(1e-4 * 0.00025)
    })
  })

  test('crosstalk agrees in every third octave', (context) => {
    const [clean, leak] = [wireWith(null, { filter: filterOf(BAND_PASS) }), wireWith(null, { filter: filterOf(LEAK) })]
    const gain = 10 ** (LEAK_DB / 20)
    const wire = {
      ...clean,
      rightRe: leak.leftRe.map((value) => gain * value),
      rightIm: leak.leftIm.map((value) => gain * value),
    }
    const { curve } = crosstalkCurve(wire, true)!
    const outside = scipySays(context).crosstalk_db
    outside.forEach((levelDb, n) => {
      const centreHz = Math.sqrt(leakBands[n][0] * leakBands[n][1])
      const point = curve.find(({ freqHz }) => Math.abs(freqHz / centreHz - 1) < 0.01)!
      expect(Math.abs(point.levelDb - levelDb)).toBeLessThan(2 * CHORD_DB)
    })
  })

  test('a change of shape against volume agrees in every third octave', (context) => {
    const quiet = heardOf(wireWith(null, { filter: filterOf(LEAK), left: 0.1, delayS: 0.01 }), 1, 0)
    const loud = heardOf(wireWith(null, { delayS: 0.01 }), 1, 0)
    const steps = [
      { setting: '30', response: loud },
      { setting: '10', response: quiet },
    ]
    const [{ shape }] = volumeChanges(steps, 80, 5000)
    const outside = scipySays(context).shape_db
    const at = (centreHz: number): number =>
      outside[leakBands.findIndex(([lowHz, highHz]) => lowHz < centreHz && centreHz < highHz)]
    expect(shape).toHaveLength(outside.length)
    for (const { freqHz, liftDb } of shape) {
      expect(Math.abs(liftDb - (at(freqHz) - at(1000)))).toBeLessThan(2 * CHORD_DB)
    }
  })

  test.for(SUMS.map(({ name }, n) => ({ name, n })))('the flattest sum of $name agrees', ({ n }, context) => {
    const [{ extraDelayS, gainDb }] = sums[n].settings
    const outside = scipySays(context).sums[n]
    // Of settings within 0.02 dB rms the one with less delay is taken, and a search on every third point is as near as that.
    expect(sums[n].flattest.rmsDb).toBeLessThan(outside.least_rms_db + 0.03)
    // Two searches for one minimum on the same points. Both end where the rms is level to some 1e-10 dB; with a bend of 1 dB
    // per (0.1 ms)² or more, and of 0.05 dB per dB², that is 1e-9 s and 1e-4 dB.
    expect(Math.abs(sums[n].flattest.rmsDb - outside.rms_db)).toBeLessThan(1e-8)
    expect(Math.abs(extraDelayS! - outside.delay_s)).toBeLessThan(1e-9)
    expect(Math.abs(gainDb - outside.gain_db)).toBeLessThan(1e-4)
  })
})
