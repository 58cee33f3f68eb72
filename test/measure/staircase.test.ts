/** The level staircase of curves whose compression and distortion are known in closed form. */
import { describe, expect, test } from 'vitest'
import type { Located } from '../../src/measure/analysis.js'
import { cutForFundamental, cutForThd, cutFundamental, cutThd } from '../../src/measure/hard-clip.js'
import { readStaircase, type StaircaseOptions } from '../../src/measure/staircase.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { hiss, uniformFrom } from '../kit/random.js'
import { clipped, delayed, mixed, placeOf, playTrack, scaled, shaped } from '../kit/track.js'

const STEPS = sectionsOf().filter(({ kind }) => kind === 'staircase')

interface Take {
  readonly wire: Float64Array
  readonly located: Located
}

const kept = new Map<number, Take>()

/** The staircase of one frequency, 0.8 of full scale at 0 dBFS. */
function stairs(freqHz: number): Take {
  let take = kept.get(freqHz)
  if (!take) {
    const own = STEPS.filter(({ tones }) => tones[0].freqHz === freqHz)
    const played = playTrack({ fromS: own[0].startS - 0.05, toS: own.at(-1)!.startS + 0.35 })
    take = { wire: mixed(played, 0.4, 0.4), located: placeOf(played) }
    kept.set(freqHz, take)
  }
  return take
}

/** Read in noise 90 dB under full scale. */
function read(freqHz: number, curve: (wire: Float64Array) => Float64Array, options: StaircaseOptions = {}, seed = 1) {
  const { wire, located } = stairs(freqHz)
  return readStaircase(inHiss(curve(wire), 0.8 * Math.SQRT1_2 * 10 ** (-90 / 20), seed), located, freqHz, options)!
}

function inHiss(clean: Float64Array, rms: number, seed: number): Float32Array {
  const noise = hiss(clean.length, rms, seed)
  const out = new Float32Array(clean.length)
  for (let n = 0; n < out.length; n++) out[n] = clean[n] + noise[n]
  return out
}

const peakAt = (sourceDbfs: number): number => 0.8 * 10 ** (sourceDbfs / 20)
const db = (ratio: number): number => 20 * Math.log10(ratio)

describe('a sine cut at a level, in closed form', () => {
  // Truth: references' table of y = clip(sin, r): fundamental, and THD of orders 2 to 10 and to 20.
  test.each([
    [0.99, 0.9988013805, 0.221897, 0.27823],
    [0.9, 0.9626139265, 4.189833, 4.215281],
    [Math.SQRT1_2, 0.8183098862, 13.379991, 13.414943],
    [0.5, 0.608997781, 23.247823, 23.285337],
    [0.1, 0.1271114284, 41.446337, 42.931389],
  ])('at %d of its peak', (ratio, fundamental, to10, to20) => {
    expect(cutFundamental(ratio, 'both sides')).toBeCloseTo(fundamental, 9)
    expect(100 * cutThd(ratio, 'both sides', 10)).toBeCloseTo(to10, 5)
    expect(100 * cutThd(ratio, 'both sides', 20)).toBeCloseTo(to20, 5)
    expect(cutForFundamental(fundamental, 'both sides')).toBeCloseTo(ratio, 7)
    expect(cutForThd(to10 / 100, 'both sides', 10)).toBeCloseTo(ratio, 6)
  })

  // Truth: a half-wave rectified sine is one cut at 0: fundamental 1/2, orders 2, 4 and 6 as in its series.
  test('on one side at 0 is a rectified half-wave', () => {
    expect(cutFundamental(0, 'one side')).toBeCloseTo(0.5, 12)
    const series = Math.hypot(0.212206590789, 0.042441318158, 0.018189136353) / 0.5
    expect(cutThd(0, 'one side', 7)).toBeCloseTo(series, 10)
  })
})

