/**
 * Results for the tests of the views: a healthy vehicle and a faulty one, as many outputs as asked for.
 *
 * The figures are made up and only look like measured ones; every result goes through the schema.
 */
import type { OutputSpec } from '../../src/job/job.js'
import { maskFor } from '../../src/measure/response.js'
import type { Before } from '../../src/report/before-after.js'
import { dbFromRatio, vrms } from '../../src/units/level.js'
import { inDb, inDbv, inHz, inMs, inPct, inVolts } from '../../src/units/words.js'
import { CAUTIONS } from '../../src/verdict/cautions.js'
import type { Check, Figure, Finding, Verdict } from '../../src/verdict/parts.js'
import type { Readings } from '../../src/verdict/readings.js'
import { type OutputResult, RESULT_VERSION, Result } from '../../src/verdict/result.js'
import { sampleStages } from '../kit/stage-results.js'
import { enriched } from './rich-readings.js'

type Spec = Omit<OutputSpec, 'levelToleranceDb' | 'polarity' | 'delayS' | 'crossover'>

const entry = (
  number: number,
  label: string,
  sides: [number, number],
  band: [number | null, number | null],
  level: number,
  pair: string | null,
): Spec => ({
  number,
  label,
  leftGain: sides[0],
  rightGain: sides[1],
  lowHz: band[0],
  highHz: band[1],
  levelVrms: vrms(level),
  faderGroup: 'none',
  pair,
  referenceHz: band[0] === 3000 ? 8485 : band[1] === 80 ? 40 : 1000,
})

const MAP: readonly Spec[] = [
  entry(1, 'front left high', [1, 0], [3000, null], 2, 'front high'),
  entry(2, 'front right high', [0, 1], [3000, null], 2, 'front high'),
  entry(3, 'front left low', [1, 0], [null, 3000], 2, 'front low'),
  entry(4, 'front right low', [0, 1], [null, 3000], 2, 'front low'),
  entry(5, 'rear left', [1, 0], [null, null], 1.8, 'rear'),
  entry(6, 'rear right', [0, 1], [null, null], 1.8, 'rear'),
  entry(7, 'centre', [0.5, 0.5], [100, null], 1.6, null),
  entry(8, 'rear fill', [0.5, 0.5], [150, 7000], 0.8, null),
  entry(9, 'subwoofer left', [1, 0], [null, 80], 2.5, 'subwoofer'),
  entry(10, 'subwoofer right', [0, 1], [null, 80], 2.5, 'subwoofer'),
]

const FREQ_HZ = Array.from({ length: 240 }, (_, i) => 20 * 2 ** (i / 24)).filter((freqHz) => freqHz <= 20_000)
const BAND_HZ = Array.from({ length: 31 }, (_, i) => 10 ** ((13 + i) / 10))

/** A wobble that is the same on every run: a fraction from -1 to 1. */
const wobble = (a: number, b: number): number => Math.sin(12.9898 * a + 78.233 * b)

/** Fourth-order filters, each 3 dB down at its corner, and a small ripple; dB re the reference. */
function levelDbAt(spec: Spec, freqHz: number): number {
  const low = spec.lowHz === null ? 0 : -dbFromRatio(Math.sqrt(1 + (spec.lowHz / freqHz) ** 8))
  const high = spec.highHz === null ? 0 : -dbFromRatio(Math.sqrt(1 + (freqHz / spec.highHz) ** 8))
  return Math.max(-120, low + high + 0.05 * wobble(spec.number, Math.log2(freqHz) / 40))
}

export interface SampleOptions {
  readonly outputCount?: number
  readonly isSimulated?: boolean
}

const figure = (quantity: string, value: number, unit: Figure['unit'], u: number | null, method: string): Figure => ({
  quantity,
  value,
  unit,
  u,
  budget: u === null ? [] : [{ source: 'noise', u: u / 2 }],
  isAtMost: false,
  isAtLeast: false,
  freqHz: null,
  method,
})

