import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import type { Setting } from '../../src/rig/roles.js'
import { headUnitAt } from '../../src/vehicle/head-unit.js'
import { half } from '../long.js'
import { captureOf, dB, jobOf, modelOf, rigOf, rmsOf, STILL_CAPTURE, silenceOf, toneOn } from './scene.js'

const LEFT = '{ number: 1, label: left, left: 1, right: 0, level_vrms: 2 }'
const RIGHT = '{ number: 2, label: right, left: 0, right: 1, level_vrms: 2 }'
const JOB: Job = { ...jobOf(LEFT, RIGHT), volumeStep: 30 }
const QUIET = 'outputs: { 1: { noise_dbv: -140 }, 2: { noise_dbv: -140 } }'

/** Level (dB) of a tone on both sides at output 1, against the reference setting of a vehicle without faults. */
async function changeDb(faults: readonly string[], setting: Setting, freqHz = 997): Promise<number> {
  const levelDb = async (lines: readonly string[], at: Setting): Promise<number> => {
    const take = await captureOf(
      modelOf(JOB, QUIET, STILL_CAPTURE, ...lines),
      toneOn('both', freqHz, 0.3, 1.2),
      rigOf(1),
      [1],
      at,
    )
    return dB(take.tone(0, freqHz, 0.4, 1.1).peak)
  }
  // The reference is the same for all tests at this frequency.
  if (!referencesDb.has(freqHz)) referencesDb.set(freqHz, levelDb([], 'reference'))
  return (await levelDb(faults, setting)) - (await referencesDb.get(freqHz)!)
}
const referencesDb = new Map<number, Promise<number>>()

describe('the volume', () => {
  // Closed form: so many steps, so many times their dB. The soft curve of a healthy output is worth 0.0002 dB.
  test.each([
    ['volume_20', '{}', -15],
    ['volume_31', '{}', 1.5],
    ['volume_20', '{ volume_step_db: 0.5 }', -5],
    ['volume_20', '{ volume_step_db: 0.5, volume_db: -3 }', -8],
    ['reference', '{ volume_db: -3 }', -3],
    ['engine_running', '{}', 0],
  ] as const)('at %s with %s is %d dB', async (setting, headUnit, wantedDb) => {
    expect(Math.abs((await changeDb([`head_unit: ${headUnit}`], setting)) - wantedDb)).toBeLessThan(0.002)
  })

  test('of a job that does not say what it reads is a fault of the caller', () => {
    expect(() => headUnitAt(modelOf(jobOf(LEFT)).headUnit, 'volume_20')).toThrow('volume_20 without a volume_step')
  })
})

describe('loudness', () => {
  const LOUD = 'head_unit: { loudness: { bass_db: 2, bass_share: 0.3, treble_share: 0.1, max_db: 6 } }'

  // Closed form: a shelf of G dB has G / 2 in the middle of its slope. Lift: 2 + 0.3 × 15 = 6.5, held to 6, and 0.1 × 15. The other
  // shelf, 6 octaves away with 12 dB an octave, adds less than 0.001 dB, and 1 kHz has 0.02 dB of either at most.
  test.each([
    ['reference', 100, 1],
    ['reference', 8000, 0],
    ['volume_20', 100, -15 + 3],
    ['volume_20', 8000, -15 + 0.75],
    ['volume_28', 100, -3 + (2 + 0.3 * 3) / 2],
    ['volume_40', 100, 15],
  ] as const)('at %s lifts %d Hz to %d dB', async (setting, freqHz, wantedDb) => {
    expect(Math.abs((await changeDb([LOUD], setting, freqHz)) - wantedDb)).toBeLessThan(0.003)
  })

  test('leaves the middle alone', async () => {
    expect(Math.abs((await changeDb([LOUD], 'volume_20', 900)) + 15)).toBeLessThan(0.03)
  })
})

