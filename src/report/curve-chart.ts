/**
 * Curves as SVG text: over frequency or over the source's level, each with its uncertainty and what is only a bound.
 *
 * A point is a dot, one that is at most that much a hollow triangle that points down; the uncertainty is a shade, left out
 * where it would be thinner than the line. Several curves differ by their dashes, so that no colour is needed.
 */
import { scaleLinear, scaleLog } from 'd3-scale'
import { area, line } from 'd3-shape'
import { plain } from '../units/words.js'
import { CHART, chartFrame, type FrameSpec, px, type Scale, scaleHz } from './chart-frame.js'
import { type Markup, markup } from './markup.js'

export interface Curve {
  readonly at: readonly number[]
  readonly values: readonly number[]
  /** Expanded uncertainty of each value. */
  readonly u?: readonly number[]
  /** Given where each point is drawn: whether it is at most that much. */
  readonly isAtMost?: readonly boolean[]
}

/** An axis of values; ticks are those that are labelled. */
export interface ValueAxis {
  readonly min: number
  readonly max: number
  readonly ticks: readonly number[]
  readonly unit: string
  readonly inWords: (value: number) => string
  readonly isLog: boolean
}

export interface CurveChartSpec {
  readonly id: string
  readonly title: string
  readonly says: string
  /** The first is drawn through, each further one with dashes of its own. */
  readonly curves: readonly Curve[]
  readonly axis: ValueAxis
  /** Source levels along the bottom in place of frequencies. */
  readonly sourceDbfs?: readonly [min: number, max: number]
}

const TICK_COUNT = 5
/** Left free over and under the values, as a part of their span: a curve on the frame cannot be seen. */
const ROOM = 0.04
const TICK_COUNT_SOURCE = 5

/**
 * A linear axis about all values, its ends at whole steps.
 *
 * @param spanMin least that it shows, so that noise does not fill a plot
 */
export function linearAxis(
  values: readonly number[],
  { unit, spanMin, floor, isSigned }: { unit: string; spanMin: number; floor?: number; isSigned: boolean },
): ValueAxis {
  const known = values.filter(Number.isFinite)
  const deepest = floor ?? Number.NEGATIVE_INFINITY
  const highest = Math.max(deepest, known.length === 0 ? 0 : known.reduce((a, b) => Math.max(a, b)))
  const lowest = Math.max(deepest, known.length === 0 ? 0 : known.reduce((a, b) => Math.min(a, b)))
  const span = Math.max(spanMin, highest - lowest)
  const room = (span - (highest - lowest)) / 2 + ROOM * span
  const scale = scaleLinear([Math.max(deepest, lowest - room), highest + room], [0, 1]).nice(TICK_COUNT)
  const [min, max] = scale.domain()
  const ticks = scale.ticks(TICK_COUNT)
  const decimals = decimalsOf(ticks)
  const inWords = (value: number): string => `${isSigned && value > 0 ? '+' : ''}${plain(value, decimals)}`
  return { min, max, ticks, unit, inWords, isLog: false }
}

/** As many decimals as the step between ticks has. */
function decimalsOf(ticks: readonly number[]): number {
  const step = ticks.length < 2 ? 1 : ticks[1] - ticks[0]
  return Math.min(6, Math.max(0, Math.ceil(-Math.log10(step) - 1e-9)))
}

/** From 0.0001 to 100 %: less is no distortion, more is no signal. */
const [EXPONENT_MIN, EXPONENT_MAX] = [-4, 2]

/** Whole decades of percent about all values, two at the least. */
export function percentAxis(values: readonly number[]): ValueAxis {
  const known = values.filter((value) => value > 0 && Number.isFinite(value))
  const highest = known.length === 0 ? -1 : Math.ceil(Math.log10(known.reduce((a, b) => Math.max(a, b))))
  const lowest = known.length === 0 ? -3 : Math.floor(Math.log10(known.reduce((a, b) => Math.min(a, b))))
  // What is missing goes on top: it shows how far a low curve is from a usual limit.
  const to = Math.min(EXPONENT_MAX, Math.max(highest, Math.max(lowest, EXPONENT_MIN) + 2))
  const from = Math.max(EXPONENT_MIN, Math.min(lowest, to - 2))
  const ticks = Array.from({ length: to - from + 1 }, (_, i) => 10 ** (from + i))
  const inWords = (value: number): string => plain(value, Math.max(0, Math.round(-Math.log10(value))))
  return { min: ticks[0], max: ticks.at(-1)!, ticks, unit: '%', inWords, isLog: true }
}

