import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { expect, test } from 'vitest'
import { openingIn } from '../../src/measure/marker-watch.js'
import type { Bench } from '../../src/rig/roles.js'
import { listenForTrack } from '../../src/stages/listen.js'
import { hiss } from '../kit/random.js'
import { isLong } from '../long.js'
import { feedOf, soundOf } from './listen-world.js'

const RATE_HZ = 48_000
const BLOCK_S = 4096 / RATE_HZ

test('listening costs less than a tenth of a core for twelve inputs, in memory that stays flat', async () => {
  setFlagsFromString('--expose-gc')
  const collect: () => void = runInNewContext('gc')
  const stop = new AbortController()
  // Loud enough to be looked at, and nowhere a marker.
  const block = Array.from({ length: 12 }, (_, k) => Float32Array.from(hiss(4096, 0.01, 900 + k)))
  const lengthS = isLong ? 120 : 60
  const sizes: number[] = []
  let usedS = 0
  const start: Bench['capture']['start'] = async (onBlock) => {
    const feed = async (): Promise<void> => {
      for (let k = 0; k * BLOCK_S < lengthS; k++) {
        const copy = block.map((channel) => channel.slice())
        const before = process.cpuUsage()
        onBlock(copy)
        const { user, system } = process.cpuUsage(before)
        usedS += (user + system) / 1e6
        await new Promise(setImmediate)
        if (k % 100 !== 99) continue
        collect()
        sizes.push(process.memoryUsage().arrayBuffers)
      }
      stop.abort(new Error('enough'))
    }
    void feed()
    return { sampleRateHz: RATE_HZ, inputCount: 12, stop: async () => [] }
  }
  const bench = { ...feedOf([block]).bench, capture: { where: 'card', start } }
  const request = { makeSink: null, onMarker: () => {}, say: () => {} }
  await expect(listenForTrack(bench, request, () => {}, stop.signal)).rejects.toThrow('enough')
  expect(usedS / lengthS).toBeLessThan(0.1)
  // The ring of 12 inputs is 14 MB. Sizes are taken once it is full; what others left may only go.
  const [early, late] = [sizes.slice(1, 4), sizes.slice(-3)]
  expect(Math.min(...late) - Math.min(...early)).toBeLessThan(2e6)
})

test('minutes of music, speech and hum are no marker', () => {
  const rateHz = 12_000
  // Longer stretches than a run looks at, for the time's sake; they overlap by more than a marker with its quiet.
  const [windowS, hopS] = [30, 27]
  for (const [kind, wholeS, seed] of [
    ['music', 240, 1],
    ['speech', 180, 2],
    ['hum', 180, 3],
  ] as const) {
    const lengthS = isLong ? wholeS : wholeS / 2
    const sound = soundOf(kind, lengthS, rateHz, seed)
    for (let fromS = 0; fromS + 3 < lengthS; fromS += hopS) {
      const channels = [sound.subarray(fromS * rateHz, (fromS + windowS) * rateHz)]
      expect([kind, fromS, openingIn({ sampleRateHz: rateHz, channels })]).toEqual([kind, fromS, null])
    }
  }
})
