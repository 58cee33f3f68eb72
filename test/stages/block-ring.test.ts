import { expect, test } from 'vitest'
import { BlockRing } from '../../src/stages/block-ring.js'

/** Frame numbers as samples, on two inputs of opposite sign. */
const block = (from: number, count: number): Float32Array[] =>
  [1, -1].map((sign) => Float32Array.from({ length: count }, (_, n) => sign * (from + n)))

function filled(): BlockRing {
  const ring = new BlockRing(2, 10)
  for (const [from, count] of [
    [0, 4],
    [4, 4],
    [8, 4],
    [12, 4],
  ]) {
    ring.push(block(from, count))
  }
  return ring
}

test('blocks are let go of as soon as the others hold what is wanted', () => {
  const ring = filled()
  expect([ring.firstFrame, ring.endFrame]).toEqual([4, 16])
})

test('the last frames are there for each input, or as many as there are', () => {
  const ring = filled()
  expect(ring.last(6).map((channel) => [...channel])).toEqual([
    [10, 11, 12, 13, 14, 15],
    [-10, -11, -12, -13, -14, -15],
  ])
  expect(ring.last(100)[0].length).toBe(12)
})

test('blocks from a frame on are cut there, and hold the same samples', () => {
  const ring = filled()
  expect(ring.since(10).map(([channel]) => [...channel])).toEqual([
    [10, 11],
    [12, 13, 14, 15],
  ])
  expect(ring.since(16)).toEqual([])
})
