/** A calibration of a rig with two inputs, with something in every field. */
import type { Calibration, FloorOfInput, LoopOfInput, Made, VoltsOfInput } from '../../src/rig/calibration.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'

export const MADE: Made = {
  madeAt: '2026-04-01T10:00:00Z',
  program: 'linetrue 0.1.0',
  capture: { driver: 'pulse', device: 'card.in', sampleRateHz: 48_000, bits: 24, says: 'card.in' },
}

export const RIG: Rig = parseRig(
  `name: bench
capture: { driver: pulse, device: card.in }
player: { driver: computer }
inputs:
  - { full_scale_vrms: 4, level_uncertainty_db: 0.3 }
  - { full_scale_vrms: 1, pad_db: 12, level_uncertainty_db: 0.4 }
`,
  'bench.yaml',
)

const volts = (inputNumber: number, padDb: number, fullScaleVrms: number): VoltsOfInput => ({
  inputNumber,
  padDb,
  fullScaleVrms,
  expandedDb: 0.066,
  k: 2.2,
  dof: 14.5,
  rigFileVrms: 4,
  rigFileU: 0.3,
  differenceDb: 0.0217,
  budget: [
    { source: 'meter specification', u: 0.03, dof: Number.POSITIVE_INFINITY },
    { source: 'repeatability', u: 0.0004, dof: 4 },
  ],
  points: [{ freqHz: 997, meterVrms: 2.5, levelDbfs: -4.1, fullScaleVrms, readingCount: 5, spreadDb: 0.001 }],
})

const floor = (inputNumber: number, padDb: number): FloorOfInput => ({
  inputNumber,
  padDb,
  noiseDbfs: -108.2,
  noiseADbfs: -110.4,
  noiseU: 0.02,
  humDbfs: -125,
  isHumAtMost: inputNumber === 1,
  bandHz: [19.95262, 25.11886],
  bandDbfs: [-140.1, -139.2],
})

const loop = (inputNumber: number, padDb: number): LoopOfInput => ({
  inputNumber,
  padDb,
  levelDbfs: -3.5,
  thd: [{ freqHz: 997, ratio: 1e-5, u: 1e-7, isAtMost: false }],
  intermodulation: [{ kind: 'smpte', freqHz: 7000, ratio: 2e-5, u: 0, isAtMost: true }],
  response: [
    { freqHz: 19.97261, deviationDb: -0.12 },
    { freqHz: 1000, deviationDb: 0 },
  ],
  responseU: 0.003,
  matchDb: -0.02,
  matchU: 0.0001,
  polarity: inputNumber === 1 ? 1 : -1,
  delayS: inputNumber === 1 ? 0 : 1.25e-6,
  delayU: 0.1e-6,
  crosstalk: inputNumber === 1 ? { fromInput: 2, freqHz: 9973, db: -88, u: 0.2, isAtMost: false } : null,
})

export const CALIBRATION: Calibration = {
  rigName: 'bench',
  volts: {
    ...MADE,
    meter: { says: 'Ostrevan,AC1,0001,1.0', accuracyPct: 0.5, accuracyVrms: 0.002 },
    feed: 'each',
    inputs: [volts(1, 0, 4.01), volts(2, 12, 4.11)],
  },
  shorted: { ...MADE, inputs: [floor(1, 0), floor(2, 12)] },
  looped: { ...MADE, feed: 'both', inputs: [loop(1, 0), loop(2, 12)] },
}
