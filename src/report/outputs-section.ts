/** The outputs in the written report: one table of all, charts of each, and every check of each. */
import { inDbv, inHz } from '../units/words.js'
import type { Check, OutputResult, Result } from '../verdict/result.js'
import { NO_VALUE, NOT_MEASURED, quantityInWords, uncertaintyInWords, valueInWords } from './format.js'
import { type Markup, markup, type Shown } from './markup.js'
import { letteredLines, noiseAxis, noiseChart } from './noise-chart.js'
import { checkIn, deviationDbDigits, figureIn, verdictIn } from './output-facts.js'
import { badge, cellOf, cellWithUnit, markOf, measuredOf } from './parts.js'
import { responseAxis, responseChart } from './response-chart.js'
import { type TableColumn, table } from './table.js'

export const outputId = (number: number): string => `output-${number}`
const checksId = (number: number): string => `checks-${number}`

/** A column for a figure and the check that judges it, its unit in the heading. */
function figureColumn(name: string, unit: string, quantity: string, check: string): TableColumn<OutputResult> {
  return {
    heading: markup`${name}${unit === '' ? null : markup` <span class="unit">${unit}</span>`}`,
    isNumber: true,
    cell: (output) =>
      cellOf(figureIn(output, quantity), verdictIn(output, check), checkIn(output, check)?.measured ?? NOT_MEASURED),
  }
}

const OVERVIEW: readonly TableColumn<OutputResult>[] = [
  { heading: 'Output', cell: ({ number, label }) => markup`<a href="#${outputId(number)}">${number} ${label}</a>` },
  { heading: 'Verdict', cell: ({ verdict }) => badge(verdict) },
  { heading: 'Level', isNumber: true, cell: (output) => cellWithUnit(figureIn(output, 'level'), 'pass') },
  {
    heading: markup`Off the map <span class="unit">dB</span>`,
    isNumber: true,
    cell: (output) => markup`${markOf(verdictIn(output, 'level'))}${deviationDbDigits(output) ?? NO_VALUE}`,
  },
  {
    heading: 'Polarity',
    cell: (output) => cellOf(settledPolarity(output), verdictIn(output, 'polarity'), polarityWords(output)),
  },
  {
    heading: 'Signal of',
    cell: (output) => markup`${markOf(verdictIn(output, 'identity'))}${output.identifiedAs ?? 'none'}`,
  },
  figureColumn('Response', 'dB', 'flatness', 'response'),
  figureColumn('Delay', 'ms', 'delay', 'delay'),
  figureColumn('THD', '%', 'thd', 'thd'),
  figureColumn('Noise', 'dBV(A)', 'noise A', 'noise A'),
  figureColumn('Crosstalk', 'dB', 'crosstalk', 'crosstalk'),
]

/** A sign that could not be settled is not shown as one. */
const settledPolarity = (output: OutputResult) =>
  verdictIn(output, 'polarity') === 'unsure' ? null : figureIn(output, 'polarity')

const polarityWords = (output: OutputResult): string => checkIn(output, 'polarity')?.measured ?? NOT_MEASURED

export function outputsSection({ outputs }: Result): Markup {
  return markup`<section id="outputs">
<h2>Outputs</h2>
${table({
  kind: 'overview',
  says: 'Table of all outputs',
  caption:
    'All outputs. Under a value: its uncertainty. ! is outside its limit, ? could not be settled, ≤ is at most that much. Other checks stand with each output.',
  columns: OVERVIEW,
  rows: outputs,
})}
</section>`
}

export function chartsSection({ outputs }: Result): Markup {
  const axes = { response: responseAxis(outputs), noise: noiseAxis(outputs) }
  return markup`<section id="charts">
<h2>Response and noise</h2>
<p class="legend">Left: response, all on one scale: ${swatch('curve', 'measured')} ${swatch('room', 'allowed by the mask')} ${swatch('outside', 'outside the mask')} ${swatch('reference', 'reference')} Right: noise with no signal: ${swatch('band', 'third-octave bands')} ${swatch('needle', 'single line')}</p>
${outputs.map(
  (output) => markup`<article class="charts" id="${outputId(output.number)}">
<h3>${output.number} ${output.label} ${badge(output.verdict)} <a class="more" href="#${checksId(output.number)}">checks of output ${output.number}</a></h3>
<div class="pair">
${responseFigure(output, axes.response)}
${noiseFigure(output, axes.noise)}
</div>
</article>
`,
)}
</section>`
}

