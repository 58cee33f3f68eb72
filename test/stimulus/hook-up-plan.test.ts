import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { leadSteps, leadsAfter, shareOut } from '../../src/stimulus/hook-up-plan.js'
import { uniformFrom } from '../kit/random.js'

const DEMO = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const numbersOf = (job: Job, inputCount: number): number[][] =>
  shareOut(job, inputCount).map((places) => places.map((place) => job.outputs[place].number))

describe('the demo map', () => {
  test.each([
    [1, [[1], [2], [3], [4], [5], [6], [7], [8], [9], [10]]],
    [
      2,
      [
        [1, 3],
        [2, 4],
        [5, 6],
        [7, 8],
        [9, 10],
      ],
    ],
    [
      4,
      [
        [1, 2, 3, 4],
        [5, 6, 7, 8],
        [9, 10],
      ],
    ],
    [
      8,
      [
        [1, 2, 3, 4, 5, 6, 7, 8],
        [9, 10],
      ],
    ],
    [12, [[1, 2, 3, 4, 5, 6, 7, 8, 9, 10]]],
  ])('with %d inputs keeps sums in one hook-up, then pairs, then the map’s order', (inputCount, hookUps) => {
    expect(numbersOf(DEMO, inputCount)).toEqual(hookUps)
  })

  test('with 3 inputs keeps both sums and two pairs, which filling in order would break', () => {
    const hookUps = numbersOf(DEMO, 3)
    const together = (...numbers: number[]): boolean =>
      hookUps.some((hookUp) => numbers.every((number) => hookUp.includes(number)))
    expect(hookUps).toHaveLength(4)
    expect([together(1, 3), together(2, 4), together(5, 6), together(9, 10)]).toEqual([true, true, true, true])
  })
})

/** A job of random pairs and one sum of three. */
function drawn(seed: number): Job {
  const uniform = uniformFrom(seed)
  const count = 4 + Math.floor(4 * uniform())
  const places = Array.from({ length: count }, (_, k) => k)
  const mixed = places.map((place) => ({ place, key: uniform() })).sort((a, b) => a.key - b.key)
  const pairCount = Math.floor((count / 2) * uniform() + 0.5)
  const pairOf = (place: number): string | null => {
    const at = mixed.findIndex((one) => one.place === place)
    return at < 2 * pairCount ? `pair ${at >> 1}` : null
  }
  const outputs = places.map((place) => ({ ...DEMO.outputs[4], number: place + 1, pair: pairOf(place) }))
  const summed = places.filter(() => uniform() < 0.4).slice(0, 3)
  const sums = summed.length > 1 ? [{ name: 'sum', outputs: summed.map((place) => place + 1) }] : []
  return { ...DEMO, outputs, sums }
}

/** Whole sums count 3, whole pairs 2: as the plan weighs them. */
function worthOf(job: Job, hookUpOf: readonly number[]): number {
  const isWhole = (numbers: readonly number[]): boolean =>
    numbers.every((number) => hookUpOf[number - 1] === hookUpOf[numbers[0] - 1])
  const names = [...new Set(job.outputs.flatMap(({ pair }) => pair ?? []))]
  const pairs = names.map((name) => job.outputs.filter(({ pair }) => pair === name).map(({ number }) => number))
  return 3 * job.sums.filter(({ outputs }) => isWhole(outputs)).length + 2 * pairs.filter(isWhole).length
}

/** Every sharing of so many outputs into hook-ups with room for so many each. */
function* sharings(count: number, room: number, hookUpCount: number, so: readonly number[] = []): Generator<number[]> {
  if (so.length === count) {
    yield [...so]
    return
  }
  for (let hookUp = 0; hookUp < hookUpCount; hookUp++) {
    if (so.filter((one) => one === hookUp).length < room) yield* sharings(count, room, hookUpCount, [...so, hookUp])
  }
}

test('of 120 drawn jobs each is shared as well as trying every sharing finds, in the fewest hook-ups', () => {
  for (let seed = 1; seed <= 120; seed++) {
    const job = drawn(seed)
    const inputCount = 2 + (seed % 3)
    const count = job.outputs.length
    const hookUps = shareOut(job, inputCount)
    expect(hookUps).toHaveLength(Math.ceil(count / inputCount))
    expect(hookUps.every((places) => places.length <= inputCount)).toBe(true)
    expect(hookUps.flat().sort((a, b) => a - b)).toEqual(Array.from({ length: count }, (_, k) => k))
    const hookUpOf = Array.from({ length: count }, (_, place) => hookUps.findIndex((places) => places.includes(place)))
    let most = 0
    for (const sharing of sharings(count, inputCount, hookUps.length)) most = Math.max(most, worthOf(job, sharing))
    expect([seed, worthOf(job, hookUpOf)]).toEqual([seed, most])
  }
})

test('thirty-two outputs are shared out in less than a second', () => {
  const outputs = Array.from({ length: 32 }, (_, k) => ({
    ...DEMO.outputs[4],
    number: k + 1,
    pair: `pair ${k % 16}`,
  }))
  const startedMs = performance.now()
  const hookUps = shareOut({ ...DEMO, outputs, sums: [] }, 6)
  expect(performance.now() - startedMs).toBeLessThan(1000)
  expect(hookUps).toHaveLength(6)
  expect(hookUps.every((places) => places.every((k) => places.includes((k + 16) % 32)))).toBe(true)
})

describe('the steps from one hook-up to the next', () => {
  const leads = (...pairs: [number, number][]) =>
    pairs.map(([inputNumber, outputNumber]) => ({ inputNumber, outputNumber }))

  test('are the leads that move, then those that stay where they are though nobody needs them', () => {
    const before = new Map([
      [1, 1],
      [2, 2],
      [3, 3],
    ])
    expect(leadSteps(leads([2, 5], [1, 4]), before)).toEqual([
      { inputNumber: 1, outputNumber: 4, stays: false },
      { inputNumber: 2, outputNumber: 5, stays: false },
      { inputNumber: 3, outputNumber: 3, stays: true },
    ])
  })

  test('take a lead off that stays on an output which another one needs', () => {
    expect([...leadsAfter(leads([2, 1]), new Map([[1, 1]]))]).toEqual([[2, 1]])
  })

  test('move no lead that is right already', () => {
    expect(leadSteps(leads([1, 1], [2, 4]), new Map([[1, 1]])).map(({ stays }) => stays)).toEqual([false, true])
  })
})