// Truth: `source.test.ts` has the laws; here it is that each of them reaches the outputs.
describe('through a whole take', () => {
  test('a limiter compresses what is loud', async () => {
    const limiter = 'head_unit: { limiter: { threshold_dbfs: -20, ratio: 2, attack_ms: 10, release_ms: 100 } }'
    // -10.458 dBFS is 9.542 dB over: half of it is taken. The card's clock stands still, so it is the source's own peak.
    expect(Math.abs((await changeDb([limiter], 'reference')) + (20 * Math.log10(0.3) + 20) / 2)).toBeLessThan(0.01)
  })

  test('a lossy source lacks what lies above its edge', async () => {
    const lossy = 'head_unit: { lossy_high_hz: 15000 }'
    expect(Math.abs(await changeDb([lossy], 'reference', 14_700))).toBeLessThan(0.002)
    expect(await changeDb([lossy], 'reference', 15_300)).toBeLessThan(-80)
  })

  test('surround brings one side into an output that should not hear it, and into no other', async () => {
    const surround = 'head_unit: { surround: { from: right, level_db: -12, outputs: [1] } }'
    const model = modelOf(JOB, 'outputs: { 1: { side_leak_db: -140, noise_dbv: -140 } }', surround, STILL_CAPTURE)
    const take = await captureOf(model, toneOn('right', 997, 0.5, 20), rigOf(2), [1, 2])
    const rms = [0, 1].map((index) => rmsOf(take.stretch(index, 1, 19.9)))
    // The law's 0.3 dB of 40 s, for half of it, and both outputs' 0.1 dB.
    expect(Math.abs(dB(rms[0] / rms[1]) + 12)).toBeLessThan(0.8)
    const left = await captureOf(model, toneOn('left', 997, 0.5, 2), rigOf(2), [1, 2])
    expect(Math.abs(dB(left.tone(0, 997, 0.5, 1.5).peak / Math.SQRT2))).toBeLessThan(0.101)
    expect(dB(left.tone(1, 997, 0.5, 1.5).peak)).toBeLessThan(-70)
  })

  test('surround follows volume and balance of its side', async () => {
    const faults = (more: string): string =>
      `head_unit: { surround: { from: right, level_db: -12, outputs: [1] }, ${more} }`
    const rms = async (more: string): Promise<number> => {
      const model = modelOf(JOB, 'outputs: { 1: { side_leak_db: -140, noise_dbv: -140 } }', faults(more), STILL_CAPTURE)
      return rmsOf((await captureOf(model, toneOn('right', 997, 0.5, 2), rigOf(1), [1])).stretch(0, 0.5, 1.9))
    }
    const plain = await rms('mono: false')
    expect(dB((await rms('balance_db: -6')) / plain)).toBeCloseTo(-6, 2)
    expect(dB((await rms('balance_db: 6')) / plain)).toBeCloseTo(0, 2)
    expect(dB((await rms('volume_db: -10')) / plain)).toBeCloseTo(-10, 2)
  })
})