const SWATCHES = {
  curve: markup`<path class="curve" d="M1 7H25"/>`,
  room: markup`<rect class="room" x="1" y="1" width="24" height="12"/><path class="limit" d="M1 1H25M1 13H25"/>`,
  outside: markup`<path class="outside" d="M1 7H25"/>`,
  reference: markup`<path class="reference" d="M13 2l5 5l-5 5l-5 -5z"/>`,
  band: markup`<path class="band" d="M1 13V6H13V9H25V13z"/><path class="bandtop" d="M1 6H13M13 9H25"/>`,
  needle: markup`<path class="needle" d="M13 13V2"/>`,
}

const swatch = (of: keyof typeof SWATCHES, says: string): Markup =>
  markup`<span class="swatch"><svg viewBox="0 0 26 14" aria-hidden="true">${SWATCHES[of]}</svg> ${says}.</span>`

function responseFigure(output: OutputResult, axis: Parameters<typeof responseChart>[2]): Markup {
  const { response } = output
  const check = checkIn(output, 'response')
  if (!response) return missingFigure('Response', check ? check.why || measuredOf(check) : '')
  const result = check
    ? markup`worst ${check.measured}, allowed ${check.expected}. ${check.verdict === 'pass' ? null : markup`<strong>${badge(check.verdict)} ${check.why}</strong>`}`
    : null
  return markup`<figure>${responseChart(output, response, axis)}
<figcaption>Response re ${inHz(response.referenceHz)}: ${result ?? 'not judged.'}</figcaption></figure>`
}

function noiseFigure(output: OutputResult, axis: Parameters<typeof noiseChart>[2]): Markup {
  const { noise } = output
  if (!noise) return missingFigure('Noise', '')
  const levels = ['noise', 'noise A'].flatMap((quantity) => {
    const figure = figureIn(output, quantity)
    return figure ? [valueInWords(figure)] : []
  })
  const judged = ['noise', 'noise A', 'hum'].flatMap((name) => {
    const check = checkIn(output, name)
    return check && check.verdict !== 'pass'
      ? [markup`<strong>${badge(check.verdict)} ${quantityInWords(name)}.</strong> `]
      : []
  })
  const lines = letteredLines(noise).map(
    ({ letter, line }) => markup` <b>${letter}</b> ${inHz(line.freqHz)}: ${lineWords(line)}.`,
  )
  return markup`<figure>${noiseChart(output, noise, axis)}
<figcaption>Noise${levels.length > 0 ? `: ${levels.join(', ')}` : ' with no signal'}. ${judged}${lines.length > 0 ? lines : 'No line stands out.'}</figcaption></figure>`
}

/** What a line says may hold its level already. */
const lineWords = ({ levelDbv, says }: { levelDbv: number; says: string }): string =>
  says.includes('dBV') ? says : `${says}, ${inDbv(levelDbv)}`

const missingFigure = (name: string, why: string): Markup =>
  markup`<figure class="missing"><p>${name}: ${NOT_MEASURED}.</p>${why === '' ? null : markup`<figcaption>${why}</figcaption>`}</figure>`

const CHECKS: readonly TableColumn<Check>[] = [
  { heading: 'Check', cell: ({ name }) => quantityInWords(name), widthPct: 18 },
  { heading: 'Verdict', cell: ({ verdict }) => badge(verdict), widthPct: 9 },
  { heading: 'Expected', cell: ({ expected }) => expected, widthPct: 26 },
  { heading: 'Measured', cell: (check) => measuredOf(check), widthPct: 19 },
  {
    heading: 'Uncertainty',
    cell: ({ figure }) => (figure ? uncertaintyInWords(figure) : NO_VALUE),
    widthPct: 11,
  },
  { heading: 'Why', cell: ({ why }) => why, widthPct: 17 },
]

export const checkTable = (caption: Shown, says: string, checks: readonly Check[]): Markup =>
  table({ kind: 'checks', says, caption, columns: CHECKS, rows: checks })

export function checksSection({ outputs }: Result): Markup {
  return markup`<section id="checks">
<h2>Checks of each output</h2>
${outputs.map((output) => {
  const { number, label, patch, inputNumber, checks } = output
  const name = `${number} ${label}`
  return markup`<article class="checked" id="${checksId(number)}">
<h3>${name} ${badge(output.verdict)} <a class="more" href="#${outputId(number)}">charts of output ${number}</a></h3>
${checkTable(markup`Taken in ${patch} on input ${inputNumber}.`, `Checks of output ${name}`, checks)}
</article>
`
})}
</section>`
}
