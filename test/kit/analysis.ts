/** What a lead would tell, made up from closed forms: for what is decided after the samples have been read. */
import type { NoiseReading, ToneReading } from '../../src/measure/analysis.js'
import { excessPhaseOf } from '../../src/measure/excess-phase.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import { TONE_HZ, TONE_PEAK_FS } from '../../src/stimulus/layout.js'
import { responseAt } from './biquad.js'
import { type Path, transferBy } from './transfer.js'

/** Quiet and flat: white noise, no lines. Relative uncertainties as 5 s of it give. */
export function quietAt(unweightedFs: number): NoiseReading {
  const bandHz = Array.from({ length: 31 }, (_, k) => 10 ** ((13 + k) / 10))
  const fineHz = Array.from({ length: 124 }, (_, k) => 10 ** ((101 + 2 * k) / 80))
  const through = (weightDb: number): number => unweightedFs * 10 ** (weightDb / 20)
  return {
    unweightedFs,
    // White noise through the weightings: integrals of their curves from 20 Hz to 20 kHz.
    aWeightedFs: through(-2.0483),
    cWeightedFs: through(-3.4505),
    bs468Fs: through(7.2628),
    ccirRmsFs: through(1.6328),
    unweightedU: 0.0018,
    aWeightedU: 0.0023,
    cWeightedU: 0.0025,
    bs468U: 0.0027,
    relativeU: 0.0023,
    bandHz,
    bandFs: bandHz.map((hz) => unweightedFs * Math.sqrt((hz * 0.2307675162) / 19_980)),
    fine: { freqHz: fineHz, rmsFs: fineHz.map((hz) => unweightedFs * Math.sqrt((hz * 0.0575727) / 19_980)) },
    hum: null,
    tonePeakFs: null,
    humFloorFs: 0.05 * unweightedFs,
    lines: [],
    hiss: { rmsFs: unweightedFs, aWeightedFs: through(-2.0483), slopeDbPerOctave: 0, slopeU: 0.05, character: 'white' },
  }
}

export function analysisBy(path: Path, noiseFs = 1e-5): InputAnalysis {
  const transfer = transferBy(path)
  const { filter = [], left = 1, right = 0 } = path
  const tones: ToneReading[] = TONE_HZ.map((freqHz) => {
    const { re, im } = responseAt(filter, freqHz, 48_000)
    const peakFs = Math.max(1e-9, TONE_PEAK_FS * Math.abs(left + right) * Math.hypot(re, im))
    const harmonicCount = Math.min(19, Math.floor(20_000 / freqHz) - 1)
    return {
      freqHz,
      peakFs,
      peakFsU: 1e-8,
      harmonicsFs: new Array(harmonicCount).fill(1e-8),
      harmonicsU: new Array(harmonicCount).fill(0),
      harmonicsAtMost: new Array(harmonicCount).fill(true),
      thdRatio: (1e-8 * Math.sqrt(harmonicCount)) / peakFs,
      thdRatioU: 0,
      thdIsAtMost: true,
      thdRRatio: (1e-8 * Math.sqrt(harmonicCount)) / peakFs,
      thdRatioFloor: (1e-8 * Math.sqrt(harmonicCount)) / peakFs,
      thdNRatio: Math.min(1, noiseFs / peakFs),
      thdNRatioU: (0.002 * noiseFs) / peakFs,
      thdNNotchRatio: Math.min(1, noiseFs / peakFs),
      sinadDb: -20 * Math.log10(Math.min(1, noiseFs / peakFs)),
    }
  })
  return {
    transfer,
    left: excessPhaseOf(transfer.leftRe, transfer.leftIm, transfer.leftError, transfer.centreS),
    right: excessPhaseOf(transfer.rightRe, transfer.rightIm, transfer.rightError, transfer.centreS),
    tones,
    idle: quietAt(noiseFs),
    present: quietAt(noiseFs),
    sweepDistortion: null,
    staircases: [],
    gainChanges: [],
    envelope: null,
    modulation: null,
    differenceTones: null,
    lossySource: {
      isLossy: 'no',
      because: [],
      bandLimitHz: null,
      floorUnderToneFs: null,
      thdReachRatio: null,
      under: [],
    },
    interruptions: [],
    timeVariance: null,
    silence: null,
    samplesPerS: 48_000,
    sweepsApartU: 0,
    clippedSampleCount: 0,
    peakFs: TONE_PEAK_FS * Math.abs(left + right),
  }
}
