/**
 * The tuner's page: what to type into the processor, output by output, and what to know before.
 *
 * An output that has to be repaired first gets no number: what was read of a fault would tune the fault in.
 */
import { inHz, listed, plain, signed } from '../units/words.js'
import type { OutputResult, Result } from '../verdict/result.js'
import type { Correction } from '../verdict/stage-result.js'
import { correctionsPart } from './corrections-part.js'
import { allFindings } from './findings-part.js'
import { vehicleFacts } from './first-page.js'
import { NO_VALUE, valueInWords } from './format.js'
import { type Markup, markup, type Shown } from './markup.js'
import { figureIn, verdictIn } from './output-facts.js'
import { badge, findingBadge } from './parts.js'
import { repairsOf } from './repair-first.js'
import { STAGE_WORDS } from './stage-words.js'
import { stageTable } from './stages-section.js'
import { sumsSection } from './sums-section.js'
import { type TableColumn, table } from './table.js'
import { sumAfter, type Tuning, tuningsOf } from './tuning.js'

export function tunerBody(result: Result): Markup {
  const { outputs, stages, verdict, summary, sums } = result
  const open = allFindings(result).filter((finding) => finding.verdict !== 'pass')
  const corrections = correctionsFor(result)
  const tunings = tuningsOf(result, corrections)
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
${outputs.length === 0 ? null : outputsPart(tunings)}
${sectionsPart(outputs, corrections, tunings)}
${sumsSection({ ...result, sums: sums.map((sum) => sumAfter(sum, tunings)) }, 'Left to set once the trims and delays above are in')}
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

function outputsPart(tunings: readonly Tuning[]): Markup {
  const columns: readonly TableColumn<Tuning>[] = [
    {
      heading: 'Output',
      cell: ({ output: { number, label }, repair }) =>
        markup`${number} ${label}${repair === null ? null : markup`<small><b>Repair first:</b> ${repair}. Then measure again.</small>`}`,
    },
    { heading: 'Level', isNumber: true, cell: ({ output }) => words(output, 'level') },
    { heading: 'Trim', isNumber: true, cell: trim },
    { heading: 'Polarity', cell: ({ output }) => polarity(output) },
    { heading: 'Add delay', isNumber: true, cell: addDelay },
    { heading: 'Band (−3 dB)', cell: ({ output }) => band(output) },
    { heading: 'Clean to', isNumber: true, cell: ({ output }) => words(output, 'clean output') },
  ]
  const isOnePatch = new Set(tunings.map(({ output }) => output.patch)).size < 2
  const hasSections = tunings.some(({ sectionsDb, repair }) => repair === null && sectionsDb !== 0)
  return markup`<section id="outputs">
<h2>Outputs</h2>
${table({
  kind: 'tuned',
  says: 'Numbers for each output',
  caption: [
    `Level: rms voltage of a full-scale sine at the reference frequency.`,
    `Trim brings it to the map${hasSections ? ', once the sections below are typed in: what they change there is taken into account' : ''}.`,
    `Delay brings an output to the latest healthy one${isOnePatch ? '' : ' of its patch'}.`,
    'Clean to: highest rms voltage that was played and was free of clipping; "at least" where that was the loudest tone of the track, a little under full scale, so it may read lower than the level.',
  ].join(' '),
  columns,
  rows: tunings,
})}
</section>`
}

function words(output: OutputResult, quantity: string): string {
  const figure = figureIn(output, quantity)
  return figure && figure.value !== null ? valueInWords(figure) : NO_VALUE
}

/** Less than this nobody sets. */
const TRIM_DB_MIN = 0.05

function trim({ trimDb, sectionsDb }: Tuning): Shown {
  if (trimDb === null) return NO_VALUE
  const says = `${signed(Math.abs(trimDb) < TRIM_DB_MIN ? 0 : trimDb, 1)} dB`
  return Math.abs(sectionsDb) < TRIM_DB_MIN ? says : markup`${says}<small>with its sections</small>`
}

function polarity(output: OutputResult): Shown {
  const sign = figureIn(output, 'polarity')?.value ?? null
  const verdict = verdictIn(output, 'polarity')
  if (sign === null || verdict === 'unsure') return 'not settled'
  const name = sign < 0 ? 'inverted' : 'normal'
  return verdict === 'fail' ? markup`<b>${name}: turn it</b>` : name
}

const addDelay = ({ delayS }: Tuning): string => (delayS === null ? NO_VALUE : `${plain(1000 * delayS, 2)} ms`)

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
function correctionsFor(result: Result): Correction[] {
  const { outputs, stages } = result
  const staged = stages.flatMap((stage) => stage.corrections)
  const covered = new Set(staged.flatMap((one) => (one.outputs.length === 1 ? one.outputs : [])))
  const repairs = repairsOf(result)
  return [...staged, ...outputs.filter(({ number }) => !covered.has(number)).flatMap(correctionOf)].filter(
    (one) => !one.outputs.some((number) => repairs.has(number)),
  )
}

function sectionsPart(
  outputs: readonly OutputResult[],
  corrections: readonly Correction[],
  tunings: readonly Tuning[],
): Markup {
  const repaired = tunings.filter(({ repair }) => repair !== null).map(({ output }) => output.number)
  const unexplained = outputs.filter(
    ({ number, readings }) => readings.equalisation?.isExplained === false && !repaired.includes(number),
  )
  const none = repaired.length === 0 ? 'No section is needed' : 'No section is given'
  return markup`<section id="sections">
<h2>Sections to type in</h2>
${correctionsPart(corrections) ?? markup`<p>${none}: no equalisation was found that a few sections undo.</p>`}
${unexplained.length === 0 ? null : markup`<p><b>Tune by the curve:</b> no few sections explain ${unexplained.map(({ number, label }) => `${number} ${label}`).join(', ')}.</p>`}
${repaired.length === 0 ? null : markup`<p><b>Repair first, then measure again:</b> output${repaired.length === 1 ? '' : 's'} ${listed(repaired)}. No section is given for ${repaired.length === 1 ? 'it' : 'them'}, nor for sums that hold ${repaired.length === 1 ? 'it' : 'them'}.</p>`}
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
