/**
 * The tuner's page: what to type into the processor, output by output, and what to know before.
 *
 * Trim and delay bring an output to the map; delays are relative to the latest output of the same patch, because across
 * patches none is known.
 */
import { inHz, plain, signed } from '../units/words.js'
import type { OutputResult, Result } from '../verdict/result.js'
import type { Correction } from '../verdict/stage-result.js'
import { correctionsPart } from './corrections-part.js'
import { allFindings } from './findings-part.js'
import { vehicleFacts } from './first-page.js'
import { NO_VALUE, valueInWords } from './format.js'
import { type Markup, markup, type Shown } from './markup.js'
import { figureIn, verdictIn } from './output-facts.js'
import { badge, findingBadge } from './parts.js'
import { STAGE_WORDS } from './stage-words.js'
import { stageTable } from './stages-section.js'
import { sumsSection } from './sums-section.js'
import { type TableColumn, table } from './table.js'

export function tunerBody(result: Result): Markup {
  const { outputs, stages, verdict, summary } = result
  const open = allFindings(result).filter((finding) => finding.verdict !== 'pass')
  return markup`<header class="head ${verdict}">
<p class="kind">Tuner's page</p>
<h1>${badge(verdict)} ${summary}</h1>
${vehicleFacts(result)}
</header>
<main>
${
  open.length === 0
    ? null
    : markup`<section id="before">
<h2>Before tuning</h2>
<ul class="plainly">${open.map((finding) => markup`<li>${findingBadge(finding.verdict)} ${finding.title}</li>`)}</ul>
</section>`
}
${outputs.length === 0 ? null : outputsPart(outputs)}
${sectionsPart(result)}
${sumsSection(result)}
${stages
  .filter(({ stage, tables }) => stage === 'gains' && tables.length > 0)
  .map(
    (stage) => markup`<section id="gains">
<h2>${STAGE_WORDS.gains}</h2>
<p>${badge(stage.verdict)} ${stage.summary}</p>
${stage.tables.map((one, i) => stageTable(one, `Gains, table ${i + 1}`))}
</section>`,
  )}
</main>
<footer><p>Made by ${result.program}. Uncertainties and methods stand in the shop's report.</p></footer>`
}

function outputsPart(outputs: readonly OutputResult[]): Markup {
  const latestS = new Map<string, number>()
  for (const output of outputs) {
    const delayS = valueIn(output, 'delay')
    if (delayS !== null) latestS.set(output.patch, Math.max(delayS, latestS.get(output.patch) ?? delayS))
  }
  const columns: readonly TableColumn<OutputResult>[] = [
    { heading: 'Output', cell: ({ number, label }) => `${number} ${label}` },
    { heading: 'Level', isNumber: true, cell: (output) => words(output, 'level') },
    { heading: 'Trim', isNumber: true, cell: trim },
    { heading: 'Polarity', cell: polarity },
    { heading: 'Add delay', isNumber: true, cell: (output) => addDelay(output, latestS) },
    { heading: 'Band (−3 dB)', cell: band },
    { heading: 'Clean to', isNumber: true, cell: (output) => words(output, 'clean output') },
  ]
  const isOnePatch = new Set(outputs.map(({ patch }) => patch)).size < 2
  return markup`<section id="outputs">
<h2>Outputs</h2>
${table({
  kind: 'tuned',
  says: 'Numbers for each output',
  caption: `Trim brings the level to the map. Delay brings an output to the latest one${isOnePatch ? '' : ' of its patch'}. Clean to: highest rms voltage without clipping.`,
  columns,
  rows: outputs,
})}
</section>`
}

const valueIn = (output: OutputResult, quantity: string): number | null => figureIn(output, quantity)?.value ?? null

function words(output: OutputResult, quantity: string): string {
  const figure = figureIn(output, quantity)
  return figure && figure.value !== null ? valueInWords(figure) : NO_VALUE
}

/** Less than this nobody sets. */
const TRIM_DB_MIN = 0.05

function trim(output: OutputResult): string {
  const offDb = valueIn(output, 'level deviation')
  if (offDb === null) return NO_VALUE
  return `${signed(Math.abs(offDb) < TRIM_DB_MIN ? 0 : -offDb, 1)} dB`
}

function polarity(output: OutputResult): Shown {
  const sign = valueIn(output, 'polarity')
  const verdict = verdictIn(output, 'polarity')
  if (sign === null || verdict === 'unsure') return 'not settled'
  const name = sign < 0 ? 'inverted' : 'normal'
  return verdict === 'fail' ? markup`<b>${name}: turn it</b>` : name
}

function addDelay(output: OutputResult, latestS: ReadonlyMap<string, number>): string {
  const delayS = valueIn(output, 'delay')
  if (delayS === null) return NO_VALUE
  return `${plain(1000 * ((latestS.get(output.patch) ?? delayS) - delayS), 2)} ms`
}

function band({ readings: { lowEdge, highEdge } }: OutputResult): string {
  const slope = (edge: NonNullable<typeof lowEdge>): string =>
    edge.slopeDbPerOctave === null ? '' : `, ${plain(edge.slopeDbPerOctave, 0)} dB/oct`
  if (!lowEdge && !highEdge) return 'full'
  return [
    lowEdge && `from ${inHz(lowEdge.freqHz)}${slope(lowEdge)}`,
    highEdge && `to ${inHz(highEdge.freqHz)}${slope(highEdge)}`,
  ]
    .filter(Boolean)
    .join('; ')
}

/** Corrections of the stages, and of outputs that these leave out, the sections that undo what the sweep found. */
function sectionsPart({ outputs, stages }: Result): Markup {
  const staged = stages.flatMap((stage) => stage.corrections)
  const covered = new Set(staged.flatMap((one) => (one.outputs.length === 1 ? one.outputs : [])))
  const found = outputs.filter(({ number }) => !covered.has(number)).flatMap(correctionOf)
  const unexplained = outputs.filter(({ readings }) => readings.equalisation?.isExplained === false)
  const corrections = [...staged, ...found]
  return markup`<section id="sections">
<h2>Sections to type in</h2>
${correctionsPart(corrections) ?? markup`<p>No section is needed: no equalisation was found that a few sections undo.</p>`}
${unexplained.length === 0 ? null : markup`<p><b>Tune by the curve:</b> no few sections explain ${unexplained.map(({ number, label }) => `${number} ${label}`).join(', ')}.</p>`}
</section>`
}

function correctionOf({ number, label, readings: { equalisation } }: OutputResult): Correction[] {
  if (!equalisation || equalisation.sections.length === 0) return []
  return [
    {
      of: `${number} ${label}`,
      outputs: [number],
      sections: equalisation.sections.map(({ kind, freqHz, q, undoGainDb }) => ({
        kind,
        freqHz,
        gainDb: undoGainDb,
        q,
      })),
      leavesDb: equalisation.leftWorstDb,
    },
  ]
}
