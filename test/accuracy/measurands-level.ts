/** Levels, responses, corners, crosstalk. */
import { difference } from '../../src/measure/estimate.js'
import { inDb, type Measurand, type Read, stated, uncalibrated } from './measurand.js'
import type { Bound, Trial } from './trial.js'
import { curveDb, db, fullBandGain, halfPowerHz, levelVrms, magnitude, sweepGain } from './truth.js'

const OUTPUTS = [0, 1] as const
const RESPONSE_HZ = [20, 31.5, 63, 125, 250, 500, 2000, 4000, 8000, 12_500, 16_000, 20_000] as const
const CROSSTALK_HZ = [100, 1000, 8000] as const

const bothLevels = (
  { truth, outputs }: Read,
  of: (k: 0 | 1, truthDb: number) => (Trial | Bound)[],
): (Trial | Bound)[] => OUTPUTS.flatMap((k) => of(k, db(levelVrms(truth, k, outputs[k].spec.referenceHz))))

/** Of the equalised output, where its reference is 1 kHz. */
function responseTrials({ truth, outputs }: Read, within: (freqHz: number) => boolean): Trial[] {
  const { response, spec } = outputs[1]
  if (!response || truth.vehicle.sections.length === 0) return []
  return RESPONSE_HZ.filter(within).map((freqHz) => {
    const distance = (n: number): number => Math.abs(Math.log(response.freqHz[n] / freqHz))
    let at = 0
    for (let n = 1; n < response.freqHz.length; n++) if (distance(n) < distance(at)) at = n
    const truthDb = curveDb(truth, 1, response.freqHz[at], spec.referenceHz)
    return { freqHz, error: response.levelDb[at] - truthDb, u: response.uDb[at] }
  })
}

function corner({ truth, outputs }: Read, side: 'low' | 'high'): Trial[] {
  const { spec, equaliser } = outputs[1]
  const cornerHz = side === 'low' ? spec.lowHz : spec.highHz
  const edge = side === 'low' ? equaliser?.lowEdge : equaliser?.highEdge
  if (cornerHz === null || !edge) return []
  const factor = side === 'low' ? 4 : 0.25
  const truthHz = halfPowerHz(truth, 1, cornerHz * factor, cornerHz / factor)
  return [{ error: (100 * (edge.halfPowerHz - truthHz)) / truthHz, u: (200 * edge.halfPowerHzU) / truthHz }]
}

export const levelMeasurands: readonly Measurand[] = [
  {
    name: 'level, the reading alone',
    unit: 'dB',
    range: '0.5 to 2 V, calibration known',
    outside: 'outside/levels (sox, ffmpeg), outside/recompute (numpy)',
    above: 'what the cut of the response leaves',
    read: (read) =>
      bothLevels(read, (k, truthDb) =>
        uncalibrated(inDb(read.outputs[k].levelVrms), truthDb, read.truth.vehicle.calibrationDb[k]),
      ),
  },
  {
    name: 'level',
    unit: 'dB',
    range: '0.5 to 2 V, calibration drawn from its U',
    outside: 'outside/levels (sox, ffmpeg), outside/recompute (numpy)',
    above: null,
    read: (read) => bothLevels(read, (k, truthDb) => stated(inDb(read.outputs[k].levelVrms), truthDb)),
  },
  {
    name: 'level against the map',
    unit: 'dB',
    range: '-6 to +6 dB and more where equalised',
    outside: 'outside/recompute (numpy)',
    above: null,
    read: (read) =>
      bothLevels(read, (k, truthDb) =>
        stated(read.outputs[k].deviationDb, truthDb - db(read.outputs[k].spec.levelVrms)),
      ),
  },
  {
    name: 'pair balance',
    unit: 'dB',
    range: 'two levels, each with its own calibration',
    outside: 'verdict/judge (closed form), outside/recompute (numpy)',
    above: null,
    read: ({ truth, outputs: [one, two] }) =>
      stated(
        difference(one.deviationDb, 'one', two.deviationDb, 'two', 'difference'),
        db(levelVrms(truth, 0, one.spec.referenceHz) / levelVrms(truth, 1, two.spec.referenceHz)),
      ),
  },
  {
    name: 'full-band level, the reading alone',
    unit: 'dB',
    range: 'equalised or band limited',
    outside: 'measure/full-band (closed form), outside/response-family (scipy)',
    above: 'the course of the response between its points',
    read: ({ truth, outputs: [, two] }) => {
      const [lowHz, highHz] = [Math.max(20, two.spec.lowHz ?? 20), Math.min(20_000, two.spec.highHz ?? 20_000)]
      const volts = truth.vehicle.levelVrms[1] * fullBandGain(truth, 1, lowHz, highHz)
      return uncalibrated(inDb(two.fullBandVrms), db(volts), truth.vehicle.calibrationDb[1])
    },
  },
  {
    name: 'response re 1 kHz, 20 Hz to 20 kHz',
    unit: 'dB',
    range: '1 to 4 sections, 12 frequencies',
    outside: 'measure/transfer (closed forms), outside/recompute (scipy)',
    above: 'what the cut of the response leaves',
    read: (read) => responseTrials(read, () => true),
  },
  {
    name: 'response re 1 kHz, 20 to 63 Hz',
    unit: 'dB',
    range: '1 to 4 sections, 3 frequencies',
    outside: 'measure/transfer (closed forms), outside/recompute (scipy)',
    above: 'what the cut of the response leaves',
    read: (read) => responseTrials(read, (freqHz) => freqHz < 100),
  },
  ...(['low', 'high'] as const).map(
    (side): Measurand => ({
      name: `${side} corner at -3 dB`,
      unit: '%',
      range: side === 'low' ? '40 to 300 Hz, Butterworth' : '240 Hz to 8 kHz, Butterworth and Linkwitz-Riley',
      outside: 'measure/equaliser (closed forms)',
      above: 'an error of the fitted model is allowed for',
      read: (read) => corner(read, side),
    }),
  ),
  {
    name: 'crosstalk in a third octave',
    unit: 'dB',
    range: '-70 to -35 dB',
    outside: 'measure/crosstalk (closed form), outside/response-family (scipy)',
    above: null,
    read: ({ truth, outputs: [one] }) =>
      CROSSTALK_HZ.flatMap((freqHz): (Trial | Bound)[] => {
        const point = one.crosstalk?.curve.find((each) => Math.abs(Math.log(each.freqHz / freqHz)) < 0.03)
        if (!point) return []
        // What leaks is too weak for the curve to bend it.
        const leaked = truth.vehicle.leak * magnitude(truth, 0, point.freqHz)
        const truthDb = db(leaked / sweepGain(truth, 0, point.freqHz))
        if (point.isAtMost) return [{ isHeld: truthDb <= point.levelDb }]
        return [{ freqHz, error: point.levelDb - truthDb, u: 2 * point.levelDbU }]
      }),
  },
]
