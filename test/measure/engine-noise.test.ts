/** What the engine adds: series made from closed forms, in noise of a seed. */
import { describe, expect, test } from 'vitest'
import { type EngineNoise, engineNoise } from '../../src/measure/engine-noise.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { trackWhine } from '../../src/measure/whine-track.js'
import { whiteNoise } from '../kit/random.js'
import { sines, summed } from '../kit/track.js'
import { half, isLong } from '../long.js'

const RATE_HZ = 48_000
const LENGTH_S = 5.1
const COUNT = Math.round(LENGTH_S * RATE_HZ)
const db = (ratio: number): number => 20 * Math.log10(ratio)

/** A fundamental that goes evenly from one frequency to another, with its multiples (peaks, fraction of full scale). */
function series(fromHz: number, toHz: number, peaks: readonly number[]): Float64Array {
  const out = new Float64Array(COUNT)
  for (let n = 0; n < COUNT; n++) {
    const t = n / RATE_HZ
    const turn = 2 * Math.PI * (fromHz * t + ((toHz - fromHz) * t * t) / (2 * LENGTH_S))
    peaks.forEach((peak, k) => {
      out[n] += peak * Math.sin((k + 1) * turn + k)
    })
  }
  return out
}

const noise = (rms: number, seed: number): Float64Array => whiteNoise(COUNT, rms, seed)
const before = noise(2e-5, 1)

function compared(running: Float64Array, stopped = before): EngineNoise {
  const samples = Float32Array.from(running)
  return engineNoise(
    samples,
    RATE_HZ,
    readNoise(samples, RATE_HZ, null),
    readNoise(Float32Array.from(stopped), RATE_HZ, null),
  )
}

describe('whine', () => {
  // Truth: the closed form. Ripple of an alternator: 6 p n / 60, so 1200 Hz for 6 pole pairs at 2000 turns a minute, 1600 Hz
  // for 8 pole pairs; it moves with the engine.
  const walks: readonly (readonly [fromHz: number, toHz: number])[] = [
    [1200, 1203],
    [1200, 1210],
    [1600, 1400],
    [1200, 1300],
    [400, 430],
    [3000, 3050],
    [600, 640],
  ]
  test.each(half(walks))(
    'that goes from %d Hz to %d Hz is followed, and its level is that of all its lines',
    (fromHz, toHz) => {
      const peaks = [5e-5, 4e-5, 2e-5, 1e-5]
      const { whine } = compared(summed(noise(2e-5, 2), series(fromHz, toHz, peaks)))
      expect(whine!.isMoving).toBe(true)
      expect(whine!.orders).toEqual([1, 2, 3, 4])
      // The ends are those of the second block and of the last but one, in their middles: blocks of 8192 samples, half overlapped.
      const lastBlock = Math.floor((COUNT - 8192) / 4096)
      const at = (block: number): number => fromHz + ((toHz - fromHz) * (4096 * (block + 1))) / COUNT
      const [low, high] = [at(1), at(lastBlock - 1)].sort((a, b) => a - b)
      const slack = 4 * whine!.freqU + 0.05
      expect(Math.abs(whine!.lowHz - low)).toBeLessThan(slack)
      expect(Math.abs(whine!.highHz - high)).toBeLessThan(slack)
      // A Hann line cut three bins either side of its middle keeps all but 0.003 dB; the rest is noise.
      expect(Math.abs(db(whine!.rmsFs / Math.hypot(...peaks)))).toBeLessThan(db(1 + 4 * whine!.relativeU) + 0.01)
    },
  )

  test('that stands still is named with its frequency, and as not moving', () => {
    const { whine, lines } = compared(summed(noise(2e-5, 2), series(1200, 1200, [5e-5, 4e-5, 2e-5])))
    expect(whine!.isMoving).toBe(false)
    expect(whine!.orders).toEqual([1, 2, 3])
    expect(Math.abs(whine!.lowHz - 1200)).toBeLessThan(0.1)
    expect(Math.abs(db(whine!.rmsFs / Math.hypot(5e-5, 4e-5, 2e-5)))).toBeLessThan(0.02)
    expect(lines).toEqual([])
  })

  test('of one moving line is found 20 dB under the noise', () => {
    // The line: peak 2e-6; the noise: 2e-5 × sqrt 2 of a full-scale sine, 23 dB above.
    const { whine } = compared(summed(noise(2e-5, 2), series(1200, 1260, [2e-6])))
    expect(whine!.orders).toEqual([1])
    expect(whine!.isMoving).toBe(true)
    expect(Math.abs(db(whine!.rmsFs / 2e-6))).toBeLessThan(db(1 + 4 * whine!.relativeU))
  })

  test('beside hum is told from it', () => {
    const hum = sines(
      COUNT,
      RATE_HZ,
      [1, 2, 3, 4, 5].map((order) => ({ freqHz: 50 * order, peak: 3e-4 / order })),
    )
    const stopped = summed(before, hum)
    const running = summed(noise(2e-5, 2), hum, series(1200, 1230, [5e-5, 4e-5]))
    const { whine } = compared(running, stopped)
    expect(whine!.orders).toEqual([1, 2])
    expect(Math.abs(db(whine!.rmsFs / Math.hypot(5e-5, 4e-5)))).toBeLessThan(0.05)
    expect(compared(stopped, stopped).whine).toBeNull()
  })

  test('is not what was there before the engine ran', () => {
    const spurs = series(1500, 1500, [1e-4, 5e-5, 3e-5])
    const stopped = summed(before, spurs)
    const { whine, lines } = compared(summed(noise(2e-5, 2), spurs), stopped)
    expect([whine, lines]).toEqual([null, []])
    const both = compared(summed(noise(2e-5, 2), spurs, series(900, 950, [3e-5, 2e-5])), stopped)
    expect(both.whine!.orders).toEqual([1, 2])
    expect(both.whine!.lowHz).toBeGreaterThan(900)
    expect(both.whine!.highHz).toBeLessThan(950)
  })

  test('has the uncertainty that its readings scatter by', () => {
    const takes = 60
    const values: number[] = []
    let stated = 0
    const line = series(1200, 1260, [6e-6, 4e-6])
    for (let seed = 1; seed <= takes; seed++) {
      const track = trackWhine(Float32Array.from(summed(noise(2e-5, 50 * seed), line)), RATE_HZ, [])!
      expect(track.orders).toEqual([1, 2])
      const power = track.powers.reduce((sum, value) => sum + value, 0)
      values.push(Math.sqrt(power) / Math.hypot(6e-6, 4e-6) - 1)
      stated += (0.5 * track.powerU) / power / takes
    }
    const mean = values.reduce((sum, value) => sum + value, 0) / takes
    const spread = Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / takes)
    // The spread of 60 values is known to 9 %, k = 1.
    expect(Math.abs(stated / spread - 1)).toBeLessThan(0.27)
    expect(Math.abs(mean)).toBeLessThan((4 * spread) / Math.sqrt(takes))
  })
})

