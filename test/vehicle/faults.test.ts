import { describe, expect, test } from 'vitest'
import { jsonSchemaOf } from '../../src/document/json-schema.js'
import { FaultsFile, NO_FAULTS, parseFaults } from '../../src/vehicle/faults.js'
import { stopOf } from '../document/stop-of.js'

const parse = (text: string) => parseFaults(text, 'faults.yaml')
const messageOf = (text: string): string => stopOf(() => parse(text)).message
const output = (fields: string): string => `outputs:\n  3: { ${fields} }\n`

describe('a file that says nothing', () => {
  test('is a healthy vehicle', () => {
    expect(parse('{}')).toEqual({ ...NO_FAULTS, where: 'faults.yaml' })
    expect(NO_FAULTS).toEqual({
      where: 'no faults file',
      seed: 1,
      headUnit: {
        volumeDb: 0,
        volumeStepDb: 1.5,
        tone: [],
        loudness: null,
        isMono: false,
        balanceDb: 0,
        limiter: null,
        surround: null,
        lossyHighHz: null,
        clipsAboveVolume: null,
      },
      outputs: new Map(),
      leads: null,
      dropouts: [],
      repeats: [],
      jumps: [],
      clicks: [],
      engine: { whine: null, noiseDbv: null, outputs: null, rippleVrms: null, chargingV: null },
      amplifiers: new Map(),
      chimes: new Map(),
      pins: { byPin: new Map(), wireAt: new Map() },
      power: {
        wakeDelayS: 0.8,
        remoteHoldS: 45,
        staysAwake: false,
        neverWakes: false,
        awakeA: 0.35,
        standbyA: 0.0004,
        meterGap: null,
        rangingJumpCount: 0,
      },
      capture: {
        clockOffsetPpm: 21,
        clockDriftPpmPerMin: 0,
        leadInS: 1,
        trailS: 1,
        noiseDbfs: -112,
        hum: null,
        levelErrorDb: 0,
        distortion: null,
        lowHz: null,
        eq: [],
        leakDb: null,
        inputs: new Map(),
        loopVrms: 2,
        meterFactor: 1,
      },
    })
  })

  test('about an output leaves it healthy', () => {
    expect(parse(output('dead: false')).outputs.get(3)).toEqual({
      isDead: false,
      gainDb: 0,
      isInverted: false,
      swappedWith: null,
      isSummed: false,
      band: null,
      eq: [],
      noiseDbv: null,
      hum: null,
      whistle: null,
      distortion: null,
      clipVpk: null,
      softClipVpk: null,
      leak: null,
      sideLeakDb: null,
      delayS: 0,
      autoMute: null,
    })
  })
})

test('every fault is read, in base units', () => {
  const faults = parse(`
seed: 7
head_unit: { volume_db: -6, tone: [{ kind: low_shelf, freq_hz: 100, gain_db: 4 }], mono: true, balance_db: -3 }
outputs:
  1: { dead: true, gain_db: -4, inverted: true, swapped_with: 2, summed: true, band: full }
  2: { band: { low_hz: 80, high_hz: 7000, order: 2 }, noise_dbv: -70, clip_vpk: 2.5, soft_clip_vpk: 3, side_leak_db: -40, delay_ms: 5 }
  12:
    equaliser: [{ kind: peaking, freq_hz: 2500, gain_db: 5, q: 1.5 }]
    all_pass: [{ freq_hz: 1000, q: 2 }]
    hum: { freq_hz: 50, level_dbv: -62, harmonic_count: 3 }
    whistle: { freq_hz: 3300, level_dbv: -70 }
    distortion: { second_pct: 0.7 }
    leak: { from_output: 2, level_db: -30 }
    auto_mute: { below_dbfs: -80, after_s: 2 }
dropouts: [{ at_s: 12.5, duration_ms: 20, outputs: [1, 12] }, { at_s: 30, duration_ms: 5 }]
repeats: [{ at_s: 8, duration_ms: 10 }]
jumps: [{ at_s: 9, lost_samples: -48, outputs: [2] }]
clicks: [{ at_s: 10, count: 3, every_ms: 250, vpk: -0.2 }]
engine: { whine: { freq_hz: 900, drift_hz: 40, harmonic_count: 3, level_dbv: -60 }, noise_dbv: -80, outputs: [1, 2] }
capture: { clock_offset_ppm: -80, clock_drift_ppm_per_min: 4, lead_in_s: 7, trail_s: 0, noise_dbfs: -90, level_error_db: 0.5 }
`)
  expect(faults).toMatchObject({
    seed: 7,
    headUnit: {
      volumeDb: -6,
      tone: [{ kind: 'low_shelf', freqHz: 100, gainDb: 4, q: Math.SQRT1_2 }],
      isMono: true,
      balanceDb: -3,
    },
    dropouts: [
      { atS: 12.5, durationS: 0.02, outputs: [1, 12] },
      { atS: 30, durationS: 0.005, outputs: null },
    ],
    repeats: [{ atS: 8, durationS: 0.01, outputs: null }],
    jumps: [{ atS: 9, lostSamples: -48, outputs: [2] }],
    clicks: [10, 10.25, 10.5].map((atS) => ({ atS, peakV: -0.2, outputs: null })),
    engine: { whine: { freqHz: 900, driftHz: 40, harmonicCount: 3, levelDbv: -60 }, noiseDbv: -80, outputs: [1, 2] },
    capture: { clockOffsetPpm: -80, clockDriftPpmPerMin: 4, leadInS: 7, trailS: 0, noiseDbfs: -90, levelErrorDb: 0.5 },
  })
  expect(faults.outputs.get(1)).toMatchObject({
    isDead: true,
    gainDb: -4,
    isInverted: true,
    swappedWith: 2,
    isSummed: true,
    band: { lowHz: null, highHz: null },
  })
  expect(faults.outputs.get(2)).toMatchObject({
    band: { lowHz: 80, highHz: 7000, order: 2 },
    noiseDbv: -70,
    clipVpk: 2.5,
    softClipVpk: 3,
    sideLeakDb: -40,
    delayS: 0.005,
  })
  expect(faults.outputs.get(12)).toMatchObject({
    eq: [
      { kind: 'peaking', freqHz: 2500, gainDb: 5, q: 1.5 },
      { kind: 'all_pass', freqHz: 1000, gainDb: 0, q: 2 },
    ],
    hum: { freqHz: 50, levelDbv: -62, harmonicCount: 3 },
    whistle: { freqHz: 3300, levelDbv: -70 },
    distortion: { secondPct: 0.7, thirdPct: 0 },
    leak: { fromOutput: 2, levelDb: -30 },
    autoMute: { belowDbfs: -80, afterS: 2 },
  })
})

