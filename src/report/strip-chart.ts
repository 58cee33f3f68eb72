/**
 * Polarity and delay of all outputs in one drawing: a row for each, its sign in a circle, and its delay against the map.
 *
 * A wrong sign or a delay outside its limit is filled; one that could not be settled has a question mark. The bar is the
 * expanded uncertainty.
 */
import { scaleLinear } from 'd3-scale'
import { plain } from '../units/words.js'
import type { OutputResult } from '../verdict/result.js'
import { px, type Scale } from './chart-frame.js'
import { type Markup, markup } from './markup.js'
import { figureIn, verdictIn } from './output-facts.js'
import { clean, cut } from './text.js'

const [WIDTH, ROW, TOP, SIGN_X, LEFT, RIGHT] = [400, 17, 18, 166, 196, 384] as const
const LABEL_COLUMNS = 23
/** Least that the axis shows to either side, in ms: so that noise does not fill it. */
const SPAN_MS_MIN = 0.2

/** @returns null where neither was read of any output */
export function stripChart(outputs: readonly OutputResult[]): Markup | null {
  const shown = outputs.filter((output) => valueIn(output, 'polarity') !== null || valueIn(output, 'delay') !== null)
  if (shown.length === 0) return null
  const delaysMs = shown.map((output) => Math.abs(1000 * (valueIn(output, 'delay') ?? 0)))
  const spanMs = Math.max(SPAN_MS_MIN, 1.15 * delaysMs.reduce((a, b) => Math.max(a, b)))
  const scale = scaleLinear([-spanMs, spanMs], [LEFT, RIGHT]).nice(4)
  const x: Scale = (value) => scale(value)
  const bottom = TOP + ROW * shown.length
  const ticks = scale.ticks(4)
  const decimals = Math.max(0, Math.ceil(-Math.log10(ticks[1] - ticks[0]) - 1e-9))
  return markup`<svg viewBox="0 0 ${WIDTH} ${bottom + 20}" role="img" aria-labelledby="strip-title strip-says">
<title id="strip-title">Polarity and delay of all outputs</title>
<desc id="strip-says">${shown.map(inWords).join('; ')}.</desc>
<g class="grid">${ticks.map((at) => markup`<path class="gridline" d="M${px(x(at))} ${TOP}V${bottom}"/>`)}</g><path class="zero" d="M${px(x(0))} ${TOP}V${bottom}"/>
<rect class="edge" x="${LEFT}" y="${TOP}" width="${RIGHT - LEFT}" height="${bottom - TOP}"/>
<text x="${SIGN_X}" y="12" text-anchor="middle">polarity</text><text x="${RIGHT}" y="12" text-anchor="end">delay against the map (ms)</text>
${shown.map((output, i) => row(output, TOP + ROW * (i + 0.5), x))}
<g>${ticks.map((at) => markup`<text x="${px(x(at))}" y="${bottom + 14}" text-anchor="middle">${at > 0 ? '+' : ''}${plain(at, decimals)}</text>`)}</g>
</svg>`
}

const valueIn = (output: OutputResult, quantity: string): number | null => figureIn(output, quantity)?.value ?? null

function row(output: OutputResult, atY: number, x: Scale): Markup {
  const name = cut(clean(`${output.number} ${output.label}`), LABEL_COLUMNS)
  return markup`<text x="2" y="${px(atY + 4)}">${name}</text>${signMark(output, atY)}${delayMark(output, atY, x)}
`
}

function signMark(output: OutputResult, atY: number): Markup | null {
  const sign = valueIn(output, 'polarity')
  if (sign === null) return null
  const verdict = verdictIn(output, 'polarity')
  if (verdict === 'unsure')
    return markup`<text class="letter" x="${SIGN_X}" y="${px(atY + 4)}" text-anchor="middle">?</text>`
  const stroke = `M${SIGN_X - 4} ${px(atY)}h8${sign < 0 ? '' : `M${SIGN_X} ${px(atY - 4)}v8`}`
  return verdict === 'fail'
    ? markup`<path class="badly" d="M${SIGN_X - 9} ${px(atY - 7)}h18v14h-18z"/><path class="onbad" d="${stroke}"/>`
    : markup`<path class="bar" d="${stroke}"/>`
}

function delayMark(output: OutputResult, atY: number, x: Scale): Markup | null {
  const figure = figureIn(output, 'delay')
  if (!figure || figure.value === null) return null
  const [at, u] = [1000 * figure.value, 1000 * (figure.u ?? 0)]
  const clamp = (value: number): number => Math.min(RIGHT, Math.max(LEFT, x(value)))
  const bar = markup`<path class="bar" d="M${px(clamp(at - u))} ${px(atY)}H${px(clamp(at + u))}"/>`
  const verdict = verdictIn(output, 'delay')
  if (verdict === 'unsure')
    return markup`${bar}<text class="letter" x="${px(x(at))}" y="${px(atY + 4)}" text-anchor="middle">?</text>`
  const mark =
    verdict === 'fail'
      ? markup`<path class="badly" d="M${px(x(at))} ${px(atY - 5)}l5 5l-5 5l-5 -5z"/>`
      : markup`<path class="dot" d="M${px(x(at))} ${px(atY)}h0"/>`
  return markup`${bar}${mark}`
}

function inWords(output: OutputResult): string {
  const sign = valueIn(output, 'polarity')
  const delay = valueIn(output, 'delay')
  const says = [
    sign === null
      ? ''
      : verdictIn(output, 'polarity') === 'unsure'
        ? 'polarity not settled'
        : sign < 0
          ? 'inverted'
          : 'normal',
    delay === null ? '' : `${plain(1000 * delay, 2)} ms`,
  ]
  return `output ${output.number} ${output.label}: ${says.filter(Boolean).join(', ')}`
}
