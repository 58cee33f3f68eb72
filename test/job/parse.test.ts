import { readFileSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { jsonSchemaOf } from '../../src/document/json-schema.js'
import { volumeOf } from '../../src/job/job.js'
import { defaultReferenceHz, parseJob } from '../../src/job/parse.js'
import { JobFile } from '../../src/job/schema.js'
import { hasVinCheckDigit } from '../../src/job/vin.js'
import { StopError } from '../../src/units/stop.js'
import { stopOf } from '../document/stop-of.js'

const SMALL = `name: small
vehicle: { model: Quillon }
outputs:
  - { number: 1, label: left, left: 1, right: 0, level_vrms: 2 }
  - { number: 2, label: right, left: 0, right: 1, level_vrms: 2 }
`
const parse = (text: string) => parseJob(text, 'job.yaml')
const messageOf = (text: string): string => stopOf(() => parse(text)).message
const withOutput = (fields: string): string =>
  SMALL + `  - { number: 3, label: third, left: 1, right: 0, level_vrms: 1${fields} }\n`
const withTop = (lines: string): string => `${lines}\n${SMALL}`

describe('defaults', () => {
  test('fill in all that a short file leaves out', () => {
    const job = parse(SMALL)
    expect(job).toMatchObject({
      name: 'small',
      vehicle: { maker: null, model: 'Quillon', year: null, vin: null, plate: null },
      jobNumber: null,
      technician: null,
      customer: null,
      rigPath: null,
      track: { sampleRateHz: 48000, bits: 24 },
      volumeStep: null,
      extraTakes: [],
      sums: [],
      warnings: [],
    })
    expect(job.limits.profile).toBe('standard')
    expect(job.outputs[1]).toEqual({
      number: 2,
      label: 'right',
      leftGain: 0,
      rightGain: 1,
      lowHz: null,
      highHz: null,
      crossover: { shape: 'butterworth', lowHz: null, highHz: null },
      levelVrms: 2,
      levelToleranceDb: 1,
      polarity: 1,
      faderGroup: 'none',
      delayS: 0,
      pair: null,
      referenceHz: 1000,
    })
  })

  test('give way to what the file says, in base units', () => {
    const fields =
      ', band: { low_hz: 60, high_hz: 5000 }, tolerance_db: 2, polarity: inverted, fader: rear, delay_ms: 12.5, reference_hz: 400'
    expect(parse(withOutput(fields)).outputs[2]).toEqual({
      number: 3,
      label: 'third',
      leftGain: 1,
      rightGain: 0,
      lowHz: 60,
      highHz: 5000,
      crossover: { shape: 'butterworth', lowHz: 60, highHz: 5000 },
      levelVrms: 1,
      levelToleranceDb: 2,
      polarity: -1,
      faderGroup: 'rear',
      delayS: 0.0125,
      pair: null,
      referenceHz: 400,
    })
  })

  test('of limits come from the profile, and the job puts its own over them', () => {
    const job = parse(
      withTop('limits: { profile: fine, thd_pct_max: 0.2, delay_tolerance_ms: 2, noise_dbv_a_max: -70 }'),
    )
    expect(job.limits).toMatchObject({
      profile: 'fine',
      thdPctMax: 0.2,
      thdNPctMax: 0.1,
      delayToleranceS: 0.002,
      noiseDbvAMax: -70,
      noiseDbvMax: -85,
    })
    expect(job.outputs[0].levelToleranceDb).toBe(0.5)
  })

  test('take an output tolerance from the job over that of the profile', () => {
    const job = parse(`limits: { level_tolerance_db: 3 }\n${withOutput(', tolerance_db: 0.7')}`)
    expect(job.outputs.map((output) => output.levelToleranceDb)).toEqual([3, 3, 0.7])
  })

  test('each limit in the file reaches its own limit of the job', () => {
    const file = {
      level_tolerance_db: 1.01,
      pair_balance_db_max: 1.02,
      flatness_db_max: 1.03,
      delay_tolerance_ms: 1.04,
      thd_pct_max: 1.05,
      thd_n_pct_max: 1.06,
      noise_dbv_max: -107,
      noise_dbv_a_max: -108,
      hum_dbv_max: -109,
      crosstalk_db_max: -110,
      dead_db_below: 11,
      meter_agreement_db_max: 1.12,
      imd_pct_max: 1.13,
      clean_level_dbfs_min: -14,
      noise_468_dbv_max: -115,
      dynamic_range_db_min: 116,
      delay_spread_ms_max: 1.17,
      gain_change_db_max: 0.24,
      loudness_db_max: 1.18,
      whine_dbv_max: -119,
      engine_rise_db_max: 1.2,
      sum_flatness_db_max: 1.21,
      calibration_age_days_max: 122,
    }
    expect(parse(withTop(`limits: ${JSON.stringify(file)}`)).limits).toEqual({
      profile: 'standard',
      levelToleranceDb: 1.01,
      pairBalanceDbMax: 1.02,
      flatnessDbMax: 1.03,
      delayToleranceS: 1.04 / 1000,
      thdPctMax: 1.05,
      thdNPctMax: 1.06,
      noiseDbvMax: -107,
      noiseDbvAMax: -108,
      humDbvMax: -109,
      crosstalkDbMax: -110,
      deadDbBelow: 11,
      meterAgreementDbMax: 1.12,
      imdPctMax: 1.13,
      cleanLevelDbfsMin: -14,
      noise468DbvMax: -115,
      dynamicRangeDbMin: 116,
      delaySpreadSMax: 1.17 / 1000,
      gainChangeDbMax: 0.24,
      loudnessDbMax: 1.18,
      whineDbvMax: -119,
      engineRiseDbMax: 1.2,
      sumFlatnessDbMax: 1.21,
      calibrationAgeDaysMax: 122,
    })
  })
})

describe('the reference frequency', () => {
  // Closed form: 1 kHz with an octave to spare, else the square root of the edges' product, to three digits.
  test.each([
    [null, null, 1000],
    [500, 2000, 1000],
    [501, 2000, 1000], // sqrt(501 * 2000) = 1001.0
    [500, 1999, 1000], // sqrt(500 * 1999) = 999.7
    [501, null, 3170], // sqrt(501 * 20000) = 3165.4
    [null, 1999, 200], // sqrt(20 * 1999) = 199.9
    [3000, null, 7750], // sqrt(3000 * 20000) = 7746.0
    [null, 80, 40], // sqrt(20 * 80)
    [null, 3000, 1000],
    [100, null, 1000],
    [150, 7000, 1000],
    [2000, 8000, 4000],
    [15_000, null, 17_300], // sqrt(15000 * 20000) = 17320.5
    [null, 30, 24.5], // sqrt(20 * 30) = 24.49
  ])('of a band from %s to %s Hz is %d Hz', (lowHz, highHz, referenceHz) => {
    expect(defaultReferenceHz(lowHz, highHz)).toBe(referenceHz)
  })

  const seed = 1502
  test(`is always inside the band (seed ${seed})`, () => {
    const edges = fc.tuple(
      fc.option(fc.double({ min: 10, max: 15_000, noNaN: true })),
      fc.option(fc.double({ min: 30, max: 22_000, noNaN: true })),
    )
    fc.assert(
      fc.property(edges, ([lowHz, highHz]) => {
        fc.pre(lowHz === null || highHz === null || lowHz < highHz)
        const referenceHz = defaultReferenceHz(lowHz, highHz)
        expect(referenceHz).toBeGreaterThanOrEqual(lowHz ?? 0)
        expect(referenceHz).toBeLessThanOrEqual(highHz ?? 20_000)
      }),
      { seed, examples: [[[100.2, 100.4]], [[14_999.9, 15_000.1]]] },
    )
  })
})

describe('a VIN', () => {
  const withVin = (vin: string): string => SMALL.replace('model: Quillon', `model: Quillon, vin: ${vin}`)

  test('of digits only keeps every digit, without quotes', () => {
    expect(parse(withVin('12345678091234567')).vehicle.vin).toBe('12345678091234567')
  })

  test('is written in capitals', () => {
    expect(parse(withVin('1m8gdm9axkp042788')).vehicle.vin).toBe('1M8GDM9AXKP042788')
  })

  test('with a wrong check digit is a warning and no error', () => {
    const { vehicle, warnings } = parse(withVin('1G4AH59H45G118331'))
    expect(vehicle.vin).toBe('1G4AH59H45G118331')
    expect(warnings).toEqual([
      'VIN 1G4AH59H45G118331: its check digit (position 9) is 4 and should be 1. ' +
        'Compare it with the plate on the vehicle.',
    ])
  })

  test('of another part of the world needs no check digit', () => {
    expect(parse(withVin('ZG4AH59HZ5G118331')).warnings).toEqual([])
  })

  test('of a wrong shape is an error', () => {
    expect(messageOf(withVin('1G4AH59H45G11833O'))).toBe(
      'VIN "1G4AH59H45G11833O": it holds the letter O, which no VIN uses (job.yaml:2, vehicle.vin). ' +
        "Allowed: 17 capital letters and digits without I, O and Q, as on the vehicle's plate.",
    )
    expect(messageOf(withVin('1234'))).toMatch(/^VIN "1234": it has 4 characters \(job\.yaml:2, vehicle\.vin\)/)
  })
})

describe('extra takes', () => {
  test('stand in the order in which they are made: fader, volumes as written, engine last', () => {
    const job = parse(
      withTop('volume_step: 30\nextra_takes: [engine_running, volume_10, fader_front, volume_20, volume_0]'),
    )
    expect(job.extraTakes).toEqual(['fader_front', 'volume_10', 'volume_20', 'volume_0', 'engine_running'])
    expect(job.volumeStep).toBe(30)
    expect(job.extraTakes.map(volumeOf)).toEqual([null, 10, 20, 0, null])
  })

  test('with the fader, where no output has a fader group, are a warning', () => {
    expect(parse(withTop('extra_takes: [fader_front]')).warnings).toEqual([
      'extra_takes asks for fader_front, but no output has a fader group: that take tells nothing.',
    ])
    const fronted = SMALL.replace('level_vrms: 2 }', 'level_vrms: 2, fader: front }')
    expect(parse(`extra_takes: [fader_front]\n${fronted}`)).toMatchObject({ extraTakes: ['fader_front'], warnings: [] })
  })

  const wrong = 'Allowed: fader_front, engine_running, or volume_ with a whole number from 0 to 100: volume_20.'
  test.each([
    ['[volume_101]', `there is no take "volume_101" (job.yaml:1, extra_takes[1]). ${wrong}`],
    ['[fader_front, fader_rear]', `there is no take "fader_rear" (job.yaml:1, extra_takes[2]). ${wrong}`],
    ['[volume_07]', `there is no take "volume_07" (job.yaml:1, extra_takes[1]). ${wrong}`],
    ['[fader_front, fader_front]', 'fader_front is given twice (job.yaml:1, extra_takes[2]). Name each take once.'],
    [
      '[volume_20]',
      'volume_20 is asked for, and volume_step is missing (job.yaml:1, extra_takes[1]). ' +
        "Add it: what the head unit's volume reads at the reference take.",
    ],
    [
      '[volume_30]\nvolume_step: 30',
      'volume_30 is the volume of the reference take (job.yaml:1, extra_takes[1]). Name another volume, or leave it out.',
    ],
  ])('of %s are refused', (takes, message) => {
    expect(messageOf(withTop(`extra_takes: ${takes}`))).toBe(message)
  })

  test('are in the published schema by pattern', () => {
    const { extra_takes: takes } = jsonSchemaOf(JobFile, 'Job').properties!
    const pattern = new RegExp((takes.items as { pattern: string }).pattern)
    const names = [
      'fader_front',
      'engine_running',
      'volume_0',
      'volume_100',
      'volume_007',
      'volume_-3',
      'volume',
      'rear',
    ]
    expect(names.filter((name) => pattern.test(name))).toEqual(names.slice(0, 4))
  })
})

// Closed form: a fourth-order Linkwitz-Riley high-pass is 1 / (1 + (fc / f)^4); it is 3.01 dB down at 1.2465 fc.
describe('the shape of a band', () => {
  const cornersOf = (band: string): (number | null)[] => {
    const { lowHz, highHz } = parse(withOutput(`, band: ${band}`)).outputs[2]
    return [lowHz, highHz]
  }

  test('moves the -3 dB corners of linkwitz_riley inwards, and keeps what the map says beside them', () => {
    const [lowHz, highHz] = cornersOf('{ low_hz: 100, high_hz: 3000, shape: linkwitz_riley }')
    expect(1 / (1 + (100 / lowHz!) ** 4)).toBeCloseTo(Math.SQRT1_2, 12)
    expect(1 / (1 + (highHz! / 3000) ** 4)).toBeCloseTo(Math.SQRT1_2, 12)
    expect(lowHz).toBeCloseTo(124.65, 2)
    const { crossover } = parse(withOutput(', band: { low_hz: 3000, shape: linkwitz_riley }')).outputs[2]
    expect(crossover).toEqual({ shape: 'linkwitz_riley', lowHz: 3000, highHz: null })
    expect(cornersOf('{ low_hz: 3000, shape: linkwitz_riley }')[1]).toBeNull()
  })

  test('leaves butterworth corners where they are written', () => {
    expect(cornersOf('{ low_hz: 100, high_hz: 3000 }')).toEqual([100, 3000])
  })
})

describe('sums', () => {
  const sums = (text: string, base = SMALL): string => `${base}sums: ${text}\n`
  const mixed = `${SMALL}  - { number: 3, label: mono, left: 0.5, right: 0.5, level_vrms: 1 }\n`

  test('are lists of outputs with a name', () => {
    expect(parse(sums('[{ name: front, outputs: [1, 3] }]', mixed)).sums).toEqual([{ name: 'front', outputs: [1, 3] }])
  })

  test.each([
    [
      '[{ name: a, outputs: [1, 4] }]',
      'the map has no output 4 (job.yaml:7, sums[1].outputs[2]). Name outputs of the map: 1, 2, 3.',
    ],
    [
      '[{ name: a, outputs: [1, 3] }, { name: b, outputs: [3, 2] }]',
      'output 3 is in sum "a" already (job.yaml:7, sums[2].outputs[1]). Name each output once, in one sum.',
    ],
    [
      '[{ name: a, outputs: [1, 1] }]',
      'output 1 is in sum "a" already (job.yaml:7, sums[1].outputs[2]). Name each output once, in one sum.',
    ],
    [
      '[{ name: a, outputs: [1, 2] }]',
      'the outputs of sum "a" hear no common side (job.yaml:7, sums[1].outputs). ' +
        'Add outputs that hear the same side: left, right or both.',
    ],
    [
      '[{ name: a, outputs: [1] }]',
      'outputs has too few entries (job.yaml:7, sums[1].outputs). Allowed: a list of 2 to 8 entries.',
    ],
  ])('of %s are refused', (text, message) => {
    expect(messageOf(sums(text, mixed))).toBe(message)
  })

  test('of one name are refused', () => {
    const four = `${mixed}  - { number: 4, label: d, left: 0, right: 1, level_vrms: 1 }\n`
    expect(messageOf(sums('[{ name: a, outputs: [1, 3] }, { name: A, outputs: [2, 4] }]', four))).toBe(
      'name "A" is given twice (job.yaml:8, sums[2].name). Give each sum a name of its own.',
    )
  })
})

describe('what does not fit together is named with its line', () => {
  test.each([
    [
      'a number given twice',
      withOutput('').replace('number: 3', 'number: 1'),
      'number 1 is given twice, also to "left" (job.yaml:6, outputs[3].number). Give each output a number of its own.',
    ],
    [
      'a label given twice, in other letters',
      withOutput('').replace('label: third', 'label: Left'),
      'label "Left" is given twice, also to output 1 (job.yaml:6, outputs[3].label). ' +
        'Give each output a label of its own.',
    ],
    [
      'a band upside down',
      withOutput(', band: { low_hz: 300, high_hz: 80 }'),
      'low_hz is 300, not below high_hz 80 (job.yaml:6, outputs[3].band.low_hz). ' +
        'Allowed: low_hz below high_hz; leave the one out that limits nothing.',
    ],
    [
      'Linkwitz-Riley corners that meet',
      withOutput(', band: { low_hz: 200, high_hz: 300, shape: linkwitz_riley }'),
      'low_hz is 200, too near to high_hz 300 for linkwitz_riley slopes (job.yaml:6, outputs[3].band.low_hz). ' +
        'Allowed: an octave between them; or shape: butterworth.',
    ],
    [
      'a pair of two shapes',
      SMALL.replace('level_vrms: 2', 'level_vrms: 2, pair: p, band: { low_hz: 90 }').replace(
        'right: 1, level_vrms: 2',
        'right: 1, level_vrms: 2, pair: p, band: { low_hz: 90, shape: linkwitz_riley }',
      ),
      'the outputs of pair "p" have different bands (outputs 1 and 2) (job.yaml:5, outputs[2].pair). ' +
        'Give both the same band, or leave pair out.',
    ],
    [
      'a reference above its band',
      withOutput(', band: { high_hz: 80 }, reference_hz: 1000'),
      "reference_hz is 1000, outside the output's band (job.yaml:6, outputs[3].reference_hz). " +
        'Allowed: 80 Hz or less; or leave it out.',
    ],
    [
      'a reference below its band',
      withOutput(', band: { low_hz: 100, high_hz: 800 }, reference_hz: 99'),
      "reference_hz is 99, outside the output's band (job.yaml:6, outputs[3].reference_hz). " +
        'Allowed: 100 Hz or more and 800 Hz or less; or leave it out.',
    ],
    [
      'an output that hears neither side',
      withOutput('').replace('label: third, left: 1', 'label: third, left: 0'),
      'left and right are both 0 (job.yaml:6, outputs[3].left). Give the share of at least one side: 1, 0.5, -1.',
    ],
    [
      'a pair with one output',
      withOutput(', pair: rear'),
      'pair "rear" has only one output, "third" (job.yaml:6, outputs[3].pair). ' +
        'Give its partner the same pair name, or leave pair out.',
    ],
    [
      'a pair with different bands',
      `${withOutput(', pair: rear')}  - { number: 4, label: d, left: 0, right: 1, level_vrms: 1, pair: rear, band: { high_hz: 90 } }`,
      'the outputs of pair "rear" have different bands (outputs 3 and 4) (job.yaml:7, outputs[4].pair). ' +
        'Give both the same band, or leave pair out.',
    ],
    [
      'a pair of three',
      SMALL.replaceAll('level_vrms: 2', 'level_vrms: 2, pair: p') +
        '  - { number: 4, label: d, left: 0, right: 1, level_vrms: 1, pair: p }',
      'pair "p" has 3 outputs (job.yaml:6, outputs[3].pair). Give one name to two outputs only.',
    ],
    [
      'a gain out of range',
      withOutput('').replace('label: third, left: 1', 'label: third, left: 2.5'),
      'left is 2.5, too high (job.yaml:6, outputs[3].left). Allowed: a number from -2 to 2.',
    ],
    [
      'no outputs',
      SMALL.slice(0, SMALL.indexOf('outputs')) + 'outputs: []',
      'outputs has too few entries (job.yaml:3, outputs). Allowed: a list of 1 to 32 entries.',
    ],
    [
      'an unknown profile',
      withTop('limits: { profile: strict }'),
      'profile is "strict" (job.yaml:1, limits.profile). Allowed: fine, standard or coarse.',
    ],
    [
      'a misspelt field',
      withOutput(', polarty: inverted'),
      'unknown field "polarty" (job.yaml:6, outputs[3].polarty). Did you mean "polarity"?',
    ],
    [
      'a track rate that no track has',
      withTop('track: { sample_rate_hz: 96000 }'),
      'sample_rate_hz is 96000 (job.yaml:1, track.sample_rate_hz). Allowed: 44100 or 48000.',
    ],
  ])('%s', (_, text, message) => {
    expect(messageOf(text)).toBe(message)
  })

  test('32 outputs are allowed, 33 are too many', () => {
    const outputs = (count: number): string =>
      Array.from(
        { length: count },
        (_, n) => `  - { number: ${n + 1}, label: o${n}, left: 1, right: 0, level_vrms: 1 }\n`,
      ).join('')
    const head = SMALL.slice(0, SMALL.indexOf('  - '))
    expect(parse(head + outputs(32)).outputs).toHaveLength(32)
    expect(messageOf(head + outputs(33))).toBe(
      'outputs has too many entries (job.yaml:3, outputs). Allowed: a list of 1 to 32 entries.',
    )
  })

  test('two problems: the first by line, and that there is another', () => {
    const text = `${withOutput(', pair: rear')}  - { number: 3, label: d, left: 0, right: 1, level_vrms: 1 }`
    expect(messageOf(text)).toMatch(/^pair "rear" has only one output.* 1 more problem in this file\.$/)
  })
})

describe.each(['quillon', 'quillon-faulty'])('the demo job %s', (name) => {
  const job = parseJob(readFileSync(`captures/${name}/job.yaml`, 'utf8'), `captures/${name}/job.yaml`)

  test('is sound and has ten outputs', () => {
    expect(job.warnings).toEqual([])
    expect(job.outputs.map((output) => output.number)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10])
    expect(job.vehicle).toMatchObject({ maker: 'Velmora', model: 'Quillon Estate' })
    // Its VIN is made up, and shows the check digit at work: it counts, and it is right.
    expect(hasVinCheckDigit(job.vehicle.vin!)).toBe(true)
  })

  test('stays below the full scale of the simulated rig, 4 V', () => {
    for (const { levelVrms } of job.outputs) expect(levelVrms).toBeLessThan(4)
  })
})

