import { expect, test } from 'vitest'
import { BlockClock } from '../../src/stages/block-clock.js'

/** Blocks of 2048 samples at a rate, each up to 20 ms late. */
function clockAt(rateHz: number, lengthS: number): BlockClock {
  const clock = new BlockClock()
  const count = Math.floor((lengthS * rateHz) / 2048)
  for (let i = 0; i < count; i++) clock.arrived(2048, (1000 * 2048 * i) / rateHz + 20 * ((i * 0.618) % 1))
  return clock
}

test('a card at the rate that was said is as said', () => {
  expect(clockAt(48_000, 4).otherRateHz(48_000)).toBeNull()
  expect(clockAt(192_000, 4).otherRateHz(192_000)).toBeNull()
})

test('a card at another standard rate is told by that', () => {
  expect(clockAt(44_100, 4).otherRateHz(48_000)).toBe(44_100)
  expect(clockAt(96_000, 4).otherRateHz(48_000)).toBe(96_000)
})

test('a card at a rate of its own is told by about that', () => {
  expect(clockAt(32_000, 4).otherRateHz(48_000)).toBeCloseTo(32_000, -3)
})

test('too short a time says nothing', () => {
  expect(clockAt(44_100, 1).otherRateHz(48_000)).toBeNull()
})