export function curveChart({ id, title, says, curves, axis, sourceDbfs }: CurveChartSpec): Markup {
  const heights = [CHART.bottom, CHART.top]
  const [bottom, top] = [axis.min, axis.max]
  const scaled = axis.isLog ? scaleLog([bottom, top], heights) : scaleLinear([bottom, top], heights)
  // Of a logarithmic axis there is no zero, and a value far outside would only make the drawing large.
  const y: Scale = (value) => {
    const height = scaled(axis.isLog ? Math.max(value, axis.min / 10) : value)
    return Math.min(2 * CHART.height, Math.max(-CHART.height, height))
  }
  const along = sourceDbfs ? sourceAxis(sourceDbfs) : null
  const x = along ? along.x : scaleHz(20, 20_000)
  const isIn = (at: number): boolean => x(at) >= CHART.left - 0.01 && x(at) <= CHART.right + 0.01
  const frame: FrameSpec = {
    id,
    title,
    says,
    x,
    y,
    ...(along ? { along } : {}),
    levelTicks: axis.ticks,
    levelInWords: axis.inWords,
    levelUnit: axis.unit,
    inside: [...curves.map((curve) => shade(curve, x, y)), ...curves.map((curve, i) => stroke(curve, i, x, y))],
    // Over the frame, or it would cut a point at its edge in two.
    over: curves.map((curve) => points(curve, isIn, x, y)),
  }
  return chartFrame(frame)
}

const sourceAxis = ([min, max]: readonly [number, number]) => {
  const x = scaleLinear([min, max], [CHART.left, CHART.right])
  const ticks = x.ticks(TICK_COUNT_SOURCE)
  return { x: x as Scale, unit: 'dBFS at the source', ticks, inWords: (at: number) => plain(at, 0) }
}

/** Names for the dashes of the style sheet; further curves begin again. */
export const DASHES = ['solid', 'dashed', 'dotted', 'dashdot'] as const

function stroke({ at, values }: Curve, index: number, x: Scale, y: Scale): Markup {
  const path = line<number>()
    .x((i) => x(at[i]))
    .y((i) => y(values[i]))
    .digits(1)
  return markup`<path class="curve ${DASHES[index % DASHES.length]}" d="${path(at.map((_, i) => i)) ?? ''}"/>`
}

/** Half a line's width, in pixels: an uncertainty within it is the line. */
const THIN_PX = 1

function shade({ at, values, u }: Curve, x: Scale, y: Scale): Markup | null {
  if (!u || !at.some((_, i) => Math.abs(y(values[i] - u[i]) - y(values[i] + u[i])) > 2 * THIN_PX)) return null
  const path = area<number>()
    .x((i) => x(at[i]))
    .y0((i) => y(values[i] - u[i]))
    .y1((i) => y(values[i] + u[i]))
    .digits(1)
  return markup`<path class="sure" d="${path(at.map((_, i) => i)) ?? ''}"/>`
}

function points({ at, values, isAtMost }: Curve, isIn: (at: number) => boolean, x: Scale, y: Scale): Markup | null {
  if (!isAtMost) return null
  const shown = [...at.keys()].filter((i) => isIn(at[i]))
  const place = (i: number): [string, number] => [
    px(x(at[i])),
    Math.min(CHART.bottom, Math.max(CHART.top, y(values[i]))),
  ]
  const dots = shown.filter((i) => !isAtMost[i]).map((i) => `M${place(i)[0]} ${px(place(i)[1])}h0`)
  const bounds = shown.filter((i) => isAtMost[i]).map((i) => `M${place(i)[0]} ${px(place(i)[1] + 3)}l-3 -5h6z`)
  return markup`${dots.length === 0 ? null : markup`<path class="dot" d="${dots.join('')}"/>`}${bounds.length === 0 ? null : markup`<path class="atmost" d="${bounds.join('')}"/>`}`
}
