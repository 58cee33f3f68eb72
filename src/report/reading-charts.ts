/**
 * Charts of what was read of an output beside its response: distortion, staircase, crosstalk, group delay, volume.
 *
 * Charts of one kind share an axis over all outputs, so that they can be compared; group delay alone has one for each.
 */
import { inHz, plain } from '../units/words.js'
import type { Readings } from '../verdict/readings.js'
import type { OutputResult } from '../verdict/result.js'
import { type Curve, curveChart, linearAxis, percentAxis, type ValueAxis } from './curve-chart.js'
import type { Markup } from './markup.js'

type Of<Name extends keyof Readings> = NonNullable<Readings[Name]>

export interface ReadingAxes {
  readonly distortion: ValueAxis
  readonly staircase: ValueAxis
  readonly gain: ValueAxis
  readonly crosstalk: ValueAxis
  readonly volume: ValueAxis
}

/** No crosstalk below matters to anybody. */
const CROSSTALK_DB_MIN = -140

export function readingAxes(outputs: readonly OutputResult[]): ReadingAxes {
  const all = (of: (readings: Readings) => readonly number[]): number[] =>
    outputs.flatMap(({ readings }) => [...of(readings)])
  return {
    distortion: percentAxis(all(({ distortion }) => distortion?.thdPct ?? [])),
    staircase: percentAxis(all(({ staircase }) => staircase?.thdPct ?? [])),
    gain: linearAxis([0, ...all(({ staircase }) => staircase?.gainDb ?? [])], {
      unit: 'dB',
      spanMin: 4,
      isSigned: true,
    }),
    crosstalk: linearAxis(
      all(({ crosstalk }) => crosstalk?.levelDb ?? []),
      { unit: 'dB', spanMin: 40, floor: CROSSTALK_DB_MIN, isSigned: false },
    ),
    volume: linearAxis([0, ...all(({ volumes }) => volumes.flatMap(({ shape }) => shape.liftDb))], {
      unit: 'dB',
      spanMin: 4,
      isSigned: true,
    }),
  }
}

const nameOf = ({ number, label }: OutputResult): string => `output ${number} ${label}`

/** How many of the points are bounds, for those who cannot see them. */
const boundsSaid = (isAtMost: readonly boolean[]): string => {
  const count = isAtMost.filter(Boolean).length
  return count === 0 ? '' : ` ${count} of ${isAtMost.length} points are at most that much.`
}

export const distortionChart = (output: OutputResult, distortion: Of<'distortion'>, axis: ValueAxis): Markup =>
  curveChart({
    id: `thd-${output.number}`,
    title: `THD against frequency of ${nameOf(output)}`,
    says: `THD in per cent over the fundamental's frequency, from the sweep at ${plain(distortion.sourceDbfs, 0)} dBFS.${boundsSaid(distortion.isAtMost)}`,
    curves: [{ at: distortion.freqHz, values: distortion.thdPct, u: distortion.u, isAtMost: distortion.isAtMost }],
    axis,
  })

const sourceRange = ({ sourceDbfs }: Of<'staircase'>): readonly [number, number] => [
  sourceDbfs.reduce((a, b) => Math.min(a, b), -1),
  sourceDbfs.reduce((a, b) => Math.max(a, b), 0),
]

export const staircaseThdChart = (output: OutputResult, staircase: Of<'staircase'>, axis: ValueAxis): Markup =>
  curveChart({
    id: `stairs-thd-${output.number}`,
    title: `THD against level of ${nameOf(output)}`,
    says: `THD in per cent over the source's level at ${inHz(staircase.freqHz)}: ${staircase.kind}.${boundsSaid(staircase.isAtMost)}`,
    curves: [{ at: staircase.sourceDbfs, values: staircase.thdPct, isAtMost: staircase.isAtMost }],
    axis,
    sourceDbfs: sourceRange(staircase),
  })

export const staircaseGainChart = (output: OutputResult, staircase: Of<'staircase'>, axis: ValueAxis): Markup =>
  curveChart({
    id: `stairs-gain-${output.number}`,
    title: `Gain against level of ${nameOf(output)}`,
    says: `Gain in dB against the low steps over the source's level at ${inHz(staircase.freqHz)}: ${staircase.kind}.`,
    curves: [{ at: staircase.sourceDbfs, values: staircase.gainDb, isAtMost: staircase.gainDb.map(() => false) }],
    axis,
    sourceDbfs: sourceRange(staircase),
  })

export const crosstalkChart = (output: OutputResult, crosstalk: Of<'crosstalk'>, axis: ValueAxis): Markup =>
  curveChart({
    id: `crosstalk-${output.number}`,
    title: `Crosstalk of ${nameOf(output)}`,
    says: `Level in dB of the side that it should not hear against the one that it should, in third octaves.${boundsSaid(crosstalk.isAtMost)}`,
    curves: [{ at: crosstalk.freqHz, values: crosstalk.levelDb, u: crosstalk.u, isAtMost: crosstalk.isAtMost }],
    axis,
  })

/** Delay in ms against the one at the reference, over the frequencies that the chart shows. */
export function groupDelayChart(output: OutputResult, groupDelay: Of<'groupDelay'>, referenceHz: number): Markup {
  const shown = [...groupDelay.freqHz.keys()].filter(
    (i) => groupDelay.freqHz[i] >= 20 && groupDelay.freqHz[i] <= 20_000,
  )
  const off = (i: number): number => Math.abs(Math.log(groupDelay.freqHz[i] / referenceHz))
  const nearest = shown.reduce((best, i) => (off(i) < off(best) ? i : best), shown[0] ?? 0)
  const curve: Curve = {
    at: shown.map((i) => groupDelay.freqHz[i]),
    values: shown.map((i) => 1000 * (groupDelay.delayS[i] - groupDelay.delayS[nearest])),
    u: shown.map((i) => 1000 * groupDelay.u[i]),
  }
  return curveChart({
    id: `group-delay-${output.number}`,
    title: `Group delay of ${nameOf(output)}`,
    says: `Group delay in ms against that at ${inHz(referenceHz)}, over frequency.`,
    curves: [curve],
    axis: linearAxis(curve.values, { unit: 'ms', spanMin: 0.2, isSigned: true }),
  })
}

export const volumeChart = (output: OutputResult, axis: ValueAxis): Markup =>
  curveChart({
    id: `volume-${output.number}`,
    title: `Change of response with the volume, ${nameOf(output)}`,
    says: `What the response at another volume is lifted by, in dB over frequency, in third octaves: ${output.readings.volumes.map(({ volume }) => `volume ${volume}`).join(', ')}.`,
    curves: output.readings.volumes.map(({ shape }) => ({ at: shape.freqHz, values: shape.liftDb, u: shape.u })),
    axis,
  })
