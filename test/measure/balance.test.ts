import { expect, test } from 'vitest'
import { balanceOf, type OutputLevel } from '../../src/measure/balance.js'
import { normalFrom } from '../kit/random.js'

const level = (
  outputNumber: number,
  leftGain: number,
  rightGain: number,
  deviationDb: number,
  u = 0.05,
): OutputLevel => ({
  outputNumber,
  leftGain,
  rightGain,
  deviationDb,
  u,
})

test('a balance off its centre is found under a common level', () => {
  const balance = balanceOf([level(1, 1, 0, 1.5), level(2, 0, 1, -0.5), level(3, 1, 0, 1.5), level(4, 0, 1, -0.5)])!
  // Closed form: 1.5 against -0.5. Two means of two values each: u = 0.05 × sqrt(1/2 + 1/2).
  expect(balance.offsetDb).toBeCloseTo(2, 12)
  expect(balance.offsetU).toBeCloseTo(0.05, 12)
  expect(balance.leftOverDb).toBeCloseTo(0, 12)
})

test('a mono output tells nothing of the balance, but is no contradiction', () => {
  const pair = [level(1, 1, 0, 1), level(2, 0, 1, -1)]
  const balance = balanceOf([...pair, level(3, 0.5, 0.5, 0)])!
  expect(balance.offsetDb).toBeCloseTo(2, 12)
  expect(balance.leftOverDb).toBeCloseTo(0, 12)
})

test('one weak output is no balance: much is left over, and the offset is unsure', () => {
  const balance = balanceOf([level(1, 1, 0, 0), level(2, 0, 1, -6), level(3, 1, 0, 0), level(4, 0, 1, 0)])!
  // Closed form: means 0 and -3; left over +-3 on two of four. Birge: sqrt((9 + 9) / 0.05² / 2) = 60.
  expect(balance.offsetDb).toBeCloseTo(3, 12)
  expect(balance.leftOverDb).toBeCloseTo(Math.sqrt(4.5), 12)
  expect(balance.offsetU).toBeCloseTo(0.05 * 60, 9)
})

test('outputs of one side only have no balance', () => {
  expect(balanceOf([level(1, 1, 0, 0), level(2, 1, 0, 0)])).toBeNull()
  expect(balanceOf([])).toBeNull()
})

test('the uncertainty covers the truth', () => {
  const normal = normalFrom(81)
  let inside = 0
  const count = 2000
  for (let n = 0; n < count; n++) {
    const outputs = [1, 2, 3, 4, 5, 6].map((k) =>
      level(k, k % 2, 1 - (k % 2), (k % 2 === 1 ? 0.4 : -0.4) + 0.05 * normal(), 0.05),
    )
    const { offsetDb, offsetU } = balanceOf(outputs)!
    if (Math.abs(offsetDb - 0.8) <= 2 * offsetU) inside++
  }
  // Normal errors: 95.45 %, somewhat more because the scatter can only raise the uncertainty (Birge ratio of 4 degrees of
  // freedom: 97.6 % by integration). Three binomial deviations of 2000: 1.4 %.
  expect(inside / count).toBeGreaterThan(0.9545 - 0.014)
  expect(inside / count).toBeLessThan(0.985 + 0.009)
})
