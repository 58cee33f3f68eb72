import { describe, expect, test } from 'vitest'
import { parseFaults } from '../../src/vehicle/faults.js'
import { headUnitAt } from '../../src/vehicle/head-unit.js'
import { modelFromJob } from '../../src/vehicle/model.js'
import { stopOf } from '../document/stop-of.js'
import { dB, jobOf, modelOf } from './scene.js'

const JOB = jobOf(
  '{ number: 1, label: left, left: 1, right: 0, level_vrms: 2, fader: front }',
  '{ number: 2, label: right, left: 0, right: 1, level_vrms: 2, fader: rear, delay_ms: 12 }',
  '{ number: 5, label: centre, left: 0.5, right: 0.5, level_vrms: 1, polarity: inverted, band: { low_hz: 100 } }',
  '{ number: 9, label: woofer, left: -1, right: 0, level_vrms: 3, band: { high_hz: 80 } }',
)
const outputOf = (number: number, ...faults: readonly string[]) => modelOf(JOB, ...faults).outputs.get(number)!
const seeds = Array.from({ length: 50 }, (_, i) => `seed: ${i}`)

describe('a healthy vehicle', () => {
  test('does what the map says, apart from its small deviations', () => {
    expect(outputOf(5)).toMatchObject({ number: 5, leftGain: 0.5, rightGain: 0.5, referenceHz: 1000, delayS: 0 })
    expect(outputOf(2)).toMatchObject({ rightGain: 1, delayS: 0.012, isDead: false, clipVpk: null, lines: [] })
    expect(outputOf(5).peakV).toBeLessThan(0)
    // A fourth-order edge is two second-order sections.
    expect(outputOf(5).filters.map(({ kind }) => kind)).toEqual(['high_pass', 'high_pass'])
    expect(outputOf(9).filters).toEqual(outputOf(9).healthyFilters)
    expect(modelOf(JOB).latencyS).toBe(0.0032)
  })

  // The ranges are the model's own claim: 0.1 dB of level, -96 to -94 dBV, about 0.004 %, -82 to -78 dB of the other side.
  test('deviates within its ranges, whatever the seed', () => {
    for (const seed of seeds) {
      const { peakV, noise, secondRatio, thirdRatio, leftGain, rightGain } = outputOf(1, seed)
      expect(Math.abs(dB(peakV / (2 * Math.SQRT2)))).toBeLessThanOrEqual(0.1)
      expect(dB(noise)).toBeGreaterThanOrEqual(-96)
      expect(dB(noise)).toBeLessThanOrEqual(-94)
      expect(Math.hypot(secondRatio, thirdRatio)).toBeGreaterThan(30e-6)
      expect(Math.hypot(secondRatio, thirdRatio)).toBeLessThan(50e-6)
      expect(leftGain).toBe(1)
      expect(Math.abs(dB(Math.abs(rightGain)) + 80)).toBeLessThanOrEqual(2)
    }
  })

  test('is the same again for the same seed, and another for another', () => {
    const [first, again, other] = ['seed: 3', 'seed: 3', 'seed: 4'].map((seed) => modelOf(JOB, seed))
    expect(again.outputs).toEqual(first.outputs)
    expect(other.outputs.get(1)).not.toEqual(first.outputs.get(1))
    // Nor do two outputs of one vehicle deviate alike.
    expect(first.outputs.get(1)!.peakV).not.toBe(first.outputs.get(2)!.peakV)
  })

  test('is spread evenly over its range', () => {
    const deviations = seeds.map((seed) => dB(outputOf(1, seed).peakV / (2 * Math.SQRT2)))
    // 50 even draws leave the outer quarter on one side empty once in a million times.
    expect(Math.min(...deviations)).toBeLessThan(-0.05)
    expect(Math.max(...deviations)).toBeGreaterThan(0.05)
  })
})

