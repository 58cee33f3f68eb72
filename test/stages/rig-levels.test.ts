import { expect, test } from 'vitest'
import { HeldLevels } from '../../src/measure/held-levels.js'
import type { Bench, CaptureFault } from '../../src/rig/roles.js'
import { watchLevels } from '../../src/stages/rig-levels.js'
import { dbFromRatio } from '../../src/units/level.js'
import { StopError } from '../../src/units/stop.js'
import { cardOf, GO_ON, rigOf } from './rig-card.js'

const rig = rigOf()
const never = new AbortController().signal

async function levelsOf(bench: Bench, hasTone: boolean, lengthS = 0.6) {
  const held = new HeldLevels(3)
  const looks: number[] = []
  await watchLevels(
    bench,
    { hasTone, lengthS, everyS: 0.1 },
    (block) => held.add(block),
    (s) => looks.push(s),
    never,
    GO_ON,
  )
  return { looks, levelsDbfs: held.read(looks.at(-1)!).map(({ levelFs }) => dbFromRatio(levelFs)) }
}

// Truth: -40 dBFS of a player with 2 V at full scale, on a card with 4 V: -46.02 dBFS.
test('a quiet tone comes out at its level on every input, in real time', async () => {
  const { looks, levelsDbfs } = await levelsOf(cardOf(rig), true)
  for (const levelDbfs of levelsDbfs) expect(levelDbfs).toBeCloseTo(-46.02, 1)
  expect(looks).toHaveLength(6)
  expect(looks.at(-1)).toBeGreaterThan(0.55)
})

// Truth: the simulated card's noise of -112 dBFS in 20 kHz, seen up to 24 kHz: 0.8 dB more.
test('without a tone the inputs stay at their floor', async () => {
  const { levelsDbfs } = await levelsOf(cardOf(rig), false)
  for (const levelDbfs of levelsDbfs) expect(levelDbfs).toBeCloseTo(-111.2, 0)
})

/** A live bench whose player plays until it is stopped. */
function liveBench(more: { failed?: Promise<CaptureFault>; play?: Bench['player']['play'] } = {}) {
  const seen = { isPlaying: false, isStopped: false }
  const bench: Bench = {
    ...cardOf(rig),
    isSimulated: false,
    capture: {
      where: 'card',
      start: async (onBlock) => {
        const timer = setInterval(() => onBlock([0, 1, 2].map(() => new Float32Array(480))), 10)
        return {
          sampleRateHz: 48_000,
          inputCount: 3,
          ...(more.failed ? { failed: more.failed } : {}),
          stop: async () => {
            clearInterval(timer)
            seen.isStopped = true
            return []
          },
        }
      },
    },
    player: {
      where: 'output',
      play:
        more.play ??
        ((_audio, signal) =>
          new Promise((_, reject) => {
            seen.isPlaying = true
            signal.addEventListener('abort', () => {
              seen.isPlaying = false
              reject(signal.reason)
            })
          })),
    },
  }
  return { bench, seen }
}
const watch = (bench: Bench, ending: AbortSignal, onLook = (): void => {}, signal = GO_ON): Promise<void> =>
  watchLevels(bench, { hasTone: true, lengthS: null, everyS: 0.05 }, () => {}, onLook, ending, signal)

test('an end by hand silences the player and closes the capture, without an error', async () => {
  const { bench, seen } = liveBench()
  const ending = new AbortController()
  let lookCount = 0
  await watch(bench, ending.signal, () => {
    if (++lookCount === 3) {
      expect(seen.isPlaying).toBe(true)
      ending.abort()
    }
  })
  expect(seen).toEqual({ isPlaying: false, isStopped: true })
})

test('a stop rejects with its reason, and silences the player too', async () => {
  const { bench, seen } = liveBench()
  const stopping = new AbortController()
  const reason = new StopError('stopped by the system', 'this run', 'Give it again.', 'instrument')
  await expect(watch(bench, never, () => stopping.abort(reason), stopping.signal)).rejects.toBe(reason)
  expect(seen).toEqual({ isPlaying: false, isStopped: true })
})

test('a card that goes away ends it with one line', async () => {
  const failed = new Promise<CaptureFault>((resolve) => {
    setTimeout(() => resolve({ kind: 'vanished', says: 'the card went away after 1.0 s', atS: 1 }), 100)
  })
  const { bench, seen } = liveBench({ failed })
  await expect(watch(bench, never)).rejects.toThrow('the card went away after 1.0 s (card). Check that the card')
  expect(seen).toEqual({ isPlaying: false, isStopped: true })
})

test('a player that fails ends it with its own line', async () => {
  const stop = new StopError('the output is muted', 'output', 'Unmute it.', 'instrument')
  const { bench, seen } = liveBench({ play: () => Promise.reject(stop) })
  await expect(watch(bench, never)).rejects.toBe(stop)
  expect(seen.isStopped).toBe(true)
})
