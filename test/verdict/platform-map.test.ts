import { beforeAll, describe, expect, test } from 'vitest'
import { jobFileText, outputsOfMap } from '../../src/job/job-file-text.js'
import { parseJob } from '../../src/job/parse.js'
import type { PlatformMap } from '../../src/job/platform.js'
import { parseMap } from '../../src/job/platform-schema.js'
import { mapText } from '../../src/job/platform-text.js'
import { blindOutput } from '../../src/measure/blind-output.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import type { LeadData } from '../../src/measure/lead.js'
import { comparisonText, mapSummary } from '../../src/report/map-text.js'
import { dbFromRatio } from '../../src/units/level.js'
import { compareWithMap } from '../../src/verdict/compare-map.js'
import { type LearnedVehicle, learned, learnMap } from '../../src/verdict/learn-map.js'
import { pairsOf } from '../../src/verdict/learn-pairs.js'
import { faulty, INPUT, louder, type Vehicle, vehicleOf } from '../kit/vehicle.js'

const JOB = parseJob(
  `
name: six
vehicle: { model: Tarn }
outputs:
  - { number: 1, label: front left, left: 1, right: 0, band: { low_hz: 3000, shape: linkwitz_riley }, level_vrms: 2, fader: front, pair: front }
  - { number: 2, label: front right, left: 0, right: 1, band: { low_hz: 3000, shape: linkwitz_riley }, level_vrms: 2, fader: front, pair: front }
  - { number: 3, label: rear left, left: 1, right: 0, level_vrms: 1.5, fader: rear, pair: rear }
  - { number: 4, label: rear right, left: 0, right: 1, level_vrms: 1.5, fader: rear, pair: rear }
  - { number: 5, label: centre, left: 0.6, right: 0.4, band: { low_hz: 100, high_hz: 7000 }, level_vrms: 1.2, delay_ms: 5 }
  - { number: 6, label: subwoofer, left: 0.5, right: 0.5, band: { high_hz: 80 }, level_vrms: 2.5, polarity: inverted }
`,
  'job.yaml',
)
/** Nothing but numbers, as for a vehicle of which nothing is known. */
const LABELS = JOB.outputs.map(({ number }) => ({ number, label: `output ${number}`, fader: null, pair: null }))

let vehicle: Vehicle
let map: PlatformMap
beforeAll(() => {
  vehicle = vehicleOf(JOB)
  map = learnMap('Tarn', LABELS, [learnedFrom()], [])
})

interface Taken {
  readonly changed?: ReadonlyMap<number, InputAnalysis>
  readonly faderFront?: ReadonlyMap<number, InputAnalysis>
  readonly patchOf?: (number: number) => string
}

const leadsOf = ({ changed, faderFront, patchOf }: Taken = {}): LeadData[] =>
  JOB.outputs.map(({ number }, i) => ({
    outputNumber: number,
    patchName: patchOf?.(number) ?? 'patch 1',
    inputNumber: i + 1,
    input: INPUT,
    captureBits: 24,
    analysis: changed?.get(number) ?? vehicle.healthy.get(number)!,
    others: new Map(faderFront ? [['fader_front', faderFront.get(number)!]] : []),
  }))
const learnedFrom = (taken: Taken = {}, run = 'run 1'): LearnedVehicle => ({
  source: { run, date: '2026-04-01T10:00:00Z', vehicle: 'Tarn', verdict: 'pass' },
  outputs: leadsOf(taken).map((lead) => blindOutput(lead)!),
})
const compared = (taken: Taken, to = map) =>
  compareWithMap(
    leadsOf(taken).map((lead) => ({ lead, output: blindOutput(lead) })),
    to,
  )
const differing = ({ rows }: ReturnType<typeof compared>): string[] =>
  rows.filter(({ verdict }) => verdict !== 'pass').map((row) => `${row.output} ${row.quantity} ${row.verdict}`)
const allLouder = (gain: number): Map<number, InputAnalysis> =>
  new Map([...vehicle.healthy].map(([number, analysis]) => [number, louder(analysis, gain)]))

