/** A row of dots for each output: every vehicle one dot, the median a bar, what stands apart filled. */
import { scaleLinear } from 'd3-scale'
import { plain } from '../units/words.js'
import { CHART, chartFrame, px } from './chart-frame.js'
import { quantityInWords } from './format.js'
import { type Markup, markup } from './markup.js'

export interface ShownTrend {
  readonly quantity: string
  readonly unit: string
  readonly outputNumber: number | null
  readonly label: string
  readonly spread: {
    readonly count: number
    readonly median: number
    readonly spread: number | null
    readonly min: number
    readonly max: number
  }
  readonly points: readonly {
    readonly vehicle: number
    readonly value: number
    readonly score: number | null
    readonly isOutlier: boolean
  }[]
}

const TICKS = 5

export function trendChart(id: string, trends: readonly ShownTrend[]): Markup {
  const [factor, unit] = trends[0].unit === 'A' ? [1000, 'mA'] : [1, trends[0].unit]
  const low = factor * Math.min(...trends.map(({ spread }) => spread.min))
  const high = factor * Math.max(...trends.map(({ spread }) => spread.max))
  const margin = 0.05 * (high - low) || 0.5
  const level = scaleLinear([low - margin, high + margin], [CHART.bottom, CHART.top])
  const x = scaleLinear([-0.5, trends.length - 0.5], [CHART.left, CHART.right])
  const y = (value: number): number => level(factor * value)
  const apart = trends.flatMap(({ points }) => points).filter(({ isOutlier }) => isOutlier).length
  const ticks = level.ticks(TICKS)
  const decimals = Math.max(0, ...ticks.map((tick) => (String(tick).split('.')[1] ?? '').length))
  const name = quantityInWords(trends[0].quantity)
  return chartFrame({
    id,
    title: name,
    says: `${name} of each output over the vehicles, from ${plain(low, 2)} to ${plain(high, 2)} ${unit}; ${apart === 0 ? 'none stands apart' : `${apart} ${apart === 1 ? 'stands' : 'stand'} apart`}. The table below has the numbers.`,
    x,
    y: level,
    along: {
      unit: trends[0].outputNumber === null ? 'vehicle' : 'output',
      ticks: trends.map((_, k) => k),
      inWords: (k) => String(trends[k].outputNumber ?? ''),
    },
    levelTicks: ticks,
    levelInWords: (value) => plain(value, decimals),
    levelUnit: unit,
    inside: trends.map(({ points, spread }, k) => [
      points.map(
        ({ value, isOutlier }) =>
          markup`<circle cx="${px(x(k))}" cy="${px(y(value))}" r="${isOutlier ? 3.5 : 2}" class="${isOutlier ? 'apart' : 'dot'}"/>`,
      ),
      markup`<path class="middle" d="M${px(x(k) - 8)} ${px(y(spread.median))}H${px(x(k) + 8)}"/>`,
    ]),
    over: null,
  })
}
