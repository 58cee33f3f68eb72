/**
 * A stage's plot as SVG text: any quantity over any other, linear or logarithmic, with limits, marks and gaps.
 *
 * Each curve differs by its dashes and carries its name at its end, so that no colour is needed.
 */
import { scaleLinear, scaleLog } from 'd3-scale'
import { line } from 'd3-shape'
import { plain } from '../units/words.js'
import type { StagePlot } from '../verdict/stage-result.js'
import { CHART, chartFrame, px, type Scale } from './chart-frame.js'
import { DASHES, linearAxis, type ValueAxis } from './curve-chart.js'
import { inAxisHz } from './format.js'
import { type Markup, markup } from './markup.js'
import { clean, cut } from './text.js'

/** More names than this would lie on each other; the caption has them all. */
const NAMES_MAX = 4
/** Height of a line of words, and the columns of an axis's words, of a name and of a mark. */
const [LINE_PX, AXIS_COLUMNS, NAME_COLUMNS] = [13, 28, 24]
/** About a character's width: enough to tell whether words would touch. */
const CHARACTER_PX = 6.5

type Axis = StagePlot['x']

export function stagePlot(plot: StagePlot, id: string): Markup {
  const ys = plot.series.flatMap((one) => one.y.filter((value) => value !== null))
  const alongAxis = axisOf(plot.x, plot.series.flatMap((one) => one.x).concat(plot.marks.map((mark) => mark.x)), false)
  const upAxis = axisOf(plot.y, ys.concat(plot.limits.map((limit) => limit.y)), true)
  const x = scaleOf(alongAxis, [CHART.left, CHART.right])
  const y = scaleOf(upAxis, [CHART.bottom, CHART.top])
  return chartFrame({
    id,
    title: plot.caption,
    says: `${plot.alt} ${plot.y.says} over ${plot.x.says}.`,
    x,
    y,
    along: { unit: cut(clean(plot.x.says), AXIS_COLUMNS), ticks: alongAxis.ticks, inWords: alongAxis.inWords },
    levelTicks: upAxis.ticks,
    levelInWords: upAxis.inWords,
    levelUnit: cut(clean(plot.y.says), AXIS_COLUMNS),
    inside: [
      plot.limits.map((limit) => markup`<path class="limit" d="M${CHART.left} ${px(y(limit.y))}H${CHART.right}"/>`),
      plot.marks.map((mark) => markup`<path class="mark" d="M${px(x(mark.x))} ${CHART.top}V${CHART.bottom}"/>`),
      plot.series.map((one, i) => curve(one, i, x, y)),
    ],
    over: words(plot, x, y),
  })
}

/** Ends of an axis, its ticks and their words. */
function axisOf({ scale, says }: Axis, values: readonly number[], hasRoom: boolean): ValueAxis {
  if (scale === 'log') return logAxis(values)
  const known = values.filter(Number.isFinite)
  const [lowest, highest] = [Math.min(...known), Math.max(...known)]
  if (hasRoom || !(highest > lowest)) {
    const size = Math.max(Math.abs(lowest), Math.abs(highest))
    const spanMin = Number.isFinite(size) && size > 0 ? size / 5 : 1
    return linearAxis(known, { unit: says, spanMin, isSigned: false })
  }
  const ticks = scaleLinear([lowest, highest], [0, 1]).ticks(5)
  const decimals = Math.min(6, Math.max(0, Math.ceil(-Math.log10(ticks.length < 2 ? 1 : ticks[1] - ticks[0]) - 1e-9)))
  return { min: lowest, max: highest, ticks, unit: says, inWords: (value) => plain(value, decimals), isLog: false }
}

/** More octaves than this have a tick at each decade alone. */
const DECADES_FULL = 3

function logAxis(values: readonly number[]): ValueAxis {
  const known = values.filter((value) => value > 0 && Number.isFinite(value))
  const [lowest, highest] = known.length === 0 ? [1, 10] : [Math.min(...known), Math.max(...known)]
  const [min, max] = highest > 1.5 * lowest ? [lowest, highest] : [lowest / 2, lowest * 2]
  const steps = Math.log10(max / min) > DECADES_FULL ? [1] : [1, 2, 5]
  const from = Math.floor(Math.log10(min))
  const ticks = Array.from({ length: Math.ceil(Math.log10(max)) - from + 1 }, (_, i) => from + i)
    .flatMap((exponent) => steps.map((step) => Number((step * 10 ** exponent).toPrecision(3))))
    .filter((tick) => tick >= 0.999 * min && tick <= 1.001 * max)
  return { min, max, ticks, unit: '', inWords: inAxisHz, isLog: true }
}