describe('a fault', () => {
  test('changes its own output and nothing else', () => {
    const healthy = modelOf(JOB)
    const faulty = modelOf(JOB, 'outputs: { 2: { gain_db: -4 } }')
    const { peakV, ...others } = faulty.outputs.get(2)!
    const { peakV: healthyV, ...healthyOthers } = healthy.outputs.get(2)!
    expect(dB(peakV / healthyV)).toBeCloseTo(-4, 10)
    expect(others).toEqual(healthyOthers)
    for (const number of [1, 5, 9]) expect(faulty.outputs.get(number)).toEqual(healthy.outputs.get(number))
  })

  test('of summing makes it half of each side, with its sign', () => {
    expect(outputOf(1, 'outputs: { 1: { summed: true } }')).toMatchObject({ leftGain: 0.5, rightGain: 0.5 })
    expect(outputOf(9, 'outputs: { 9: { summed: true } }')).toMatchObject({ leftGain: -0.5, rightGain: -0.5 })
  })

  test('of polarity turns what the map says', () => {
    expect(outputOf(1, 'outputs: { 1: { inverted: true } }').peakV).toBe(-outputOf(1).peakV)
    expect(outputOf(5, 'outputs: { 5: { inverted: true } }').peakV).toBeGreaterThan(0)
  })

  test('of leaking sides says how much of the other one is heard', () => {
    const { leftGain, rightGain } = outputOf(2, 'outputs: { 2: { side_leak_db: -20 } }')
    expect(Math.abs(leftGain / rightGain)).toBeCloseTo(0.1, 12)
  })

  test('of the band stands in place of the map, while the level still refers to the healthy one', () => {
    const { filters, healthyFilters } = outputOf(5, 'outputs: { 5: { band: { high_hz: 500, order: 2 } } }')
    expect(filters).toMatchObject([{ kind: 'low_pass', freqHz: 500 }])
    expect(healthyFilters).toEqual(outputOf(5).healthyFilters)
    expect(outputOf(5, 'outputs: { 5: { band: full } }').filters).toEqual([])
  })

  test('of the equaliser comes after the band', () => {
    const { filters } = outputOf(
      9,
      'outputs: { 9: { equaliser: [{ kind: peaking, freq_hz: 50, gain_db: 5, q: 2 }], all_pass: [{ freq_hz: 60 }] } }',
    )
    expect(filters.map(({ kind }) => kind)).toEqual(['low_pass', 'low_pass', 'peaking', 'all_pass'])
  })

  test('of delay adds to the map', () => {
    expect(outputOf(2, 'outputs: { 2: { delay_ms: 5 } }').delayS).toBeCloseTo(0.017, 12)
  })

  // Closed form: the lines' powers add up to the level, each line k times weaker than the first.
  test('of hum is a series with the level that was asked for', () => {
    const { lines } = outputOf(1, 'outputs: { 1: { hum: { freq_hz: 60, level_dbv: -62, harmonic_count: 4 } } }')
    expect(lines.map(({ freqHz }) => freqHz)).toEqual([60, 120, 180, 240])
    expect(dB(Math.hypot(...lines.map(({ rms }) => rms)))).toBeCloseTo(-62, 10)
    expect(lines.map(({ rms }) => lines[0].rms / rms)).toEqual([1, 2, 3, 4].map((k) => expect.closeTo(k, 10)))
  })

  test('of a whistle is one line more', () => {
    const { lines } = outputOf(
      1,
      'outputs: { 1: { hum: { freq_hz: 50, level_dbv: -70, harmonic_count: 1 }, whistle: { freq_hz: 3300, level_dbv: -65 } } }',
    )
    expect(lines.map(({ freqHz }) => freqHz)).toEqual([50, 3300])
    expect(dB(lines[1].rms)).toBeCloseTo(-65, 10)
  })

  test('of the pins exchanges two outputs whole, said at one of them or at both', () => {
    const pins = { 1: 5, 2: 2, 5: 1, 9: 9 }
    for (const text of [
      'outputs: { 1: { swapped_with: 5 } }',
      'outputs: { 5: { swapped_with: 1 } }',
      'outputs: { 1: { swapped_with: 5 }, 5: { swapped_with: 1 } }',
    ]) {
      expect(Object.fromEntries(modelOf(JOB, text).atPins)).toEqual(pins)
    }
  })

  test.each([
    ['dropouts', 'duration_ms: 10'],
    ['repeats', 'duration_ms: 10'],
    ['jumps', 'lost_samples: 3'],
    ['clicks', 'vpk: 1'],
  ] as const)('in time, of %s, hits all outputs or those that are named', (kind, what) => {
    const model = modelOf(JOB, `${kind}: [{ at_s: 3, ${what} }, { at_s: 5, ${what}, outputs: [1, 9] }]`)
    const timesOf = (number: number) => model.outputs.get(number)!.timeFaults[kind].map(({ atS }) => atS)
    expect([1, 2, 5, 9].map(timesOf)).toEqual([[3, 5], [3], [3], [3, 5]])
  })

  test('of the engine comes in at the outputs that it names, with the level of the whole series', () => {
    const whine = 'whine: { freq_hz: 900, drift_hz: 30, harmonic_count: 3, level_dbv: -60 }'
    const model = modelOf(JOB, `engine: { ${whine}, noise_dbv: -80, outputs: [2] }`)
    const { whine: series, noise } = model.outputs.get(2)!.engine
    expect(series).toMatchObject({ freqHz: 900, driftHz: 30 })
    expect(dB(Math.hypot(...series!.rms))).toBeCloseTo(-60, 10)
    expect(dB(noise)).toBeCloseTo(-80, 10)
    expect(model.outputs.get(1)!.engine).toMatchObject({ whine: null, noise: 0 })
  })

  test('of surround gives the outputs that it names a share of the copy', () => {
    const model = modelOf(JOB, 'head_unit: { surround: { from: right, level_db: -20, outputs: [5, 9] } }')
    expect([1, 2, 5, 9].map((number) => model.outputs.get(number)!.surroundGain)).toEqual([0, 0, 0.1, 0.1])
    expect(model.headUnit.surroundFrom).toBe('right')
  })
})

