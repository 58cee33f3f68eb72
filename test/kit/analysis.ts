/** What a lead would tell, made up from closed forms: for what is decided after the samples have been read. */
import type { InputAnalysis, NoiseReading, ToneReading } from '../../src/measure/analysis.js'
import { excessPhaseOf } from '../../src/measure/excess-phase.js'
import { TONE_HZ, TONE_PEAK_FS } from '../../src/stimulus/layout.js'
import { responseAt } from './biquad.js'
import { type Path, transferBy } from './transfer.js'

/** Quiet and flat: third-octave bands of white noise, no lines. Relative uncertainty as 5 s of it give. */
export function quietAt(unweightedFs: number): NoiseReading {
  const bandHz = Array.from({ length: 31 }, (_, k) => 10 ** ((13 + k) / 10))
  return {
    unweightedFs,
    aWeightedFs: unweightedFs * 10 ** (-2.0483 / 20),
    relativeU: 0.0018,
    bandHz,
    bandFs: bandHz.map((hz) => unweightedFs * Math.sqrt((hz * 0.2307675162) / 19_980)),
    hum: null,
    tonePeakFs: null,
    humFloorFs: 0.05 * unweightedFs,
    lines: [],
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
      harmonicsFs: new Array(harmonicCount).fill(1e-8),
      thdRatio: (1e-8 * Math.sqrt(harmonicCount)) / peakFs,
      thdRatioFloor: (1e-8 * Math.sqrt(harmonicCount)) / peakFs,
      thdNRatio: Math.min(1, noiseFs / peakFs),
    }
  })
  return {
    transfer,
    left: excessPhaseOf(transfer.leftRe, transfer.leftIm, transfer.leftError, transfer.centreS),
    right: excessPhaseOf(transfer.rightRe, transfer.rightIm, transfer.rightError, transfer.centreS),
    tones,
    idle: quietAt(noiseFs),
    present: quietAt(noiseFs),
    clippedSampleCount: 0,
    peakFs: TONE_PEAK_FS * Math.abs(left + right),
  }
}
