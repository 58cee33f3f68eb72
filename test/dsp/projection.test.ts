/** Turned cosines against those that are computed one by one (closed form). */
import { expect, test } from 'vitest'
import { project, takeOff, turning } from '../../src/dsp/projection.js'

const COUNT = 10_000
const STEP_RAD = (2 * Math.PI * 997) / 48_000

test('turned waves are the cosine and sine to the last bit of Float32', () => {
  const { cosine, sine } = turning(COUNT, STEP_RAD)
  const worst = (wave: Float32Array, of: (x: number) => number): number =>
    wave.reduce((most, value, n) => Math.max(most, Math.abs(value - of(STEP_RAD * n))), 0)
  // Half a step of Float32 at 1, and 4096 turnings of some 1e-16 each.
  expect(worst(cosine, Math.cos)).toBeLessThan(2 ** -25 + 1e-12)
  expect(worst(sine, Math.sin)).toBeLessThan(2 ** -25 + 1e-12)
})

test('a sum against both is that of the single products, and what is taken off is gone', () => {
  const samples = Float64Array.from(
    { length: COUNT },
    (_, n) => 0.3 * Math.cos(STEP_RAD * n) - 0.2 * Math.sin(STEP_RAD * n),
  )
  const { cosine, sine } = project(samples, 0, COUNT, STEP_RAD)
  const sum = (of: (x: number) => number): number =>
    samples.reduce((total, value, n) => total + value * of(STEP_RAD * n), 0)
  // COUNT products, each within some 1e-12 of its own.
  expect(Math.abs(cosine - sum(Math.cos))).toBeLessThan(1e-9)
  expect(Math.abs(sine - sum(Math.sin))).toBeLessThan(1e-9)
  takeOff(samples, STEP_RAD, 0.3, -0.2)
  expect(Math.max(...samples.map(Math.abs))).toBeLessThan(1e-12)
})