describe('the head unit', () => {
  test.each([
    ['head_unit: { volume_db: -6 }', -6, -6],
    ['head_unit: { balance_db: 3 }', -3, 0],
    ['head_unit: { balance_db: -80 }', 0, -80],
    ['head_unit: { volume_db: 2, balance_db: 3 }', -1, 2],
  ])('%s: sides at %d and %d dB', (text, leftDb, rightDb) => {
    const { leftGain, rightGain } = headUnitAt(modelOf(JOB, text).headUnit, 'reference')
    expect(dB(leftGain)).toBeCloseTo(leftDb, 10)
    expect(dB(rightGain)).toBeCloseTo(rightDb, 10)
  })

  test('leaves 60 dB less of the rear with its fader at the front, and nothing less of the others', () => {
    expect([1, 2, 5].map((number) => dB(outputOf(number).faderFrontGain))).toEqual([0, expect.closeTo(-60, 10), 0])
  })
})

// Closed form: a Linkwitz-Riley filter is two Butterworth filters of half its order in a row.
test('a band of linkwitz_riley is made of two second-order Butterworth filters', () => {
  const job = jobOf(
    '{ number: 1, label: high, left: 1, right: 0, level_vrms: 2, band: { low_hz: 3000, shape: linkwitz_riley } }',
  )
  const section = { kind: 'high_pass', freqHz: 3000, q: expect.closeTo(Math.SQRT1_2, 12), gainDb: 0 }
  expect(modelOf(job).outputs.get(1)!.healthyFilters).toEqual([section, section])
})

describe('an output that the job does not have', () => {
  test.each([
    ['outputs: { 4: { dead: true } }', 'outputs.4'],
    ['head_unit: { surround: { from: left, level_db: -10, outputs: [4] } }', 'head_unit.surround.outputs'],
    ['engine: { noise_dbv: -80, outputs: [1, 4] }', 'engine.outputs'],
    ['jumps: [{ at_s: 1, lost_samples: 5, outputs: [4] }]', 'jumps[1].outputs'],
    ['repeats: [{ at_s: 1, duration_ms: 5, outputs: [4] }]', 'repeats[1].outputs'],
    ['clicks: [{ at_s: 1, count: 3, outputs: [4] }]', 'clicks[].outputs'],
    ['outputs: { 1: { swapped_with: 4 } }', 'outputs.1.swapped_with'],
    ['outputs: { 1: { leak: { from_output: 4, level_db: -20 } } }', 'outputs.1.leak.from_output'],
    ['dropouts: [{ at_s: 1, duration_ms: 5 }, { at_s: 2, duration_ms: 5, outputs: [1, 4] }]', 'dropouts[2].outputs'],
  ])('in %s is said', (text, place) => {
    const faults = parseFaults(text, 'faults.yaml')
    expect(stopOf(() => modelFromJob(JOB, faults)).message).toBe(
      `the job has no output 4 (faults.yaml, ${place}). Name one of its outputs: 1, 2, 5, 9.`,
    )
  })
})