describe.each([997, 60, 6300])('at %d Hz', (freqHz) => {
  test('a clean output has the same gain at every step and no end', () => {
    const { kind, gain, steps, onset, highestClean, compressionPoints } = read(freqHz, (wire) => wire)
    expect(kind).toBe('clean')
    expect(onset).toBeNull()
    expect(compressionPoints).toEqual([])
    expect(highestClean).toMatchObject({ sourceDbfs: 0, isTop: true })
    // Noise of one step at -90 dB: 2 sqrt(2 / N) of it, 3e-7; at -40 dBFS a hundred times that, 0.0003 dB. Four of each.
    expect(Math.abs(gain / 0.8 - 1)).toBeLessThan(1e-5)
    for (const { gainDb, gainDbU, sourceDbfs, thd } of steps) {
      expect(Math.abs(gainDb)).toBeLessThan(Math.max(4 * gainDbU, 2e-5))
      expect(gainDbU).toBeLessThan(sourceDbfs < -30 ? 0.001 : 3e-4)
      expect(thd.isAtMost).toBe(true)
    }
    expect(steps.at(-1)!.thd.value).toBeLessThan(5e-5)
    expect(steps.at(-1)!.samplePeakFs).toBeGreaterThan(0.79)
  })

  // Truth: peaks are cut from level c on. Loss of gain b1(r), r = c / peak; 1 % THD from r where the orders that the step
  // is read to (9, or 3 at 6300 Hz) give it.
  test.each([-0.5, -1.7, -3.5, -7.5])('an output that cuts peaks at %d dBFS clips hard, from there', (cutDbfs) => {
    const { kind, steps, onset, highestClean, compressionPoints } = read(freqHz, (wire) =>
      clipped(wire, peakAt(cutDbfs)),
    )
    expect(kind).toBe('hard clipping')
    const orders = freqHz === 6300 ? 3 : 9
    const at = cutDbfs - db(cutForThd(0.01, 'both sides', orders))
    expect(Math.abs(onset!.sourceDbfs - at)).toBeLessThan(0.01)
    expect(
      Math.abs(db(onset!.peakFs / peakAt(at)) - db(cutFundamental(10 ** ((cutDbfs - at) / 20), 'both sides'))),
    ).toBeLessThan(0.01)
    expect(highestClean).toMatchObject({ sourceDbfs: onset!.sourceDbfs, isTop: false })
    for (const { dropDb, sourceDbfs, sourceDbU } of compressionPoints) {
      const truth = cutDbfs - db(cutForFundamental(10 ** (-dropDb / 20), 'both sides'))
      expect(Math.abs(sourceDbfs - truth)).toBeLessThan(0.01)
      expect(sourceDbU).toBeLessThan(0.01)
    }
    for (const { sourceDbfs, gainDb, thd } of steps) {
      const ratio = Math.min(1, 10 ** ((cutDbfs - sourceDbfs) / 20))
      expect(Math.abs(gainDb - db(cutFundamental(ratio, 'both sides')))).toBeLessThan(0.002)
      // Products that fold back at 48 kHz fall on no harmonic of 997 Hz; at 60 Hz and 6300 Hz they do, but weakly.
      if (ratio < 0.99) expect(Math.abs(thd.value / cutThd(ratio, 'both sides', orders) - 1)).toBeLessThan(0.01)
    }
  })

  // Truth: y = x + a3 x³: gain 1 + 3/4 a3 P², THD a3 P² / 4 over that. The low steps set the line, weighted by their power.
  test.each([-0.1, -0.4])('an output with a cubic term of %d clips softly', (a3) => {
    const { kind, onset, compressionPoints, gain, steps } = read(freqHz, (wire) => shaped(wire, 0, a3))
    expect(kind).toBe('soft clipping')
    const gainAt = (peak: number): number => 1 + 0.75 * a3 * peak ** 2
    const low = [-40, -30, -20].map(peakAt)
    const line =
      low.reduce((sum, peak) => sum + peak ** 2 * gainAt(peak), 0) / low.reduce((sum, peak) => sum + peak ** 2, 0)
    expect(Math.abs(gain / 0.8 / line - 1)).toBeLessThan(1e-5)
    const onsetPeak = Math.sqrt(0.01 / (-a3 * (0.25 + 0.0075)))
    expect(Math.abs(onset!.sourceDbfs - db(onsetPeak / 0.8))).toBeLessThan(2 * onset!.sourceDbU)
    expect(onset!.sourceDbU).toBeLessThan(0.1)
    for (const { dropDb, sourceDbfs, sourceDbU } of compressionPoints) {
      const peak = Math.sqrt((1 - (gain / 0.8) * 10 ** (-dropDb / 20)) / (-0.75 * a3))
      expect(Math.abs(sourceDbfs - db(peak / 0.8))).toBeLessThan(2 * sourceDbU)
    }
    for (const { sourceDbfs, thd } of steps.filter(({ harmonicPowers }) => harmonicPowers)) {
      const peak = peakAt(sourceDbfs)
      const truth = (-a3 * peak ** 2) / 4 / gainAt(peak)
      expect(Math.abs(thd.value - truth)).toBeLessThan(4 * thd.u + 1e-4 * truth)
    }
  })

  // Truth: a square term leaves the gain alone: THD a2 P / 2 reaches 1 % at P = 0.4.
  test('an output with a square term clips softly without compression', () => {
    const { kind, onset, compressionPoints } = read(freqHz, (wire) => shaped(wire, 0.05, 0))
    expect(kind).toBe('soft clipping')
    expect(Math.abs(onset!.sourceDbfs - db(0.4 / 0.8))).toBeLessThan(2 * onset!.sourceDbU)
    expect(compressionPoints).toEqual([])
  })

  test('an output whose gain falls while the sine stays one is limiting', () => {
    const { wire, located } = stairs(freqHz)
    // From -9 dBFS on the peak stands still: each step has a gain of its own.
    const own = STEPS.filter(({ tones }) => tones[0].freqHz === freqHz)
    const held = wire.map((value, n) => {
      const tS = (n - located.startSample) / located.samplesPerS
      const step = own.findLast(({ startS }) => tS >= startS)
      return value * Math.min(1, peakAt(-9) / (0.8 * (step?.tones[0].peakFs ?? 1)))
    })
    const { kind, compressionPoints, onset, highestClean } = read(freqHz, () => held)
    expect(kind).toBe('limiting')
    expect(onset).toBeNull()
    // 1 dB is lost at -8 dBFS; between -9 (nothing lost) and -6 dBFS (3 dB) the curve has a corner that no step shows.
    const oneDb = compressionPoints.find(({ dropDb }) => dropDb === 1)!
    expect(Math.abs(oneDb.sourceDbfs + 8)).toBeLessThan(1.5)
    expect(highestClean!.sourceDbfs).toBeGreaterThanOrEqual(-9)
    expect(highestClean!.sourceDbfs).toBeLessThan(-6)
  })
})

