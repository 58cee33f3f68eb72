/** The kit is the truth of other tests, so it is held against a second road itself. */
import { expect, test } from 'vitest'
import { realSpectrum } from '../../src/dsp/fft.js'
import { renderTrack } from '../../src/stimulus/render.js'
import { butterworth, type Filter, filtered, linkwitzRiley, magnitudeDb, peaking, responseAt, shelf } from './biquad.js'
import { normalFrom, uniformFrom } from './random.js'
import { playTrack } from './track.js'

test('the played track is the rendered one, sample for sample', async () => {
  const rendered = await renderTrack(48_000)
  const played = playTrack()
  expect(played.left.length).toBe(rendered.channels[0].length)
  let worst = 0
  for (const [side, channel] of [played.left, played.right].entries()) {
    for (let n = 0; n < channel.length; n++) worst = Math.max(worst, Math.abs(channel[n] - rendered.channels[side][n]))
  }
  // Tolerance: the rendering is Float32, 2^-25 of a value near 1, and sums up to three oscillators.
  expect(worst).toBeLessThan(4 * 2 ** -25)
})

const FILTERS: [string, Filter][] = [
  ['fourth-order Butterworth low-pass', butterworth('low', 4, 80, 48_000)],
  ['fourth-order Linkwitz-Riley high-pass', linkwitzRiley('high', 4, 3000, 48_000)],
  ['peaking filter', [peaking(1000, 6, 1.4, 48_000)]],
  ['pair of shelves', [shelf('low', 200, 6, 48_000), shelf('high', 4000, -6, 48_000)]],
]

test.each(FILTERS)('a %s has the response that its closed form says', (_, filter) => {
  const size = 2 ** 16
  const impulse = new Float64Array(size)
  impulse[0] = 1
  const spectrum = realSpectrum(filtered(impulse, filter), size)
  // Tolerance: rounding alone; the longest of these has died away to 1e-30 at the end of the record.
  for (const bin of [20, 100, 700, 4000, 20_000]) {
    const { re, im } = responseAt(filter, (bin * 48_000) / size, 48_000)
    expect(Math.hypot(spectrum[2 * bin] - re, spectrum[2 * bin + 1] - im)).toBeLessThan(1e-9)
  }
})

test('filters have the levels that they are named for', () => {
  // Truth: closed forms at the design frequency: Butterworth 1/sqrt 2, Linkwitz-Riley 1/2, peaking its gain, shelf of
  // slope 1 half its gain (dB) there and all of it far away.
  const db = (filter: Filter, freqHz: number): number => magnitudeDb(filter, freqHz, 48_000)
  for (const order of [2, 4] as const) {
    for (const kind of ['low', 'high'] as const) {
      expect(db(butterworth(kind, order, 500, 48_000), 500)).toBeCloseTo(-10 * Math.log10(2), 9)
      expect(db(linkwitzRiley(kind, order, 500, 48_000), 500)).toBeCloseTo(-20 * Math.log10(2), 9)
    }
  }
  expect(db([peaking(1000, 4.1, 1.1, 48_000)], 1000)).toBeCloseTo(4.1, 9)
  expect(db([shelf('low', 200, 6, 48_000)], 200)).toBeCloseTo(3, 9)
  expect(db([shelf('low', 200, 6, 48_000)], 1)).toBeCloseTo(6, 3)
  expect(db([shelf('high', 4000, -6, 48_000)], 4000)).toBeCloseTo(-3, 9)
  expect(db([shelf('high', 4000, -6, 48_000)], 23_999)).toBeCloseTo(-6, 3)
})

test('random numbers repeat with their seed and have the moments of their laws', () => {
  const draw = (next: () => number): number[] => Array.from({ length: 100_000 }, next)
  expect(draw(uniformFrom(7))).toEqual(draw(uniformFrom(7)))
  expect(draw(uniformFrom(7)).slice(0, 4)).not.toEqual(draw(uniformFrom(8)).slice(0, 4))
  // Truth: mean 1/2 and variance 1/12; mean 0, variance 1, fourth moment 3. Tolerance: five standard errors at 10^5.
  const moment = (values: readonly number[], k: number): number => values.reduce((sum, x) => sum + x ** k, 0) / 1e5
  const uniform = draw(uniformFrom(1)).map((x) => x - 0.5)
  expect(Math.abs(moment(uniform, 1))).toBeLessThan(5 * Math.sqrt(1 / 12 / 1e5))
  expect(Math.abs(moment(uniform, 2) - 1 / 12)).toBeLessThan(5 * Math.sqrt(1 / 180 / 1e5))
  const normal = draw(normalFrom(1))
  expect(Math.abs(moment(normal, 1))).toBeLessThan(5 * Math.sqrt(1 / 1e5))
  expect(Math.abs(moment(normal, 2) - 1)).toBeLessThan(5 * Math.sqrt(2 / 1e5))
  expect(Math.abs(moment(normal, 4) - 3)).toBeLessThan(5 * Math.sqrt(96 / 1e5))
})