test('the faulty twin has the healthy map on another vehicle', () => {
  const [healthy, faulty] = ['quillon', 'quillon-faulty'].map((name) =>
    parseJob(readFileSync(`captures/${name}/job.yaml`, 'utf8'), name),
  )
  expect(faulty.outputs).toEqual(healthy.outputs)
  expect(faulty.limits).toEqual(healthy.limits)
  expect(faulty.sums).toEqual(healthy.sums)
  expect(faulty.vehicle.vin).not.toBe(healthy.vehicle.vin)
})

const seed = 77
test(`a damaged job file ends in one clear line or in a job (seed ${seed})`, () => {
  const lines = readFileSync('captures/quillon/job.yaml', 'utf8').split('\n')
  const damage = fc.tuple(fc.nat(lines.length - 1), fc.nat(80), fc.nat(6), fc.string({ maxLength: 4 }))
  fc.assert(
    fc.property(damage, ([row, at, count, text]) => {
      const line = lines[row]
      const damaged = lines.with(row, line.slice(0, at) + text + line.slice(at + count)).join('\n')
      try {
        parse(damaged)
      } catch (error) {
        expect(error).toBeInstanceOf(StopError)
        expect((error as StopError).message).toMatch(/^[^\p{Cc}\p{Zl}\p{Zp}]+$/u)
        expect((error as StopError).where).toMatch(/^job\.yaml:\d+/)
      }
    }),
    { seed, numRuns: 150 },
  )
})