describe('a map that is learned blind', () => {
  // Truth: the job from which the kit's wires were made by closed forms. Their filters are digital: a corner of a Butterworth
  // or Linkwitz-Riley filter keeps its place under the bilinear transform with its frequency prewarped, as the kit does.
  test("gives back the vehicle's own map within the uncertainty that it states", () => {
    expect(map.outputs).toHaveLength(JOB.outputs.length)
    map.outputs.forEach((output, k) => {
      const truth = JOB.outputs[k]
      const where = `output ${truth.number}`
      const share = Math.abs(truth.leftGain) + Math.abs(truth.rightGain)
      expect(Math.abs(output.left - truth.leftGain / share), `${where} left`).toBeLessThanOrEqual(output.share.u + 1e-9)
      expect(Math.abs(output.right - truth.rightGain / share), where).toBeLessThanOrEqual(output.share.u + 1e-9)
      expect(Math.abs(output.levelDbv.value - dbFromRatio(truth.levelVrms * share)), where).toBeLessThan(
        output.levelDbv.u,
      )
      for (const [edge, hz] of [
        [output.low, truth.crossover.lowHz],
        [output.high, truth.crossover.highHz],
      ] as const) {
        expect(edge === null, where).toBe(hz === null)
        if (edge && hz) expect(100 * Math.abs(Math.log(edge.value / hz)), `${where} ${hz} Hz`).toBeLessThan(edge.u)
      }
      if (truth.crossover.lowHz ?? truth.crossover.highHz) expect(output.shape, where).toBe(truth.crossover.shape)
      expect(output.polarity, where).toBe(truth.polarity)
      expect(Math.abs(output.delay!.value - truth.delayS), where).toBeLessThanOrEqual(output.delay!.u + 1e-9)
      expect(output.referenceHz, where).toBe(truth.referenceHz)
    })
  })

  // Truth: the definition of the tolerance, root of the sum of squares of what is usual and U.
  test('allows what is usual and the uncertainty of the reading together', () => {
    expect(map.outputs[0].levelDbv).toMatchObject({ spread: null })
    expect(map.outputs[0].levelDbv.tolerance).toBeCloseTo(Math.hypot(1, map.outputs[0].levelDbv.u), 12)
    expect(map.outputs[5].delay!.tolerance).toBeGreaterThan(0.05 / 80)
  })

  test('is read back from its file as it was written', () => {
    const again = parseMap(mapText(map), 'map.yaml')
    again.outputs.forEach((output, k) => {
      const { levelDbv, low, delay, ...rest } = map.outputs[k]
      // Rounding: five digits of volts are 0.0004 dB, six of hertz 0.0005 %, five decimals of a millisecond 5 ns.
      expect(output.levelDbv.value).toBeCloseTo(levelDbv.value, 3)
      if (low) expect(output.low!.value / low.value).toBeCloseTo(1, 5)
      expect(output.delay!.value).toBeCloseTo(delay!.value, 7)
      expect(output).toMatchObject({ label: rest.label, polarity: rest.polarity, fader: rest.fader, shape: rest.shape })
    })
    expect(mapText(again)).toBe(mapText(parseMap(mapText(again), 'map.yaml')))
  })

  test('becomes the channel map of a job whose bands agree in each pair', () => {
    const named = learnMap(
      'Tarn',
      LABELS.map((label, k) => ({ ...label, label: JOB.outputs[k].label })),
      [learnedFrom()],
      [],
    )
    const text = jobFileText({
      name: 'next',
      vehicle: { maker: null, model: 'Tarn', year: null, vin: null, plate: null },
      platform: named.platform,
      jobNumber: null,
      technician: null,
      source: null,
      rigPath: null,
      stages: ['outputs'],
      outputs: outputsOfMap(named),
      amplifiers: [],
      outputsAre: 'learned',
    })
    const job = parseJob(text, 'job.yaml')
    expect(job.platform).toBe('Tarn')
    expect(job.outputs.map(({ pair }) => pair)).toEqual(['front', 'front', 'rear', 'rear', null, null])
    expect(job.outputs[5]).toMatchObject({ polarity: -1, label: 'subwoofer' })
    expect(job.outputs[4].delayS).toBeCloseTo(0.005, 5)
  })

  test('finds pairs without labels by sides, band and level, next to each other', () => {
    expect([...pairsOf(map.outputs, LABELS)]).toEqual([
      [1, '1 and 2'],
      [2, '1 and 2'],
      [3, '3 and 4'],
      [4, '3 and 4'],
    ])
  })

  test('counts polarity from most of the outputs, and says that all were turned', () => {
    const turned = learnMap('Tarn', LABELS, [learnedFrom({ changed: allLouder(-1) })], [])
    expect(turned.outputs.map(({ polarity }) => polarity)).toEqual(map.outputs.map(({ polarity }) => polarity))
    expect(turned.notes.join()).toContain('most outputs were inverted against the source')
  })

  test('has the rear outputs from a take with the fader to the front', () => {
    const faderFront = new Map(vehicle.healthy)
    for (const number of [3, 4]) faderFront.set(number, louder(vehicle.healthy.get(number)!, 0.001))
    const { outputs } = learnMap('Tarn', LABELS, [learnedFrom({ faderFront })], [])
    expect(outputs.map(({ fader }) => fader)).toEqual(['none', 'none', 'rear', 'rear', 'none', 'none'])
    expect(outputs[2].faderFrom).toBe('measured')
    expect(differing(compared({ faderFront }, { ...map, outputs }))).toEqual([])
    // Fronts move with the fader instead, as where front and rear leads were exchanged at the radio.
    const exchanged = new Map(vehicle.healthy)
    for (const number of [1, 2]) exchanged.set(number, louder(vehicle.healthy.get(number)!, 0.001))
    expect(differing(compared({ faderFront: exchanged }, { ...map, outputs }))).toContain('1 fader fail')
  })

  test('compares delays only inside of what was taken together', () => {
    const patchOf = (number: number): string => (number < 5 ? 'patch 1' : 'patch 2')
    const two = learnMap('Tarn', LABELS, [learnedFrom({ patchOf })], [])
    expect(two.outputs.map(({ delayGroup }) => delayGroup)).toEqual([1, 1, 1, 1, 2, 2])
    expect(two.outputs[4].delay!.value).toBeCloseTo(0.005, 4)
    // Another grouping of leads: output 5 has no companion of its group in its patch.
    const other = compared({ patchOf: (number) => (number < 6 ? 'patch 1' : 'patch 2') }, two)
    expect(differing(other)).toEqual(['5 delay unsure', '6 delay unsure'])
  })
})

