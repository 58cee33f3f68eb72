/** Distortion, intermodulation, compression. All of the first output. */

import type { DistortionFigures } from '../../src/measure/distortion-figures.js'
import type { Estimate } from '../../src/measure/estimate.js'
import { type Measurand, type Read, relative, stated } from './measurand.js'
import type { Bound, Trial } from './trial.js'
import {
  cleanLevelDbfs,
  compressionDb,
  db,
  differenceToneOf,
  modulationOf,
  type Truth,
  thdNOf,
  thdOf,
  toneOf,
} from './truth.js'

const TONES = 'measure/tone-reading (published tables), outside/distortion (scipy)'
const TWO_TONES = 'measure/intermodulation (closed forms), outside/distortion (scipy)'
const STEPS = 'measure/staircase (closed forms), outside/distortion (scipy)'
const POLYNOMIAL = '0.003 to 0.3 %'

/** At the steady tone that was taken for it, where the output is not cut off. */
function atTone(
  { truth, outputs: [one] }: Read,
  of: (figures: DistortionFigures, freqHz: number) => (Trial | Bound)[],
): (Trial | Bound)[] {
  return truth.vehicle.cutFs === null && one.tone ? of(one, one.tone.freqHz) : []
}

const thd = (name: string, isIn: (thd: number) => boolean, range: string): Measurand => ({
  name,
  unit: '% of value',
  range,
  outside: TONES,
  above: null,
  read: (read) =>
    atTone(read, ({ thdPct }, freqHz) => {
      const truth = thdOf(read.truth, freqHz)
      return isIn(truth) ? relative(thdPct, 100 * truth) : []
    }),
})

const harmonic = (order: 2 | 3): Measurand => ({
  name: `harmonic of order ${order}`,
  unit: 'dB',
  range: 'up to -50 dB',
  outside: TONES,
  above: null,
  read: (read) =>
    atTone(read, ({ harmonicsDb }, freqHz) => {
      const { h1, h2, h3 } = toneOf(read.truth, freqHz)
      // A split pair has no third order: that it reads none cannot be held against a level in dB.
      if (order === 3 && h3 === 0) return []
      return stated(harmonicsDb[order - 2] ?? null, db((order === 2 ? h2 : h3) / h1))
    }),
})

const between = (
  name: string,
  of: (figures: DistortionFigures) => Estimate | null,
  truthOf: (truth: Truth) => number,
): Measurand => ({
  name,
  unit: '% of value',
  range: POLYNOMIAL,
  outside: TWO_TONES,
  above: null,
  read: ({ truth, outputs: [one] }) =>
    truth.vehicle.cutFs === null && of(one) ? relative(of(one), 100 * truthOf(truth)) : [],
})

export const nonlinearMeasurands: readonly Measurand[] = [
  thd('THD', () => true, POLYNOMIAL),
  thd('THD from 0.03 % up', (ratio) => ratio >= 3e-4, '0.03 to 0.3 %'),
  {
    ...thd('THD over the total', () => true, POLYNOMIAL),
    read: (read) =>
      atTone(read, ({ thdOfTotalPct }, freqHz) => {
        const truth = thdOf(read.truth, freqHz)
        return relative(thdOfTotalPct, (100 * truth) / Math.hypot(1, truth))
      }),
  },
  harmonic(2),
  harmonic(3),
  {
    ...thd('THD+N', () => true, 'by distortion, noise and hum'),
    read: (read) => atTone(read, ({ thdNPct }, freqHz) => relative(thdNPct, 100 * thdNOf(read.truth, freqHz))),
  },
  {
    name: 'SINAD',
    unit: 'dB',
    range: 'by distortion, noise and hum',
    outside: TONES,
    above: null,
    read: (read) => atTone(read, ({ sinadDb }, freqHz) => stated(sinadDb, -db(thdNOf(read.truth, freqHz)))),
  },
  between('modulation, 60 Hz and 7 kHz', ({ modulationPct }) => modulationPct, modulationOf),
  between('difference tones, 19 and 20 kHz', ({ differencePct }) => differencePct, differenceToneOf),
  {
    name: 'compression at 0 dBFS',
    unit: 'dB',
    range: '0 to 5 dB, smooth or cut off',
    outside: STEPS,
    above: 'hum is counted as noise of the steps',
    read: ({ truth, outputs: [{ compressionDb: figure, tone }] }) =>
      tone ? stated(figure, compressionDb(truth, tone.freqHz)) : [],
  },
  {
    name: 'highest clean level',
    unit: 'dB',
    range: 'cut off from -6 to -0.4 dBFS on',
    outside: STEPS,
    above: 'what fades and filters may leave on a step',
    read: ({ truth, outputs: [one] }) =>
      truth.vehicle.cutFs === null
        ? one.cleanLevelDbfs === null || one.cleanLevelDbfs.isAtLeast
          ? []
          : [{ isHeld: false }]
        : stated(one.cleanLevelDbfs, cleanLevelDbfs(truth)),
  },
]