test('peaks that are cut on one side only are told by their even orders, and their level found', () => {
  // Truth: c1 of one cap, half of that of two.
  const cutDbfs = db(0.5 / 0.8)
  const { kind, onset, compressionPoints } = read(997, (wire) => wire.map((value) => Math.min(value, 0.5)))
  expect(kind).toBe('hard clipping')
  expect(Math.abs(onset!.sourceDbfs - (cutDbfs - db(cutForThd(0.01, 'one side', 9))))).toBeLessThan(0.01)
  const half = compressionPoints.find(({ dropDb }) => dropDb === 0.5)!
  expect(Math.abs(half.sourceDbfs - (cutDbfs - db(cutForFundamental(10 ** (-0.5 / 20), 'one side'))))).toBeLessThan(
    0.01,
  )
})

test('limits of the caller move the onset', () => {
  const strict = read(997, (wire) => shaped(wire, 0.05, 0), { thdLimitRatio: 0.001 })
  expect(Math.abs(strict.onset!.sourceDbfs - db(0.04 / 0.8))).toBeLessThan(2 * strict.onset!.sourceDbU + 0.1)
})

test('an output that is late is read later', () => {
  const { wire, located } = stairs(997)
  const lateS = 0.08
  const late = Float32Array.from(delayed(wire, lateS * 48_000))
  const { gain, steps } = readStaircase(late, located, 997, { delayS: lateS })!
  expect(Math.abs(gain / 0.8 - 1)).toBeLessThan(1e-6)
  for (const { gainDb } of steps) expect(Math.abs(gainDb)).toBeLessThan(1e-4)
})

test('hum beside the tone is in the uncertainty of the low steps', () => {
  const { wire, located } = stairs(60)
  const humFs = 1e-4
  const hum = wire.map((value, n) => value + humFs * Math.sin((2 * Math.PI * 50 * n) / 48_000))
  const { steps } = readStaircase(Float32Array.from(hum), located, 60, { lines: [{ freqHz: 50, peakFs: humFs }] })!
  for (const { gainDb, gainDbU } of steps) expect(Math.abs(gainDb)).toBeLessThan(2 * gainDbU + 1e-4)
  // 1e-4 of 0.008 at -40 dBFS: 1.3 %, 0.09 dB as a deviation.
  expect(steps[0].gainDbU).toBeGreaterThan(0.05)
})

test('what does not come through, or is not there, is not read', () => {
  const { wire, located } = stairs(997)
  expect(readStaircase(inHiss(scaled(wire, 1e-6), 1e-4, 3), located, 997)).toBeNull()
  expect(readStaircase(new Float32Array(wire.length), located, 997)).toBeNull()
  expect(readStaircase(Float32Array.from(wire.subarray(0, 60_000)), located, 997)).toBeNull()
})

// Truth: the same curve without noise. 95.4 % less three deviations of a binomial count of 300; the steps of one take share the
// straight line's error, so none of them is an independent test.
test('over 300 seeded takes, 70 dB of signal over noise, gain and distortion are within their uncertainty', () => {
  const { wire, located } = stairs(997)
  const [a2, a3] = [0.01, -0.05]
  const curve = shaped(wire, a2, a3)
  const truth = readStaircase(Float32Array.from(curve), located, 997)!
  const seeds = uniformFrom(11)
  const held = truth.steps.map(() => ({ gain: 0, thd: 0 }))
  for (let take = 0; take < 300; take++) {
    const noisy = inHiss(curve, 0.8 * Math.SQRT1_2 * 10 ** (-70 / 20), Math.floor(2 ** 32 * seeds()))
    readStaircase(noisy, located, 997)!.steps.forEach(({ gainDb, gainDbU, thd, sourceDbfs }, i) => {
      const peak = peakAt(sourceDbfs)
      const ratio = Math.hypot((a2 * peak) / 2, (a3 * peak ** 2) / 4) / (1 + 0.75 * a3 * peak ** 2)
      if (Math.abs(gainDb - truth.steps[i].gainDb) <= 2 * gainDbU) held[i].gain++
      if (thd.isAtMost ? ratio <= thd.value : Math.abs(thd.value - ratio) <= 2 * thd.u) held[i].thd++
    })
  }
  for (const { gain, thd } of held) {
    expect(gain / 300).toBeGreaterThan(0.918)
    expect(thd / 300).toBeGreaterThan(0.918)
  }
})