const scaleOf = ({ min, max, isLog }: ValueAxis, [from, to]: readonly [number, number]): Scale => {
  const scaled = isLog ? scaleLog([min, max], [from, to]) : scaleLinear([min, max], [from, to])
  // Of a logarithmic axis there is no zero, and a value far outside would only make the drawing large.
  const reach = Math.abs(to - from)
  return (value) =>
    Math.min(
      Math.max(from, to) + reach,
      Math.max(Math.min(from, to) - reach, scaled(isLog ? Math.max(value, min / 10) : value)),
    )
}

const isDrawn = ({ x, y }: StagePlot['series'][number], i: number): boolean =>
  y[i] !== null && Number.isFinite(y[i]) && Number.isFinite(x[i])

function curve(one: StagePlot['series'][number], index: number, x: Scale, y: Scale): Markup {
  const path = line<number>()
    .defined((i) => isDrawn(one, i))
    .x((i) => x(one.x[i]))
    .y((i) => y(one.y[i]!))
    .digits(1)
  // Of a reading between two gaps a line shows nothing: it gets a dot.
  const alone = [...one.x.keys()].filter((i) => isDrawn(one, i) && !isDrawn(one, i - 1) && !isDrawn(one, i + 1))
  const dots = alone.map((i) => `M${px(x(one.x[i]))} ${px(y(one.y[i]!))}h0`).join('')
  return markup`<path class="curve ${DASHES[index % DASHES.length]}" d="${path([...one.x.keys()]) ?? ''}"/>${dots === '' ? null : markup`<path class="dot" d="${dots}"/>`}`
}

interface Word {
  readonly says: string
  readonly atX: number
  readonly atY: number
  readonly side: 'start' | 'end'
}

/** Names of limits at the left over their lines, of marks beside theirs, of curves at their ends; none on another. */
function words({ series, limits, marks }: StagePlot, x: Scale, y: Scale): Markup[] {
  const wanted: Word[] = [
    ...marks.map((mark): Word => {
      const says = cut(clean(mark.says), NAME_COLUMNS)
      const atX = x(mark.x)
      const isLeft = atX + CHARACTER_PX * says.length > CHART.right
      return { says, atX: atX + (isLeft ? -3 : 3), atY: CHART.top + LINE_PX - 2, side: isLeft ? 'end' : 'start' }
    }),
    ...limits.map(
      ({ says, y: at }): Word => ({
        says: cut(clean(says), NAME_COLUMNS),
        atX: CHART.left + 3,
        atY: y(at) - 3,
        side: 'start',
      }),
    ),
    ...(series.length > NAMES_MAX ? [] : series).flatMap((one): Word[] => {
      const last = [...one.x.keys()].filter((i) => isDrawn(one, i)).at(-1)
      if (last === undefined) return []
      return [
        { says: cut(clean(one.name), NAME_COLUMNS), atX: x(one.x[last]) - 3, atY: y(one.y[last]!) - 5, side: 'end' },
      ]
    }),
  ]
  const placed: Word[] = []
  for (const word of wanted) placed.push(clearOf(placed, word))
  return placed.map(
    ({ says, atX, atY, side }) => markup`<text x="${px(atX)}" y="${px(atY)}" text-anchor="${side}">${says}</text>`,
  )
}

function clearOf(placed: readonly Word[], word: Word): Word {
  const spanOf = ({ says, atX, side }: Word): [number, number] => {
    const length = CHARACTER_PX * says.length
    return side === 'start' ? [atX, atX + length] : [atX - length, atX]
  }
  const [from, to] = spanOf(word)
  const isOn = (atY: number): boolean =>
    placed.some((other) => {
      const [otherFrom, otherTo] = spanOf(other)
      return from < otherTo && to > otherFrom && Math.abs(other.atY - atY) < LINE_PX - 1
    })
  const inPlot = (atY: number): number => Math.min(CHART.bottom - 3, Math.max(CHART.top + LINE_PX - 2, atY))
  const places = [0, -1, 1, -2, 2, -3, 3].map((step) => inPlot(word.atY + step * LINE_PX))
  return { ...word, atY: places.find((atY) => !isOn(atY)) ?? inPlot(word.atY) }
}