const check = (name: string, of: Figure | null, expected: string, measured: string): Check => ({
  name,
  verdict: 'pass',
  figure: of,
  expected,
  measured,
  why: '',
})

function healthyOutput(spec: Spec): OutputResult {
  const { number, label, levelVrms, referenceHz } = spec
  const offDb = 0.12 * wobble(number, 1)
  const level = levelVrms * 10 ** (offDb / 20)
  const flatHz = 1.25 * referenceHz
  const flat = { ...figure('flatness', 0.2, 'dB', 0.05, 'response from sweep, 1/12 octave/1'), freqHz: flatHz }
  const crosstalk = {
    ...figure('crosstalk', -81.4 + wobble(number, 2), 'dB', 1.1, 'crosstalk from sweep, third octaves/1'),
    isAtMost: number % 2 === 0,
    freqHz: referenceHz,
  }
  const delay = figure('delay', 4e-6 * wobble(number, 3), 's', 6e-6, 'excess delay in its patch/1')
  const thd = {
    ...figure('thd', 0.0041 + 0.001 * wobble(number, 4), '%', 0.0004, 'thd over the fundamental, orders 2 to 10/1'),
    freqHz: 997,
  }
  const thdN = { ...figure('thd+n', 0.011, '%', 0.0002, 'thd+n over total, bins removed/1'), freqHz: 997 }
  const noise = figure('noise', -98.6 + wobble(number, 5), 'dBV', 0.2, 'noise 20 Hz to 20 kHz/1')
  const noiseA = figure('noise A', -101.2 + wobble(number, 5), 'dBV(A)', 0.2, 'noise A-weighted/1')
  const hum = { ...figure('hum', -118, 'dBV', 0.1, 'hum, multiples of 50 or 60 Hz/1'), isAtMost: true }
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  const balance = figure('side balance', 0.03, 'dB', 0.02, 'side balance/1')
  const checks = [
    check('identity', null, `${number} ${label}`, `${number} ${label}`),
    check(
      'level',
      { ...figure('level', level, 'V', 0.0115 * level, 'level at one frequency/1'), freqHz: referenceHz },
      `${inVolts(levelVrms)} ± 1 dB at ${inHz(referenceHz)}`,
      `${inVolts(level)} (${inDb(offDb)})`,
    ),
    check('polarity', figure('polarity', 1, '', null, 'excess phase over the passband/1'), 'normal', 'normal'),
    hearsBoth
      ? check('sides', balance, 'left and right as mapped, within 1 dB', 'left against right 0.0 dB')
      : check(
          'crosstalk',
          crosstalk,
          `${spec.leftGain > spec.rightGain ? 'left' : 'right'} side alone, the other at −50.0 dB or less`,
          `${crosstalk.isAtMost ? 'at most ' : ''}${inDb(crosstalk.value!)} at ${inHz(referenceHz)}`,
        ),
    check(
      'response',
      flat,
      `flat ± 1 dB, ${inHz(spec.lowHz ?? 20)} to ${inHz(spec.highHz ?? 20_000)}`,
      `+0.2 dB at ${inHz(flatHz)}`,
    ),
    check('delay', delay, 'within ± 0.10 ms of the map', inMs(delay.value!)),
    check('thd', thd, '0.1 % or less', inPct(thd.value!)),
    check('thd+n', thdN, '0.3 % or less', inPct(thdN.value!)),
    check('noise', noise, '−75.0 dBV or less', inDbv(noise.value!)),
    check('noise A', noiseA, '−80.0 dBV(A) or less', `${inDbv(noiseA.value!)}(A)`),
    check('hum', hum, '−80.0 dBV or less', `at most ${inDbv(hum.value!)}`),
  ]
  const crossover = { shape: 'butterworth', lowHz: spec.lowHz, highHz: spec.highHz } as const
  const mask = maskFor({ ...spec, crossover, levelToleranceDb: 1, polarity: 1, delayS: 0 }, 1, FREQ_HZ)
  return {
    number,
    label,
    patch: 'all outputs',
    inputNumber: number,
    verdict: 'pass',
    identifiedAs: number,
    figures: [
      ...checks.flatMap((one) => (one.figure ? [one.figure] : [])),
      figure('level deviation', offDb, 'dB', 0.1, 'level against the map/1'),
    ],
    checks,
    response: {
      freqHz: FREQ_HZ,
      levelDb: FREQ_HZ.map((freqHz) => levelDbAt(spec, freqHz)),
      maskMinDb: [...mask.minDb],
      maskMaxDb: [...mask.maxDb],
      referenceHz,
    },
    noise: {
      freqHz: BAND_HZ,
      levelDbv: BAND_HZ.map((freqHz, i) => -141.6 + 10 * Math.log10(0.23 * freqHz) + 0.6 * wobble(number, i)),
      lines: [],
    },
    readings: healthyReadings(spec),
  }
}