describe('a running engine', () => {
  const WHINE = 'whine: { freq_hz: 1200, drift_hz: 60, harmonic_count: 3, level_dbv: -50 }'
  const take = (faults: string, setting: Setting) =>
    captureOf(modelOf(JOB, QUIET, STILL_CAPTURE, `engine: ${faults}`), silenceOf(10), rigOf(2), [1, 2], setting)
  let whining: ReturnType<typeof take> | null = null
  const whiningTake = (): ReturnType<typeof take> => {
    whining ??= take(`{ ${WHINE} }`, 'engine_running')
    return whining
  }

  // Closed form: the lines' powers add up to the level that was asked for; over many periods rms is exact to 1 / (2 pi f T).
  test('whines with the level of the whole series, in its own takes only', async () => {
    const [idle, running] = [await take(`{ ${WHINE} }`, 'reference'), await whiningTake()]
    const dbvOf = (samples: Float32Array): number => dB(rmsOf(samples) * Math.SQRT2 * 4)
    expect(dbvOf(idle.stretch(0, 0, 10))).toBeLessThan(-120)
    expect(Math.abs(dbvOf(running.stretch(0, 0, 10)) + 50)).toBeLessThan(0.005)
  })

  // Closed form: an even glide from 1200 to 1260 Hz in 10 s stands at 1200 + 6 t Hz. In 20 ms it moves by 0.12 Hz, which takes
  // (pi 0.12 0.02)² / 90 off a fit in its middle: nothing. Lines are 1, 1/2, 1/3 of -50 dBV over hypot(1, 1/2, 1/3).
  test.each([0.5, 5, 9.5])('moves evenly, its multiples with it: %d s', async (timeS) => {
    const running = await whiningTake()
    for (const order of [1, 2, 3]) {
      const freqHz = order * (1200 + 6 * timeS)
      const { peak } = running.tone(0, freqHz, timeS - 0.05, timeS + 0.05)
      const wantedDbv = -50 + dB(1 / order / Math.hypot(1, 1 / 2, 1 / 3))
      // The other lines, ten bins away and more, leave 1 / (2 pi 0.1 × 1200), 0.2 %, of themselves.
      expect(Math.abs(dB(peak / Math.SQRT2) - wantedDbv)).toBeLessThan(0.1)
    }
  })

  test('raises the noise of the outputs that it gets into', async () => {
    const running = await take('{ noise_dbv: -70, outputs: [2] }', 'engine_running')
    const wideDb = dB(Math.sqrt(24_000 / 19_980))
    const levels = [0, 1].map((index) => dB(rmsOf(running.stretch(index, 0, 10)) * Math.SQRT2 * 4) - wideDb)
    expect(levels[0]).toBeLessThan(-120)
    // White noise over 480 000 samples spreads by 0.009 dB; five times that.
    expect(Math.abs(levels[1] + 70)).toBeLessThan(0.045)
  })

  test('has no lines above what a card lets through', async () => {
    const high = 'whine: { freq_hz: 12000, harmonic_count: 4, level_dbv: -50 }'
    const running = await take(`{ ${high} }`, 'engine_running')
    // 24 kHz and its folded multiples: 36 kHz would stand at 12 kHz.
    expect(
      Math.abs(dB(running.tone(0, 12_000, 0, 10).peak / Math.SQRT2) + 50 - dB(1 / Math.hypot(1, 1 / 2, 1 / 3, 1 / 4))),
    ).toBeLessThan(0.001)
  })
})

// Closed form: of one corner frequency, fourth-order Linkwitz-Riley slopes add up to 1 at every frequency; Butterworth slopes to
// 1.4142 at the corner, 3.01 dB. Outputs 1 and 3 are each off by 0.1 dB at most, and set through their filters: 0.19 dB at 7750 Hz and
// 0.11 dB at 1 kHz.
describe('the two halves of the demo vehicle’s front left', () => {
  const text = readFileSync('captures/quillon/job.yaml', 'utf8')
  const sumDb = async (job: Job, freqHz: number): Promise<number> => {
    const take = await captureOf(modelOf(job, STILL_CAPTURE), toneOn('left', freqHz, 0.5, 1), rigOf(2), [1, 3])
    const [a, b] = [0, 1].map((index) => take.tone(index, freqHz, 0.3, 0.9))
    const re = a.peak * Math.cos(a.phaseRad) + b.peak * Math.cos(b.phaseRad)
    const im = a.peak * Math.sin(a.phaseRad) + b.peak * Math.sin(b.phaseRad)
    return dB(Math.hypot(re, im) / (0.5 * 2 * Math.SQRT2))
  }

  test.each(half([100, 1000, 3000, 4500, 10_000, 2000]))('are flat together at %d Hz', async (freqHz) => {
    expect(Math.abs(await sumDb(parseJob(text, 'job.yaml'), freqHz))).toBeLessThan(0.3)
  })

  test('would rise by 3 dB with Butterworth slopes', async () => {
    const job = parseJob(text.replaceAll(', shape: linkwitz_riley', ''), 'job.yaml')
    expect(Math.abs((await sumDb(job, 3000)) - 3.01)).toBeLessThan(0.12)
  })
})
