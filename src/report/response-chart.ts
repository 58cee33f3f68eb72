/**
 * Response of one output against its mask, as SVG text.
 *
 * What lies outside the mask is drawn thick as well as red; a diamond marks the reference frequency, where the curve is 0 dB.
 */
import { area, line } from 'd3-shape'
import { inHz, signed } from '../units/words.js'
import type { OutputResult } from '../verdict/result.js'
import { CHART, chartFrame, type LevelAxis, px, type Scale, scaleHz, scaleLevel, ticksOf } from './chart-frame.js'
import { type Markup, markup } from './markup.js'
import { checkIn } from './output-facts.js'

type Response = NonNullable<OutputResult['response']>

const STEP_DB = 6
const LEVEL_DB_MIN = -30
/** Higher than this nothing is worth the room: the curve leaves the plot and the words tell the figure. */
const LEVEL_DB_MAX = 30

/** One axis for all responses: deep enough for a filter's slope, and high enough for the highest curve. */
export function responseAxis(outputs: readonly OutputResult[]): LevelAxis {
  const highest = Math.max(
    0,
    ...outputs.flatMap(({ response }) => (response?.levelDb ?? []).map((level) => level ?? 0)),
  )
  const levelMax = Math.min(LEVEL_DB_MAX, STEP_DB * Math.max(1, Math.ceil((highest + 0.5) / STEP_DB)))
  return { levelMin: LEVEL_DB_MIN, levelMax, step: levelMax > 12 ? 2 * STEP_DB : STEP_DB }
}

interface Point {
  readonly freqHz: number
  readonly level: number | null
  readonly min: number | null
  readonly max: number | null
}

/** @param idPrefix sets apart two charts of one output in a document */
export function responseChart(output: OutputResult, response: Response, axis: LevelAxis, idPrefix = ''): Markup {
  const x = scaleHz(20, 20_000)
  const y = scaleLevel(axis.levelMin, axis.levelMax)
  const points = response.freqHz.map(
    (freqHz, i): Point => ({
      freqHz,
      level: response.levelDb[i],
      min: response.maskMinDb[i],
      max: response.maskMaxDb[i],
    }),
  )
  const check = checkIn(output, 'response')
  return chartFrame({
    id: `${idPrefix}response-${output.number}`,
    title: `Response of output ${output.number} ${output.label}`,
    says: `Level in dB re ${inHz(response.referenceHz)} over frequency from 20 Hz to 20 kHz, with the mask. ${check ? `Expected ${check.expected}; measured ${check.measured}. ${check.why}` : ''}`,
    x,
    y,
    levelTicks: ticksOf(axis),
    levelInWords: (level) => signed(level, 0),
    levelUnit: 'dB',
    inside: [mask(points, x, y), curve(points, x, y)],
    over: reference(response.referenceHz, x, y),
  })
}

/** The allowed room. Where one side has no limit it goes on to the edge of the plot; where neither has, there is none. */
function mask(points: readonly Point[], x: Scale, y: Scale): Markup {
  const isLimited = ({ min, max }: Point): boolean => min !== null || max !== null
  const room = area<Point>()
    .defined(isLimited)
    .x(({ freqHz }) => x(freqHz))
    .y0(({ min }) => (min === null ? CHART.height : y(min)))
    .y1(({ max }) => (max === null ? 0 : y(max)))
    .digits(1)
  const edge = (limit: (point: Point) => number | null) =>
    line<Point>()
      .defined((point) => limit(point) !== null)
      .x(({ freqHz }) => x(freqHz))
      .y((point) => y(limit(point)!))
      .digits(1)
  return markup`<path class="room" d="${room(points) ?? ''}"/><path class="limit" d="${edge(({ max }) => max)(points) ?? ''}"/><path class="limit" d="${edge(({ min }) => min)(points) ?? ''}"/>`
}

function curve(points: readonly Point[], x: Scale, y: Scale): Markup {
  const isOutside = ({ level, min, max }: Point): boolean =>
    level !== null && ((min !== null && level < min) || (max !== null && level > max))
  const path = (isDrawn: (point: Point) => boolean) =>
    line<Point>()
      .defined((point) => point.level !== null && isDrawn(point))
      .x(({ freqHz }) => x(freqHz))
      .y(({ level }) => Math.min(2 * CHART.height, y(level!)))
      .digits(1)
  const outside = path(isOutside)(points)
  return markup`<path class="curve" d="${path(() => true)(points) ?? ''}"/>${outside ? markup`<path class="outside" d="${outside}"/>` : null}`
}

function reference(referenceHz: number, x: Scale, y: Scale): Markup {
  const [atX, atY] = [x(referenceHz), y(0)]
  return markup`<path class="reference" d="M${px(atX)} ${px(atY - 5)}l5 5l-5 5l-5 -5z"/>`
}