const THIRD_HZ = [100, 1000, 10_000]
const STEPS_DBFS = [-20, -10, -3, 0]

function healthyReadings(spec: Spec): Readings {
  return {
    equalisation: { isExplained: true, sections: [], leftWorstDb: 0.04, leftRmsDb: 0.01, processingHz: 48_000 },
    lowEdge:
      spec.lowHz === null
        ? null
        : { freqHz: spec.lowHz, freqU: 2, slopeDbPerOctave: 24, shape: 'Butterworth, order 4' },
    highEdge:
      spec.highHz === null
        ? null
        : { freqHz: spec.highHz, freqU: 2, slopeDbPerOctave: 24, shape: 'Butterworth, order 4' },
    groupDelay: { freqHz: THIRD_HZ, delayS: [0.0051, 0.005, 0.005], u: [2e-5, 2e-6, 1e-6] },
    crosstalk: {
      freqHz: THIRD_HZ,
      levelDb: [-82, -80, -76],
      u: [0.4, 0.3, 0.3],
      isAtMost: [true, false, false],
    },
    distortion: {
      freqHz: THIRD_HZ,
      thdPct: [0.004, 0.003, 0.003],
      u: [0.0004, 0.0002, 0.0002],
      isAtMost: [false, false, true],
      sourceDbfs: -12,
    },
    staircase: {
      freqHz: 997,
      kind: 'clean',
      sourceDbfs: STEPS_DBFS,
      levelVrms: STEPS_DBFS.map((levelDbfs) => spec.levelVrms * 10 ** (levelDbfs / 20)),
      gainDb: [0, 0, 0, -0.01],
      thdPct: [0.002, 0.002, 0.003, 0.004],
      isAtMost: [true, true, false, false],
    },
    interruptions: [],
    volumes: [],
    whine: null,
  }
}