describe('noise alone', () => {
  test('holds no whine, over many seeds', () => {
    for (let seed = 1; seed <= (isLong ? 40 : 15); seed++) {
      expect(trackWhine(Float32Array.from(noise(2e-5, 500 + seed)), RATE_HZ, [])).toBeNull()
    }
  })

  test('that is the same with the engine does not rise; twice as much rises by 6 dB', () => {
    const same = compared(noise(2e-5, 3))
    expect(Math.abs(same.riseDb!)).toBeLessThan(4 * same.riseDbU)
    expect(Math.abs(same.hissRiseDb!)).toBeLessThan(4 * same.hissRiseDbU)
    const twice = compared(noise(4e-5, 3))
    expect(Math.abs(twice.riseDb! - 6.0206)).toBeLessThan(4 * twice.riseDbU)
    expect(Math.abs(twice.hissRiseDb! - 6.0206)).toBeLessThan(4 * twice.hissRiseDbU)
    expect([twice.whine, twice.lines]).toEqual([null, []])
  })

  test('under a whine has a rise of its own', () => {
    const { riseDb, hissRiseDb, hissRiseDbU } = compared(summed(noise(4e-5, 3), series(1200, 1230, [1e-4, 5e-5])))
    // Closed form: hiss of 20 Hz to 20 kHz of 24 kHz, and half the square of each peak.
    const hiss = (rms: number): number => rms ** 2 * (19_980 / 24_000)
    const truthDb = 10 * Math.log10((hiss(4e-5) + 0.5 * (1e-4 ** 2 + 5e-5 ** 2)) / hiss(2e-5))
    expect(Math.abs(riseDb! - truthDb)).toBeLessThan(0.05)
    expect(Math.abs(hissRiseDb! - 6.0206)).toBeLessThan(4 * hissRiseDbU)
  })

  test('against digital silence has no rise that could be said', () => {
    const { riseDb, hissRiseDb } = compared(noise(2e-5, 3), new Float64Array(COUNT))
    expect([riseDb, hissRiseDb]).toEqual([null, null])
  })
})

test('a single steady line that came with the engine is a line and no series', () => {
  const { whine, lines } = compared(summed(noise(2e-5, 2), sines(COUNT, RATE_HZ, [{ freqHz: 14_321, peak: 5e-5 }])))
  expect(whine).toBeNull()
  expect(lines.map(({ freqHz }) => Math.round(freqHz))).toEqual([14_321])
})