describe('a map from several vehicles', () => {
  // Truth: numpy 2: numpy.mean([1, 1.2, 1.6, 0.9]), numpy.std(..., ddof=1); scipy.stats.t.ppf((1 + 0.954499736) / 2, 3)
  test('has the mean, the spread, and the tolerance for one vehicle more', () => {
    const values = [1, 1.2, 1.6, 0.9]
    const found = learned(values, [0.1, 0.2, 0.1, 0.1], 0.5)
    const [mean, spread, t] = [1.175, 0.309569593683445, 3.3068]
    expect(found.value).toBeCloseTo(mean, 12)
    expect(found.spread).toBeCloseTo(spread, 12)
    expect(found.u).toBeCloseTo(Math.hypot(0.2, (t * spread) / 2), 4)
    expect(found.tolerance).toBeCloseTo(Math.hypot(0.5, 0.2, t * spread * Math.sqrt(1.25)), 4)
  })

  test('has levels in the middle of the vehicles', () => {
    const gains = [1, 1.1, 0.95]
    const several = learnMap(
      'Tarn',
      LABELS,
      gains.map((gain, k) => learnedFrom({ changed: allLouder(gain) }, `run ${k + 1}`)),
      [],
    )
    // Truth: closed form, mean and standard deviation of 20 lg of the gains; the same noise is in all.
    const levels = gains.map(dbFromRatio)
    const mean = levels.reduce((sum, level) => sum + level, 0) / 3
    const spread = Math.sqrt(levels.reduce((sum, level) => sum + (level - mean) ** 2, 0) / 2)
    several.outputs.forEach(({ levelDbv }, k) => {
      expect(levelDbv.value - map.outputs[k].levelDbv.value).toBeCloseTo(mean, 3)
      expect(levelDbv.spread).toBeCloseTo(spread, 3)
    })
    expect(several.outputs[4].low!.spread).toBeLessThan(0.001)
    expect(parseMap(mapText(several), 'map.yaml').vehicles).toHaveLength(3)
  })

  test('is refused where one vehicle has another band, side or polarity', () => {
    const odd = (number: number, analysis: InputAnalysis) => () =>
      learnMap('Tarn', LABELS, [learnedFrom(), learnedFrom({ changed: new Map([[number, analysis]]) }, 'run 2')], [])
    expect(odd(3, vehicle.healthy.get(1)!)).toThrow(
      'output 3 output 3 differs between the vehicles: its band ends nowhere in one and at 3 kHz in the other (low edge) (run 1 and run 2). Learn a map from vehicles of one platform',
    )
    expect(odd(3, vehicle.healthy.get(4)!)).toThrow('it hears left alone in one and right alone in the other')
    expect(odd(3, louder(vehicle.healthy.get(3)!, -1))).toThrow('it has the opposite polarity')
  })
})