export function healthyResult({ outputCount = 10, isSimulated = true }: SampleOptions = {}): Result {
  const specs = Array.from({ length: outputCount }, (_, i) => {
    const spec = MAP[i % MAP.length]
    return {
      ...spec,
      number: i + 1,
      label: i < MAP.length ? spec.label : `${spec.label} ${Math.floor(i / MAP.length) + 1}`,
    }
  })
  return Result.parse({
    format: 'linetrue-result',
    version: RESULT_VERSION,
    program: 'linetrue 0.1.0',
    startedAt: '2026-04-01T14:30:05.000Z',
    verdict: 'pass',
    summary: `All ${outputCount} outputs are as the map says.`,
    isSimulated,
    retestOf: null,
    job: {
      name: 'Quillon estate, ten outputs',
      platform: 'quillon',
      vehicle: 'Velmora Quillon Estate 2025',
      vin: '123456A8XS1000001',
      plate: 'LT 0010',
      jobNumber: 'D-001',
      technician: 'demo',
      customer: null,
      limitsProfile: 'standard',
      warnings: [],
    },
    rig: {
      name: 'Simulated bench',
      capture: 'simulated vehicle',
      player: 'simulated vehicle',
      meter: 'LINETRUE,MODEL METER,0,1',
      notes: [],
      inputs: specs.map(({ number }) => ({
        number,
        fullScaleVrms: 4,
        padDb: 0,
        levelUncertaintyDb: 0.1,
        calibratedAt: null,
        ownNoiseDbfs: null,
      })),
    },
    takes: [
      {
        patch: 'all outputs',
        setting: 'reference',
        source: 'takes/all-outputs-reference.wav',
        sha256: '9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08',
        sampleRateHz: 48_000,
        inputCount: outputCount,
        durationS: 44.21,
        trackStartS: 1.73,
        clockOffsetPpm: 31.4,
        matchPct: 98.7,
        trackRevision: 1,
        trackCount: 1,
        trackNumber: 1,
        clockDriftPpm: 0,
        faults: [],
      },
    ],
    checks: [
      check(
        'pair balance rear',
        { ...figure('pair balance', 0.05, 'dB', 0.02, 'difference of levels/1'), freqHz: 1000 },
        '5 and 6 within 0.5 dB',
        '+0.1 dB',
      ),
      check(
        'meter agreement',
        {
          ...figure('capture against meter', 0.03, 'dB', 0.11, 'steady tone, meter and capture on one lead/1'),
          freqHz: 997,
        },
        'within ± 0.3 dB at 997 Hz',
        'capture 0.64 V, meter 0.64 V (0.0 dB)',
      ),
    ],
    outputs: specs.map(healthyOutput),
    sums: [],
    source: { isLossy: 'no', because: [], bandLimitHz: null },
    findings: [],
    settings: [],
    stages: [],
    cautions: [...CAUTIONS],
  })
}

interface Fault {
  readonly check: string
  readonly verdict: Verdict
  readonly measured: string
  readonly why: string
  readonly value?: number
}

const fault = (check: string, verdict: Verdict, measured: string, why: string, value?: number): Fault => ({
  check,
  verdict,
  measured,
  why,
  value,
})

const FAULTS: Readonly<Record<number, readonly Fault[]>> = {
  2: [fault('polarity', 'fail', 'inverted', 'Its phase fits inverted by 99 %.', -1)],
  3: [fault('identity', 'fail', '4 front right low', 'Its sides, band and level are those of 4 front right low.')],
  4: [fault('identity', 'fail', '3 front left low', 'Its sides, band and level are those of 3 front left low.')],
  5: [
    fault('noise', 'fail', '−62.0 dBV', 'Above its limit.', -62),
    fault('noise A', 'fail', '−64.1 dBV(A)', 'Above its limit.', -64.1),
  ],
  6: [fault('response', 'fail', '+6.1 dB at 80 Hz', 'Outside its mask at 80 Hz.', 6.1)],
  10: [fault('crosstalk', 'unsure', '−49.8 dB at 40 Hz', 'It hears the other side as well.', -49.8)],
}

const CARRIES: Readonly<Record<number, number>> = { 3: 4, 4: 3 }

function withFaults(output: OutputResult, faults: readonly Fault[]): OutputResult {
  const checks = output.checks.map((one) => {
    const its = faults.find(({ check: name }) => name === one.name)
    if (!its) return one
    const { verdict, measured, why, value } = its
    return { ...one, verdict, measured, why, figure: one.figure && { ...one.figure, value: value ?? one.figure.value } }
  })
  return {
    ...output,
    verdict: faults.some(({ verdict }) => verdict === 'fail') ? 'fail' : 'unsure',
    identifiedAs: CARRIES[output.number] ?? output.identifiedAs,
    checks,
    figures: checks.flatMap(({ figure: its }) => (its ? [its] : [])),
  }
}

