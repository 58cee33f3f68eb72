/** Clocks, delays, electrical sums. */
import { electricalSum, type SumSetting } from '../../src/measure/electrical-sum.js'
import { gridIndex } from '../../src/measure/grid.js'
import type { Measurand, Read } from './measurand.js'
import type { Trial } from './trial.js'
import { db, groupDelayS } from './truth.js'

const GROUP_DELAY_HZ = [50, 200, 1000, 5000, 15_000] as const
const TO_US = 1e6
/** What a line reaches into the points beside it: the responses are cut to half a second. */
const HUM_WIDTH_HZ = 8

const delay = ({ truth, outputs: [one, two] }: Read): Trial[] => {
  if (!one.delayS || !two.delayS) return []
  // Of two outputs the earlier one sets the time.
  const [value, u] = [two.delayS.value - one.delayS.value, Math.max(one.delayS.u, two.delayS.u)]
  return [{ error: TO_US * (value - truth.delayS), u: TO_US * u }]
}

function groupDelay({ truth, outputs: [one, two] }: Read): Trial[] {
  const [first, second] = [one.groupDelay, two.groupDelay]
  if (!first || !second || truth.vehicle.sections.length === 0) return []
  return GROUP_DELAY_HZ.flatMap((nominalHz): Trial[] => {
    // On a line of hum, noise is no noise: its phase is not drawn anew from point to point.
    if (truth.vehicle.hum.some(({ freqHz }) => Math.abs(freqHz - nominalHz) < HUM_WIDTH_HZ)) return []
    const index = gridIndex(nominalHz)
    const at = ({ freqHz }: { readonly freqHz: readonly number[] }): number =>
      freqHz.findIndex((hz) => gridIndex(hz) === index)
    const [a, b] = [at(first), at(second)]
    if (a < 0 || b < 0) return []
    const value = second.delayS[b] - first.delayS[a]
    const should = truth.delayS + groupDelayS(truth, 1, index) - groupDelayS(truth, 0, index)
    const u = 2 * TO_US * Math.hypot(first.delayU[a], second.delayU[b])
    return [{ freqHz: nominalHz, error: TO_US * (value - should), u }]
  })
}

/** The two halves of a band together: settings of the second output. */
function sumSetting({ truth, outputs }: Read): SumSetting | null {
  if (!truth.vehicle.isSplit) return null
  const sum = electricalSum(
    outputs.map(({ lead }, k) => ({
      outputNumber: k + 1,
      transfer: lead.analysis.transfer,
      // The card's error is known here: what is tried is the sum.
      gainVrms: 10 ** (-truth.vehicle.calibrationDb[k] / 20),
      leftGain: k === 0 ? 1 : 0,
      rightGain: k === 0 ? 0 : 1,
    })),
  )
  return sum.settings[0]
}

export const timeMeasurands: readonly Measurand[] = [
  {
    name: 'clock offset',
    unit: 'ppm',
    range: '-100 to +100 ppm',
    outside: 'outside/chains (sox), measure/locate (closed form)',
    above: 'neighbouring frequencies of a marker count as alike',
    read: ({ truth, located }) => [
      { error: located.clockOffsetPpm - truth.clockOffsetPpm, u: located.clockOffsetPpmU },
    ],
  },
  {
    name: 'delay, full range',
    unit: 'µs',
    range: '0 to 6 ms, equalised',
    outside: 'outside/recompute (scipy), measure/excess-phase (closed forms)',
    above: "what is known of a digital filter's magnitude above 20 kHz",
    read: (read) => (read.truth.vehicle.sections.length > 0 ? delay(read) : []),
  },
  {
    name: 'delay, band limited',
    unit: 'µs',
    range: '0 to 6 ms; low-pass from 300 Hz, high-pass up to 4 kHz',
    outside: 'outside/recompute (scipy), measure/excess-phase (closed forms)',
    above: 'how a filter goes on beyond what can be seen of it',
    read: (read) => (read.truth.vehicle.sections.length === 0 ? delay(read) : []),
  },
  {
    name: 'group delay',
    unit: 'µs',
    range: '1 to 4 sections, 5 frequencies, none of a hum',
    outside: 'measure/group-delay (closed forms), outside/response-family (scipy)',
    above: 'how the responses are read between their bins',
    read: groupDelay,
  },
  {
    name: 'electrical sum: delay that makes it flat',
    unit: 'µs',
    range: '0 to 2.5 ms, crossover 300 Hz to 4 kHz',
    outside: 'measure/electrical-sum (closed forms), outside/response-family (scipy)',
    above: null,
    read: (read) => {
      const setting = sumSetting(read)
      if (setting === null || setting.extraDelayS === null) return []
      return [{ error: TO_US * (setting.extraDelayS + read.truth.delayS), u: 2 * TO_US * setting.extraDelayU }]
    },
  },
  {
    name: 'electrical sum: gain that makes it flat',
    unit: 'dB',
    range: '-12 to +12 dB',
    outside: 'measure/electrical-sum (closed forms), outside/response-family (scipy)',
    above: 'what the cut of the responses leaves',
    read: (read) => {
      const setting = sumSetting(read)
      if (setting === null) return []
      const { vehicle } = read.truth
      return [{ error: setting.gainDb - db(vehicle.levelVrms[0] / vehicle.levelVrms[1]), u: 2 * setting.gainU }]
    },
  },
]
