/** The outputs in the written report: one table of all, charts of each, and every check of each. */
import { inDbv, inHz, listed } from '../units/words.js'
import type { Check } from '../verdict/parts.js'
import type { OutputResult, Result } from '../verdict/result.js'
import { checkTable } from './check-table.js'
import { equaliserPart } from './equaliser-part.js'
import { outputId } from './findings-part.js'
import { NO_VALUE, NOT_MEASURED, quantityInWords, VERDICT_WORDS, valueInWords } from './format.js'
import { swatch } from './legend.js'
import { type Markup, markup } from './markup.js'
import { letteredLines, noiseAxis, noiseChart } from './noise-chart.js'
import { checkIn, deviationDbDigits, figureIn, verdictIn } from './output-facts.js'
import { outputParts } from './output-parts.js'
import { badge, cellOf, cellWithUnit, fold, markOf, measuredOf } from './parts.js'
import { readingAxes } from './reading-charts.js'
import { responseAxis, responseChart } from './response-chart.js'
import { stripChart } from './strip-chart.js'
import { type TableColumn, table } from './table.js'

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
  {
    heading: 'Verdict',
    cell: (output) =>
      markup`${badge(output.verdict)}${hiddenChecks(output).length === 0 ? null : markup`&#160;<b>*</b>`}`,
  },
  { heading: 'Level', isNumber: true, cell: (output) => cellWithUnit(figureIn(output, 'level'), 'pass') },
  {
    heading: markup`Off map <span class="unit">dB</span>`,
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
  figureColumn('Clean to', 'dBFS', 'clean level', 'clean level'),
  figureColumn('Noise', 'dBV(A)', 'noise A', 'noise A'),
  figureColumn('Crosstalk', 'dB', 'crosstalk', 'crosstalk'),
]

/** Checks that a column of the table marks. */
const IN_TABLE: ReadonlySet<string> = new Set([
  'level',
  'polarity',
  'identity',
  'response',
  'delay',
  'thd',
  'clean level',
  'noise A',
  'crosstalk',
])

/** What keeps an output from a pass and has no column of its own. */
const hiddenChecks = ({ checks }: OutputResult): Check[] =>
  checks.filter(({ name, verdict }) => verdict !== 'pass' && !IN_TABLE.has(name))

/** A sign that could not be settled is not shown as one. */
const settledPolarity = (output: OutputResult) =>
  verdictIn(output, 'polarity') === 'unsure' ? null : figureIn(output, 'polarity')

const polarityWords = (output: OutputResult): string => checkIn(output, 'polarity')?.measured ?? NOT_MEASURED

/** @param isApart on a page of its own where it is printed */
export function outputsSection({ outputs }: Result, isApart = false): Markup {
  return markup`<section id="outputs"${isApart ? markup` class="onpage"` : null}>
<h2>Outputs</h2>
${table({
  kind: 'overview',
  says: 'Table of all outputs',
  caption: `All outputs. Under a value: its uncertainty. ! is outside its limit, ? could not be settled, ≤ is at most that much, ≥ at least. ${hiddenInWords(outputs)}`,
  columns: OVERVIEW,
  rows: outputs,
})}
</section>`
}

/** What the table has no column for, by check; empty where all of it passes. */
function hiddenInWords(outputs: readonly OutputResult[]): string {
  const numbers = new Map<string, number[]>()
  for (const output of outputs)
    for (const { name, verdict } of hiddenChecks(output)) {
      const key = `${quantityInWords(name)} ${VERDICT_WORDS[verdict]}`
      numbers.set(key, [...(numbers.get(key) ?? []), output.number])
    }
  if (numbers.size === 0) return ''
  return `* in what has no column: ${[...numbers].map(([key, of]) => `${key} (${listed(of)})`).join('; ')}.`
}

export function chartsSection({ outputs, takes }: Result): Markup {
  const axes = { response: responseAxis(outputs), noise: noiseAxis(outputs), readings: readingAxes(outputs) }
  return markup`<section id="charts">
<h2>Each output</h2>
${stripFigure(outputs)}
<p class="legend">Left: response, all on one scale: ${swatch('curve', 'measured')} ${swatch('room', 'allowed by the mask')} ${swatch('outside', 'outside the mask')} ${swatch('reference', 'reference')} Right: noise with no signal: ${swatch('band', 'third-octave bands')} ${swatch('needle', 'single line')}</p>
<p class="legend screen">Each ▸ opens a part of the report; what is closed is not printed. In the charts there: ${swatch('dot', 'measured')} ${swatch('atmost', 'at most that much')} ${swatch('sure', 'uncertainty')}</p>
${outputs.map(
  (output) => markup`<article class="charts" id="${outputId(output.number)}">
<h3>${output.number} ${output.label} ${badge(output.verdict)} <a class="more" href="#${checksId(output.number)}">checks of output ${output.number}</a></h3>
<div class="pair">
${responseFigure(output, axes.response)}
${noiseFigure(output, axes.noise)}
</div>
${equaliserPart(output.readings)}
${outputParts(output, axes.readings, takes)}
</article>
`,
)}
</section>`
}

function stripFigure(outputs: readonly OutputResult[]): Markup | null {
  const strip = stripChart(outputs)
  if (!strip) return null
  return markup`<figure class="strip">${strip}
<figcaption>Polarity and delay. + normal, − inverted; filled: not as the map says; ?: not settled. The bar is the uncertainty. Delay is compared between outputs of one patch.</figcaption></figure>`
}

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

export function checksSection({ outputs }: Result): Markup {
  return markup`<section id="checks">
<h2>Checks of each output</h2>
${outputs.map((output) => {
  const { number, label, patch, inputNumber, checks } = output
  const name = `${number} ${label}`
  return markup`<article class="checked" id="${checksId(number)}">
<h3>${name} ${badge(output.verdict)} <a class="more" href="#${outputId(number)}">charts of output ${number}</a></h3>
${fold({
  title: 'Checks',
  says: countsInWords(checks),
  isOpen: output.verdict !== 'pass',
  inside: checkTable(markup`Taken in ${patch} on input ${inputNumber}.`, `Checks of output ${name}`, checks),
})}
</article>
`
})}
</section>`
}

/** "16: 12 PASS, 3 FAIL, 1 UNSURE". */
function countsInWords(checks: readonly Check[]): string {
  const counts = (['pass', 'fail', 'unsure'] as const).flatMap((verdict) => {
    const count = checks.filter((check) => check.verdict === verdict).length
    return count === 0 ? [] : [`${count} ${VERDICT_WORDS[verdict]}`]
  })
  return `${checks.length}: ${counts.join(', ')}`
}