function faultyOutput(healthy: OutputResult): OutputResult {
  // Two patches: fronts and rear first, the others on the same inputs after them.
  const patched =
    healthy.number <= 6
      ? { ...healthy, patch: 'fronts and rear' }
      : { ...healthy, patch: 'centre, fill and subwoofers', inputNumber: healthy.number - 6 }
  if (patched.number === 9) return deadOutput(patched)
  const faults = FAULTS[patched.number]
  const output = faults ? withFaults(patched, faults) : patched
  if (output.number === 6 && output.response) {
    const { freqHz, levelDb } = output.response
    const boosted = levelDb.map((level, i) => level! + 6.1 * Math.exp(-(Math.log2(freqHz[i] / 80) ** 2)))
    return { ...output, response: { ...output.response, levelDb: boosted } }
  }
  if (output.number === 5 && output.noise) {
    const levelDbv = output.noise.levelDbv.map((level, i) => (i === 14 ? -62.2 : i === 4 ? -92 : level))
    const lines = [
      { freqHz: 497, levelDbv: -62.2, says: 'single line' },
      { freqHz: 50, levelDbv: -92, says: 'mains series, together −92.0 dBV' },
    ]
    return { ...output, noise: { ...output.noise, levelDbv, lines } }
  }
  return output
}

/**
 * Ten outputs or more: 2 inverted, 3 and 4 swapped, 5 whines, 6 boosted, 9 dead, 10 not settled; the meter disagrees. Beside
 * the figures it has all that a rich take adds.
 */
export function faultyResult(options: SampleOptions = {}): Result {
  const healthy = healthyResult(options)
  const count = healthy.outputs.length
  const [take] = healthy.takes
  const faulty: Result = {
    ...healthy,
    verdict: 'fail',
    summary: `6 of ${count} outputs fail: 2, 3, 4, 5, 6 and 9. 1 of ${count} could not be settled: 10.`,
    job: {
      ...healthy.job,
      customer: 'R. Example',
      warnings: ['VIN: its check digit is wrong (found 4, worked out X); read it again on the vehicle.'],
    },
    rig: { ...healthy.rig, inputs: healthy.rig.inputs.slice(0, 6).map((input) => ({ ...input, padDb: 6 })) },
    takes: [
      { ...take, patch: 'fronts and rear', source: 'takes/fronts-and-rear.wav', inputCount: 6 },
      {
        ...take,
        patch: 'centre, fill and subwoofers',
        source: 'takes/centre-fill-and-subwoofers.wav',
        sha256: 'b5bb9d8014a0f9b1d61e21e796d78dccdf1352f23cd32812f4850b878ae4944c',
        inputCount: 6,
        trackStartS: 2.05,
        clockOffsetPpm: -12.9,
      },
    ],
    checks: healthy.checks.map((one) =>
      one.name === 'meter agreement'
        ? {
            ...one,
            verdict: 'unsure',
            figure: one.figure && { ...one.figure, value: 0.41 },
            measured: 'capture 0.64 V, meter 0.61 V (+0.4 dB)',
            why: 'Capture and meter disagree on the same lead.',
          }
        : one,
    ),
    outputs: healthy.outputs.map(faultyOutput),
    findings: [...FINDINGS],
  }
  return Result.parse(enriched(faulty))
}

/** No more than a level and the noise, as the judge leaves it. */
function deadOutput(output: OutputResult): OutputResult {
  const level = { ...figure('level', 0.00011, 'V', 0.00002, 'level at one frequency/1'), freqHz: 40 }
  return {
    ...output,
    verdict: 'fail',
    identifiedAs: null,
    figures: [level, ...output.figures.filter(({ quantity }) => quantity.startsWith('noise'))],
    checks: [
      {
        name: 'level',
        verdict: 'fail',
        figure: level,
        expected: '2.50 V',
        measured: 'nothing but noise',
        why: 'No signal that belongs to the track comes out of it.',
      },
    ],
    response: null,
  }
}

