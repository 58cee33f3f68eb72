/**
 * What a rich take adds to the faulty sample: equalisation, staircases, whine, volumes, interruptions, sums, notes of the rig.
 *
 * Made up, like the rest of the sample, with values that are easy to find again in a view.
 */

import type { Figure } from '../../src/verdict/parts.js'
import type { Readings, SumResult } from '../../src/verdict/readings.js'
import type { OutputResult, Result } from '../../src/verdict/result.js'

/** Nothing was read: what the judge leaves of a dead output. */
export const BARE_READINGS: Readings = {
  equalisation: null,
  lowEdge: null,
  highEdge: null,
  groupDelay: null,
  crosstalk: null,
  distortion: null,
  staircase: null,
  interruptions: [],
  volumes: [],
  whine: null,
}

const STEPS_DBFS = [-40, -20, -10, -6, -3, -2, -1, 0]

const staircase = (kind: 'hard clipping' | 'soft clipping' | 'limiting'): Readings['staircase'] => ({
  freqHz: 997,
  kind,
  sourceDbfs: STEPS_DBFS,
  levelVrms: [0.018, 0.18, 0.57, 0.9, 1.27, 1.4, 1.48, 1.53],
  gainDb: [0, 0, 0, 0, 0, -0.15, -0.69, -1.38],
  thdPct: [0.126, 0.0133, 0.0084, 0.0252, 0.0354, 2.33, 7.11, 11.5],
  isAtMost: [true, true, true, false, false, false, false, false],
})

const THIRD_HZ = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000]

const volume = (number: number, bassDb: number, hasLoudness: boolean): Readings['volumes'][number] => ({
  volume: number,
  levelChangeDb: -0.5 * (30 - number),
  levelChangeU: 0.04,
  hasLoudness,
  shape: {
    freqHz: THIRD_HZ,
    liftDb: THIRD_HZ.map((freqHz) => bassDb / (1 + (freqHz / 100) ** 2)),
    u: THIRD_HZ.map(() => 0.02),
  },
})

const peaking = { kind: 'peaking', gainU: 0.02, freqU: 0.3, qU: 0.01 } as const

const BY_NUMBER: Readonly<Record<number, Partial<Readings>>> = {
  4: { staircase: staircase('limiting') },
  5: {
    whine: { lowHz: 726, highHz: 1013, orders: [1, 2, 3, 6], isMoving: true },
    interruptions: [
      {
        kind: 'dropout',
        atSample: 1_689_789,
        atSampleU: 0.58,
        atS: 34.19993,
        lengthSamples: 240,
        lateSamples: 0,
        setting: 'reference',
        isCommon: false,
      },
      {
        kind: 'jump',
        atSample: 700_001,
        atSampleU: 2.2,
        atS: 12.6,
        lengthSamples: 1,
        lateSamples: -37,
        setting: 'engine_running',
        isCommon: true,
      },
    ],
  },
  6: {
    equalisation: {
      isExplained: true,
      sections: [
        { ...peaking, gainDb: 6.13, freqHz: 80.4, q: 1.13, undoGainDb: -6.13 },
        { ...peaking, kind: 'high shelf', gainDb: -2.5, freqHz: 9012.4, q: 0.85, undoGainDb: 2.5 },
      ],
      leftWorstDb: 0.08,
      leftRmsDb: 0.02,
      processingHz: 48_000,
    },
    volumes: [volume(20, 4.5, true), volume(10, 0, false)],
  },
  7: {
    equalisation: { isExplained: false, sections: [], leftWorstDb: 3.42, leftRmsDb: 1.21, processingHz: 48_000 },
  },
  8: { staircase: staircase('hard clipping') },
}

const figure = (
  quantity: string,
  value: number,
  unit: Figure['unit'],
  budget: Figure['budget'],
  bound: Partial<Figure> = {},
): Figure => ({
  quantity,
  value,
  unit,
  u: 2 * Math.hypot(...budget.map(({ u }) => u)),
  budget,
  isAtMost: false,
  isAtLeast: false,
  freqHz: null,
  method: `${quantity} by hand/1`,
  ...bound,
})

const CALIBRATION = { source: 'input calibration', u: 0.05 }

