import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { locate } from '../../src/measure/locate.js'
import { openingIn } from '../../src/measure/marker-watch.js'
import { listenForTrack } from '../../src/stages/listen.js'
import { sectionStartS } from '../../src/stimulus/layout.js'
import { StopError } from '../../src/units/stop.js'
import { hiss } from '../kit/random.js'
import { playTrack } from '../kit/track.js'
import { wireOf } from '../kit/vehicle.js'
import { some } from '../long.js'
import { feedOf, sinkOf } from './listen-world.js'

const { outputs } = parseJob(
  readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'),
  'job.yaml',
)
const RATE_HZ = 48_000
const GO_ON = new AbortController().signal

const singles = (channels: readonly Float64Array[]): Float32Array[] => channels.map((one) => Float32Array.from(one))
/** Outputs of the demo map while the track plays, or a part of it. */
const played = (numbers: readonly number[], ppm = 0, toS = 60, tailS = 3): Float32Array[] => {
  const track = playTrack({ ppm, leadInS: 5.3, tailS, toS: Math.min(toS, 41) })
  return singles(numbers.map((number) => wireOf(outputs[number - 1], track)))
}
/** One output while the whole track plays; no test changes it. */
const whole = played([3])
/** What the outputs give before: hiss. */
const quiet = (count: number, lengthS: number): Float32Array[] =>
  singles(Array.from({ length: count }, (_, k) => hiss(Math.round(lengthS * RATE_HZ), 7e-6, 900 + k)))

/** Where a take's first samples stand in what was fed. */
const placeOf = (take: Float32Array, fed: Float32Array): number => {
  for (let at = 0; at < fed.length; at++) {
    let n = 0
    while (n < 50 && fed[at + n] === take[n]) n++
    if (n === 50) return at
  }
  return Number.NaN
}

interface Heard {
  readonly take: Awaited<ReturnType<typeof listenForTrack>>
  readonly said: string[]
  readonly fates: string[]
  readonly progress: string[]
  readonly sinkFrames: number
}

async function listened(stretches: readonly (readonly Float32Array[])[]): Promise<Heard> {
  const [said, fates, progress]: [string[], string[], string[]] = [[], [], []]
  let sink = sinkOf(fates)
  const take = await listenForTrack(
    feedOf(stretches).bench,
    {
      makeSink: async () => {
        fates.push('opened')
        sink = sinkOf(fates)
        return sink
      },
      onMarker: () => {},
      say: (text) => void said.push(text),
    },
    ({ step, detail }) => void progress.push(`${step}: ${detail}`),
    GO_ON,
  )
  return { take, said, fates, progress, sinkFrames: sink.frames() }
}

describe('a track that a person starts', () => {
  test.each(some([-500, 500], 1))('is taken from its beginning to its end, with clocks %d ppm apart', async (ppm) => {
    const channels = played([1, 2, 4, 9], ppm)
    const { take, said, fates, progress, sinkFrames } = await listened([quiet(4, 12), channels])
    expect(said).toEqual([])
    expect(fates).toEqual(['opened', 'finished'])
    expect(take.faults).toEqual([])
    expect(take.isBrokenOff).toBe(false)
    const located = locate(take.audio, 'take')
    expect(located.clockOffsetPpm).toBeCloseTo(ppm, 0)
    // 1.5 s before the track's first sample; the chirp's place on these outputs is good to some milliseconds.
    expect(located.startSample / RATE_HZ).toBeGreaterThan(1.4)
    expect(located.startSample / RATE_HZ).toBeLessThan(1.6)
    expect(sinkFrames).toBe(take.audio.channels[0].length)
    // Not a sample is lost or changed.
    const first = placeOf(take.audio.channels[0], channels[0])
    const same = take.audio.channels.every((channel, k) => {
      for (let n = 0; n < 40 * RATE_HZ; n++) if (channel[n] !== channels[k][first + n]) return false
      return true
    })
    expect(same).toBe(true)
    expect(progress[0]).toBe('listening: play the track on the head unit')
    expect(progress).toContain('heard it: 12 of 40 s')
  })

  test.each(outputs.map(({ number, label }) => [number, label] as const))(
    'is heard on output %d %s alone',
    (number) => {
      const channels = played([number], 500, 8, 0)
      const stretch = { sampleRateHz: RATE_HZ, channels: [channels[0].subarray(5.8 * RATE_HZ)] }
      const opening = openingIn(stretch)
      // Slow filters move a chirp by some milliseconds; the rear fill is 12 ms late.
      expect(opening!.atS).toBeGreaterThan(5.3 + sectionStartS('opening') - 5.8 - 0.04)
      expect(opening!.atS).toBeLessThan(5.3 + sectionStartS('opening') - 5.8 + 0.06)
    },
  )

  test('that stops half way is said, and the next one is taken', async () => {
    const { take, said, fates } = await listened([played([3], 0, 20, 15), whole])
    expect(said).toEqual([
      expect.stringMatching(
        /^The sound stopped about (20|21) s into the track\. Play the track again .* still listening\.$/,
      ),
    ])
    expect(fates).toEqual(['opened', 'discarded', 'opened', 'finished'])
    expect(locate(take.audio, 'take').trackCount).toBe(1)
  })

  test('that is started again before its end is taken from there', async () => {
    const { take, said, fates } = await listened([played([3], 0, 15, 0), whole])
    expect(said).toEqual(['The track was started again: it is taken from there.'])
    expect(fates).toEqual(['opened', 'discarded', 'opened', 'finished'])
    expect(locate(take.audio, 'take').trackCount).toBe(1)
  })

  test('that loses its last seconds is said too', async () => {
    const { said, fates } = await listened([played([3], 0, 36, 8), whole])
    expect(said).toEqual([
      'The end of the track was not heard where it should be. Play the track again from its beginning; still listening.',
    ])
    expect(fates).toEqual(['opened', 'discarded', 'opened', 'finished'])
  })

  test('whose marker is refused ends the listening before a file is made', async () => {
    const fates: string[] = []
    const stop = new StopError('far too loud', 'input 1', 'Stop the track.', 'instrument')
    const request = {
      makeSink: async () => sinkOf(fates),
      onMarker: ({ channels }: { channels: readonly Float32Array[] }) => {
        // 0.42 s and 0.3 s of chirp, and nothing louder.
        expect(channels[0].length).toBe(Math.round(0.72 * RATE_HZ))
        throw stop
      },
      say: () => {},
    }
    await expect(listenForTrack(feedOf([whole]).bench, request, () => {}, GO_ON)).rejects.toBe(stop)
    expect(fates).toEqual([])
  })
})

describe('listening', () => {
  const nothing = { makeSink: null, onMarker: () => {}, say: () => {} }

  test('ends at once when it is interrupted', async () => {
    const stop = new AbortController()
    setTimeout(() => stop.abort(new Error('Ctrl-C')), 50)
    await expect(listenForTrack(feedOf([quiet(2, 1)]).bench, nothing, () => {}, stop.signal)).rejects.toThrow('Ctrl-C')
  })

  test('ends with a word when the card is unplugged', async () => {
    const feed = feedOf([quiet(2, 1)])
    setTimeout(() => feed.unplug({ kind: 'vanished', says: 'the card is gone', atS: null }), 50)
    await expect(listenForTrack(feed.bench, nothing, () => {}, GO_ON)).rejects.toThrow(/^the card is gone \(card\)/)
  })
})