const FINDINGS: readonly Finding[] = [
  {
    kind: 'swapped',
    verdict: 'fail',
    outputs: [3, 4],
    title: 'Outputs 3 front left low and 4 front right low are swapped',
    because: 'Lead 3 carries the sides, band and level of 4. Lead 4 carries the sides, band and level of 3.',
    next: 'Check the pins of these outputs against the harness sheet, then the leads of the rig, and take it again.',
  },
  {
    kind: 'dead',
    verdict: 'fail',
    outputs: [9],
    title: 'Output 9 subwoofer left is dead',
    because: 'Nothing of the track reaches it; expected 2.50 V.',
    next: 'Check its lead and pin, then the plug of the interface, then whether the map has this output on this vehicle.',
  },
  {
    kind: 'inverted',
    verdict: 'fail',
    outputs: [2],
    title: 'Output 2 front right high is inverted',
    because: 'Its phase fits inverted by 99 %.',
    next: "Swap plus and minus of this output at the plug, or turn its polarity in the interface's set-up.",
  },
  {
    kind: 'equalised',
    verdict: 'fail',
    outputs: [6],
    title: 'Output 6 rear right is equalised: +6.1 dB at 80 Hz',
    because: 'Against 1 kHz, outside its mask from 38.2 Hz to 161 Hz; limit ± 1 dB.',
    next: 'Set bass, treble, loudness and sound effects to zero and take it again; what is left belongs to the factory tuning and has to be undone in the processor.',
  },
  {
    kind: 'noisy',
    verdict: 'fail',
    outputs: [5],
    title: 'Output 5 rear left whines at 497 Hz',
    because:
      'Noise −62.0 dBV, A-weighted −64.1 dBV; limits −75.0 dBV and −80.0 dBV. One line holds most of it: −62.2 dBV.',
    next: 'Switch chargers, lights and blowers off one by one; with the engine running, suspect the alternator and the grounds.',
  },
  {
    kind: 'rig',
    verdict: 'unsure',
    outputs: [],
    title: 'Meter and capture disagree: +0.4 dB on input 1',
    because: 'capture 0.64 V, meter 0.61 V (+0.4 dB); uncertainty ± 0.11 dB, limit ± 0.3 dB.',
    next: 'Check full scale and pad of input 1 in the rig file, and that the meter is on AC volts and specified at 997 Hz.',
  },
  {
    kind: 'leaking',
    verdict: 'unsure',
    outputs: [10],
    title: 'Output 10 subwoofer right leaks from the other side',
    because: 'The side that it should not hear stands at −49.8 dB at 40 Hz; limit −50.0 dB.',
    next: 'Check for a shared ground or touching leads, and for surround or widening effects that are switched on.',
  },
  {
    kind: 'rig',
    verdict: 'pass',
    outputs: [],
    title: 'Delay was compared inside each patch only',
    because: 'The outputs were taken in 2 patches, each on its own clock.',
    next: 'Where delay between patches matters, take the two outputs in question in one patch.',
  },
]

/** A healthy or a faulty vehicle with every stage of a job made, and the settings that were asked for. */
export function stagedResult(isFaulty: boolean, options: SampleOptions = {}): Result {
  const result = isFaulty ? faultyResult(options) : healthyResult(options)
  return {
    ...result,
    settings: [
      { name: 'bass, treble', asked: 'at zero', answer: 'done' },
      { name: 'amplifier gains', asked: 'down', answer: 'taken as done' },
    ],
    stages: sampleStages(isFaulty),
  }
}

/** The figures of outputs that differ, whatever their uncertainties: enough for a view. */
export const beforeOf = (before: Result, after: Result): Before => ({
  result: before,
  changes: after.outputs.flatMap((output) => {
    const earlier = before.outputs.find(({ number }) => number === output.number)
    return output.figures.flatMap((figure) => {
      const its = earlier?.figures.find(
        ({ quantity, freqHz }) => quantity === figure.quantity && freqHz === figure.freqHz,
      )
      if (!its || its.value === figure.value) return []
      const of = `${output.number} ${output.label}`
      return [{ name: figure.quantity, outputNumber: output.number, of, before: its, after: figure }]
    })
  }),
})