const figuresFor = (number: number): Figure[] => [
  figure('noise C', -99.9, 'dBV(C)', [CALIBRATION, { source: 'averaging', u: 0.018 }]),
  figure('noise 468', -91.4, 'dBV', [CALIBRATION]),
  figure('noise 468, unity at 2 kHz', -97.1, 'dBV', [CALIBRATION]),
  figure('dynamic range', 98.7, 'dB', [{ source: 'averaging', u: 0.03 }]),
  figure('dynamic range A', 101.3, 'dB', [{ source: 'averaging', u: 0.03 }]),
  figure('sinad', 85.3, 'dB', [{ source: 'noise', u: 0.02 }], { isAtLeast: true }),
  figure('harmonic 4', -131.8, 'dB', [], { isAtMost: true, freqHz: 3988 }),
  number === 8
    ? figure('clean level', -2.3, 'dBFS', [{ source: 'staircase', u: 0.06 }], { freqHz: 997 })
    : figure('clean level', 0, 'dBFS', [], { isAtLeast: true, freqHz: 997 }),
  number === 8
    ? figure('clean output', 1.3768, 'V', [{ source: 'staircase', u: 0.0062 }], { freqHz: 997 })
    : figure('clean output', 1.5123, 'V', [{ source: 'input calibration', u: 0.0081 }], {
        isAtLeast: true,
        freqHz: 997,
      }),
  figure('thd of total', 0.00044, '%', [{ source: 'noise', u: 0.00002 }], { isAtMost: true, freqHz: 997 }),
  figure('compression at 0 dBFS', 0.012, 'dB', [
    { source: 'noise', u: 0.001 },
    { source: 'rig response', u: 0.00002 },
    { source: 'response window', u: 0.00001 },
  ]),
]

const enrichedOutput = (output: OutputResult): OutputResult =>
  output.number === 9
    ? { ...output, readings: BARE_READINGS }
    : {
        ...output,
        figures: [...output.figures, ...figuresFor(output.number)],
        readings: { ...output.readings, ...BY_NUMBER[output.number] },
      }

const SUM_HZ = Array.from({ length: 60 }, (_, i) => 20 * 2 ** (i / 6)).filter((freqHz) => freqHz <= 20_000)
const flat = SUM_HZ.map(() => 6.02)

const SUMS: readonly SumResult[] = [
  {
    name: 'front right',
    outputs: [2, 4],
    verdict: 'fail',
    because: 'Because of output 2.',
    freqHz: SUM_HZ,
    levelDbv: SUM_HZ.map((freqHz) => 6.02 - 40 * Math.exp(-((3 * Math.log2(freqHz / 3000)) ** 2))),
    flattestDbv: flat,
    worstDb: -39.7,
    flattestWorstDb: 0.1,
    settings: [
      { output: 4, extraDelayS: -0.0000821, extraDelayU: 0.0000013, gainDb: 0.42, gainU: 0.02, isTurned: true },
    ],
  },
  {
    name: 'front left',
    outputs: [1, 3],
    verdict: 'pass',
    because: '',
    freqHz: SUM_HZ,
    levelDbv: flat,
    flattestDbv: flat,
    worstDb: 0.1,
    flattestWorstDb: 0.1,
    settings: [{ output: 3, extraDelayS: null, extraDelayU: 0, gainDb: 0, gainU: 0.02, isTurned: false }],
  },
  {
    name: 'sub and fill',
    outputs: [8, 10],
    verdict: 'unsure',
    because: 'Outputs 8 and 10 were taken in different patches.',
    freqHz: [],
    levelDbv: [],
    flattestDbv: [],
    worstDb: null,
    flattestWorstDb: null,
    settings: [],
  },
]

/** The sample with all that a rich take adds. */
export const enriched = (result: Result): Result => ({
  ...result,
  rig: {
    ...result.rig,
    notes: [
      'Volts were calibrated on 2025-11-02, 150 days ago; 90 are allowed.',
      'Output 9: up to 2.81 V, the input takes 8.00 V. A pad of 3 dB in place of 6 dB would do.',
      'Input 4 turned the signal over in the loop-back: check its lead for exchanged wires.',
    ],
    inputs: result.rig.inputs.map((input, i) =>
      i < 2 ? { ...input, calibratedAt: '2025-11-02T09:15:00Z', ownNoiseDbfs: -112.04 } : input,
    ),
  },
  takes: [
    ...result.takes,
    {
      ...result.takes[0],
      setting: 'engine_running',
      source: 'takes/engine.wav',
      trackCount: 3,
      trackNumber: 2,
      clockDriftPpm: 1.4,
    },
  ],
  outputs: result.outputs.map(enrichedOutput),
  sums: [...SUMS],
  source: { isLossy: 'yes', because: ['the response ends in a cliff at 15.5 kHz'], bandLimitHz: 15_540 },
})
