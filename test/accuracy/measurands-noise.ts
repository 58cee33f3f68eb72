/** Noise through every weighting, dynamic range, hum. */
import { aWeightDb, bs468WeightDb, ccirRmsWeightDb, cWeightDb } from '../../src/dsp/weighting.js'
import type { Estimate } from '../../src/measure/estimate.js'
import type { NoiseFigures } from '../../src/measure/noise-figures.js'
import { type Measurand, stated, uncalibrated } from './measurand.js'
import { db, humVrms, magnitude, noiseOverFullScale, sweepGain, type Truth, type Weighting } from './truth.js'

const OUTPUTS = [0, 1] as const
const OUTSIDE = 'measure/noise-reading (closed forms), outside/noise (numpy, sox)'

/** For the lines of a hum; held against the printed tables in dsp/weighting. */
const WEIGHTS: Readonly<Record<Weighting, (freqHz: number) => number>> = {
  unweighted: () => 0,
  a: aWeightDb,
  c: cWeightDb,
  bs468: bs468WeightDb,
  ccirRms: ccirRmsWeightDb,
}

const noise = (name: string, weighting: Weighting, of: (figures: NoiseFigures) => Estimate): Measurand => ({
  name,
  unit: 'dB',
  range: '-106 to -34 dBV, white, some with hum',
  outside: OUTSIDE,
  above: null,
  read: ({ truth, outputs }) =>
    OUTPUTS.flatMap((k) => {
      const ratio = noiseOverFullScale(truth, k, weighting, WEIGHTS[weighting])
      return uncalibrated(of(outputs[k]), db(truth.vehicle.levelVrms[k] * ratio), truth.vehicle.calibrationDb[k])
    }),
})

/** Level of a 0 dBFS tone on both sides, as the sweeps tell it, over the noise. */
function range(truth: Truth, k: 0 | 1, weighting: Weighting): number {
  const full = sweepGain(truth, k, 997) + (k === 0 ? truth.vehicle.leak * magnitude(truth, 0, 997) : 0)
  return db(full / noiseOverFullScale(truth, k, weighting, WEIGHTS[weighting]))
}

const dynamicRange = (
  name: string,
  weighting: Weighting,
  of: (figures: NoiseFigures) => Estimate | null,
): Measurand => ({
  name,
  unit: 'dB',
  range: '34 to 112 dB',
  outside: 'measure/dynamic-range (published words of a perfect converter), outside/noise (numpy)',
  above: null,
  read: ({ truth, outputs }) => OUTPUTS.flatMap((k) => stated(of(outputs[k]), range(truth, k, weighting))),
})

export const noiseMeasurands: readonly Measurand[] = [
  noise('noise, the reading alone', 'unweighted', ({ noiseDbv }) => noiseDbv),
  {
    ...noise('noise', 'unweighted', ({ noiseDbv }) => noiseDbv),
    read: ({ truth, outputs }) =>
      OUTPUTS.flatMap((k) =>
        stated(outputs[k].noiseDbv, db(truth.vehicle.levelVrms[k] * noiseOverFullScale(truth, k, 'unweighted'))),
      ),
  },
  noise('noise A, the reading alone', 'a', ({ noiseADbv }) => noiseADbv),
  noise('noise C, the reading alone', 'c', ({ noiseCDbv }) => noiseCDbv),
  noise('noise BS.468, the reading alone', 'bs468', ({ noise468Dbv }) => noise468Dbv),
  noise('noise CCIR-RMS, the reading alone', 'ccirRms', ({ noiseCcirRmsDbv }) => noiseCcirRmsDbv),
  dynamicRange('dynamic range, CCIR-RMS', 'ccirRms', ({ dynamicRangeDb }) => dynamicRangeDb),
  dynamicRange('dynamic range, A', 'a', ({ dynamicRangeADb }) => dynamicRangeADb),
  {
    name: 'hum, the reading alone',
    unit: 'dB',
    range: '2 to 5 lines of 50 or 60 Hz, each -6 to +14 dB over the noise',
    outside: OUTSIDE,
    above: null,
    read: ({ truth, outputs: [one] }) =>
      truth.vehicle.hum.length > 0
        ? uncalibrated(one.humDbv, db(humVrms(truth)), truth.vehicle.calibrationDb[0])
        : one.humDbv.isAtMost
          ? []
          : [{ isHeld: false }],
  },
]