test('what is wrong with the head unit is read, in base units', () => {
  const { headUnit } = parse(`
head_unit:
  volume_step_db: 2
  loudness: { bass_db: 4, bass_share: 0.4, bass_hz: 90, treble_db: 1, treble_share: 0.2, treble_hz: 9000, max_db: 10 }
  limiter: { threshold_dbfs: -6, ratio: 4, attack_ms: 10, release_ms: 500 }
  surround: { from: right, level_db: -12, outputs: [5, 6] }
  lossy_high_hz: 16000
`)
  expect(headUnit).toMatchObject({
    volumeStepDb: 2,
    loudness: {
      bass: { freqHz: 90, atReferenceDb: 4, share: 0.4 },
      treble: { freqHz: 9000, atReferenceDb: 1, share: 0.2 },
      maxDb: 10,
    },
    limiter: { thresholdDbfs: -6, ratio: 4, attackS: 0.01, releaseS: 0.5 },
    surround: { from: 'right', levelDb: -12, outputs: [5, 6] },
    lossyHighHz: 16_000,
  })
})

describe('a file with a mistake', () => {
  test.each([
    [output('gain: -4'), 'unknown field "gain" (faults.yaml:2, outputs.3.gain). Did you mean "gain_db"?'],
    [
      output('gain_db: -400'),
      'gain_db is -400, too low (faults.yaml:2, outputs.3.gain_db). Allowed: a number from -80 to 40.',
    ],
    [
      output('swapped_with: 3'),
      'output 3 is swapped with itself (faults.yaml:2, outputs.3.swapped_with). Name another output.',
    ],
    [
      'outputs:\n  1: { swapped_with: 2 }\n  3: { swapped_with: 2 }\n',
      'output 2 is swapped with 1 already (faults.yaml:3, outputs.3.swapped_with). Exchange each output with one other.',
    ],
    [
      output('leak: { from_output: 3, level_db: -20 }'),
      'output 3 leaks into itself (faults.yaml:2, outputs.3.leak.from_output). Name another output.',
    ],
    [
      output('band: { low_hz: 5000, high_hz: 500 }'),
      'low_hz is 5000, not below high_hz 500 (faults.yaml:2, outputs.3.band.low_hz). Allowed: low_hz below high_hz.',
    ],
    [
      output('band: { order: 2 }'),
      'band has no edge (faults.yaml:2, outputs.3.band). Give low_hz or high_hz, or write band: full.',
    ],
    [
      'outputs:\n  left: { dead: true }\n',
      'field "left" is not allowed (faults.yaml:2, outputs.left). Allowed: the number of an output, 1 to 99.',
    ],
    ['clock_offset_ppm: 80\n', 'clock_offset_ppm is a field of capture'],
    [
      'jumps: [{ at_s: 3, lost_samples: 0 }]\n',
      'lost_samples is 0 (faults.yaml:1, jumps[1].lost_samples). Give how many are lost, or below 0 how many are added.',
    ],
    [output('whine: { freq_hz: 900, level_dbv: -60 }'), 'unknown field "whine" (faults.yaml:2, outputs.3.whine).'],
  ])('%j gets one line that says where and what to do', (text, says) => {
    const message = messageOf(text)
    expect(message).toContain(says)
    expect(message).not.toContain('\n')
  })
})

test('an exchange that is said at both outputs is one exchange', () => {
  const { outputs } = parse('outputs:\n  1: { swapped_with: 2 }\n  2: { swapped_with: 1 }\n')
  expect([...outputs].map(([number, { swappedWith }]) => [number, swappedWith])).toEqual([
    [1, 2],
    [2, 1],
  ])
})

test('every field of the published schema has a description', () => {
  const bare: string[] = []
  const walk = (node: unknown, path: string): void => {
    if (typeof node !== 'object' || node === null) return
    for (const [name, child] of Object.entries(node)) {
      if (name === 'properties') {
        for (const [field, schema] of Object.entries(child as Record<string, { description?: string }>)) {
          if (!schema.description) bare.push(`${path}.${field}`)
        }
      }
      walk(child, `${path}.${name}`)
    }
  }
  const schema = jsonSchemaOf(FaultsFile, 'Faults')
  walk(schema, '')
  expect(Object.keys(schema.properties!).join(' ')).toBe(
    'seed head_unit outputs leads dropouts repeats jumps clicks engine amplifiers chimes pins power capture',
  )
  expect(bare).toEqual([])
})