describe('a vehicle against the map of its platform', () => {
  test('is the same where it is', () => {
    const same = compared({})
    expect(differing(same)).toEqual([])
    expect(same.verdict).toBe('pass')
  })

  test('differs in what was changed, and in nothing else', () => {
    const changed = new Map([
      [2, louder(vehicle.healthy.get(2)!, -1)],
      [4, louder(vehicle.healthy.get(4)!, 10 ** (-3 / 20))],
      [5, faulty(vehicle, 5, { band: { lowHz: 150, highHz: 7000 }, lateSamples: 240 })],
    ])
    const comparison = compared({ changed })
    expect(differing(comparison)).toEqual(['2 polarity fail', '4 level fail', '5 low edge fail', '5 delay fail'])
    const text = comparisonText(comparison, map, 'Tarn\u001b[2J, LT 1', { isColour: false, columnCount: 80 })
    expect(text).toMatch(/^DIFFERS 3 of 6 outputs differ from the map: 2, 4 and 5\.\n/)
    expect(text).toContain(
      'differs 4 output 4: level\n        map 1.50 V ± 1.0 dB at 1 kHz; this vehicle 1.06 V (−3.0 dB)',
    )
    expect(text).not.toContain('\u001b')
    expect(Math.max(...text.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80)
  })

  test('is unsure where level lies at the edge of the tolerance', () => {
    // Truth: a tolerance of hypot(1, 0.1) = 1.005 dB; 1.05 dB lies within U = 0.1 dB of it.
    const changed = new Map([[3, louder(vehicle.healthy.get(3)!, 10 ** (1.05 / 20))]])
    expect(differing(compared({ changed }))).toEqual(['3 level unsure'])
  })

  test('with two leads exchanged is told as those, once each', () => {
    const changed = new Map([
      [3, vehicle.healthy.get(4)!],
      [4, vehicle.healthy.get(3)!],
    ])
    expect(differing(compared({ changed }))).toEqual(['3 identity fail', '4 identity fail'])
  })

  test('with a dead output says so', () => {
    const changed = new Map([[5, faulty(vehicle, 5, { isDead: true })]])
    expect(differing(compared({ changed }))).toEqual(['5 signal fail'])
  })

  test('at another volume differs by that alone', () => {
    const quieter = compared({ changed: allLouder(10 ** (-6 / 20)) })
    expect(differing(quieter)).toEqual([])
    expect(quieter.verdict).toBe('fail')
    expect(quieter.notes[0]).toBe(
      'All outputs are −6.0 dB from the map together: the volume, most likely. Levels are held against each other.',
    )
  })

  test('cannot be told apart where the map has two outputs alike but for the fader', () => {
    const [, , third, fourth] = map.outputs
    const alike = {
      ...map,
      outputs: map.outputs.map((output) =>
        output === fourth ? { ...third, number: 4, label: 'output 4', fader: 'rear' as const } : output,
      ),
    }
    const changed = new Map([[4, vehicle.healthy.get(3)!]])
    expect(differing(compared({ changed }, alike))).toEqual(['3 identity unsure', '4 identity unsure'])
  })
})

test('a map is shown as a table that fits', () => {
  const text = mapSummary({ ...map, notes: ['a note'] }, { isColour: false, columnCount: 80 })
  expect(text).toContain('5   output 5  0.60 0.40  100 Hz – 7 kHz  1.20 V  1.0   nor  none   5.00')
  expect(Math.max(...text.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80)
})
