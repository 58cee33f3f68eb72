/**
 * The frame of a chart as SVG text: axes, grid, name and description. Curves go inside.
 *
 * Every chart of a kind has the same axes, so that outputs can be compared at a glance. Units of the drawing are pixels of a
 * 400 × 158 box, which the page scales.
 */
import { scaleLinear, scaleLog } from 'd3-scale'
import { inAxisHz } from './format.js'
import { type Markup, markup, type Shown } from './markup.js'

export const CHART = { width: 400, height: 158, left: 50, right: 386, top: 16, bottom: 136 } as const

const TICKS_HZ = [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]

export type Scale = (value: number) => number

/** Pixels for a frequency; the domain's ends are those of the plot. */
export const scaleHz = (freqHzMin: number, freqHzMax: number): Scale =>
  scaleLog([freqHzMin, freqHzMax], [CHART.left, CHART.right])

/** Pixels for a level. */
export const scaleLevel = (levelMin: number, levelMax: number): Scale =>
  scaleLinear([levelMin, levelMax], [CHART.bottom, CHART.top])

/** What a level axis shows; ticks stand at whole steps. */
export interface LevelAxis {
  readonly levelMin: number
  readonly levelMax: number
  readonly step: number
}

export const ticksOf = ({ levelMin, levelMax, step }: LevelAxis): number[] => {
  const first = Math.ceil(levelMin / step) * step
  return Array.from({ length: Math.floor((levelMax - first) / step) + 1 }, (_, i) => first + i * step)
}

export interface FrameSpec {
  /** Unique in the document. */
  readonly id: string
  readonly title: string
  readonly says: string
  readonly x: Scale
  readonly y: Scale
  /** Along the bottom; frequencies from 20 Hz to 20 kHz if left out. */
  readonly along?: {
    readonly unit: string
    readonly ticks: readonly number[]
    readonly inWords: (at: number) => string
  }
  readonly levelTicks: readonly number[]
  readonly levelInWords: (level: number) => string
  readonly levelUnit: string
  /** Drawn inside the plot and cut at its edges. */
  readonly inside: Shown
  /** Drawn over it, not cut. */
  readonly over: Shown
}

const FREQUENCIES = { unit: 'Hz', ticks: TICKS_HZ, inWords: inAxisHz } as const

/** A coordinate with one decimal: a tenth of a pixel is finer than any print. */
export const px = (value: number): string => String(Math.round(value * 10) / 10)

export function chartFrame(spec: FrameSpec): Markup {
  const { id, x, y, along = FREQUENCIES } = spec
  const { width, height, left, right, top, bottom } = CHART
  return markup`<svg viewBox="0 0 ${width} ${height}" role="img" aria-labelledby="${id}-title ${id}-says">
<title id="${id}-title">${spec.title}</title>
<desc id="${id}-says">${spec.says}</desc>
<clipPath id="${id}-plot"><rect x="${left}" y="${top}" width="${right - left}" height="${bottom - top}"/></clipPath>
<g class="grid">${along.ticks.map((at) => markup`<path class="gridline" d="M${px(x(at))} ${top}V${bottom}"/>`)}${spec.levelTicks.map((level) => markup`<path class="gridline" d="M${left} ${px(y(level))}H${right}"/>`)}</g>
<g clip-path="url(#${id}-plot)">${spec.inside}</g>
<rect class="edge" x="${left}" y="${top}" width="${right - left}" height="${bottom - top}"/>
<g class="ticks">${along.ticks.map((at) => markup`<text x="${px(x(at))}" y="${bottom + 15}" text-anchor="middle">${along.inWords(at)}</text>`)}${spec.levelTicks.map((level) => markup`<text x="${left - 5}" y="${px(y(level) + 4)}" text-anchor="end">${spec.levelInWords(level)}</text>`)}<text x="${left}" y="${top - 5}">${spec.levelUnit}</text><text x="${right}" y="${top - 5}" text-anchor="end">${along.unit}</text></g>
${spec.over}
</svg>`
}
