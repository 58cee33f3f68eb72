/**
 * The stages of a job in the written report: whatever a stage left, drawn from its generic parts, so that a new stage needs
 * nothing here.
 */

import { inHz, plain } from '../units/words.js'
import type { StagePlot, StageResult, StageTable, StageTake } from '../verdict/stage-result.js'
import { checkTable } from './check-table.js'
import { correctionsPart } from './corrections-part.js'
import { DASHES } from './curve-chart.js'
import { budgetTable } from './figure-table.js'
import { findingsList } from './findings-part.js'
import { timeInWords } from './format.js'
import { type Markup, markup } from './markup.js'
import { badge, fold } from './parts.js'
import { stagePlot } from './stage-plot.js'
import { STAGE_WORDS } from './stage-words.js'
import { table } from './table.js'

export const stageId = ({ stage }: StageResult): string => `stage-${stage}`

/** @returns null where the job had none */
export function stagesSection(stages: readonly StageResult[]): Markup | null {
  if (stages.length === 0) return null
  return markup`<section id="stages">
<h2>Stages</h2>
${stages.map(stagePart)}
</section>`
}

function stagePart(stage: StageResult): Markup {
  const { verdict, summary, startedAt, endedAt, findings, tables, plots, checks, figures, notes } = stage
  const name = STAGE_WORDS[stage.stage]
  return markup`<article class="stage" id="${stageId(stage)}">
<h3>${name} ${badge(verdict)}</h3>
<p><b>${summary}</b> <span class="gist">${timeInWords(startedAt)} to ${timeInWords(endedAt)}</span></p>
${notes.length === 0 ? null : markup`<ul class="warnings">${notes.map((says) => markup`<li><b>Note:</b> ${says}</li>`)}</ul>`}
${findings.length === 0 ? null : findingsList(findings, 4)}
${tables.map((one, i) => stageTable(one, `${name}, table ${i + 1}`))}
${plots.length === 0 ? null : markup`<div class="pair">${plots.map((one, i) => plotFigure(one, `${stageId(stage)}-plot-${i + 1}`))}</div>`}
${correctionsPart(stage.corrections)}
${checks.length === 0 ? null : fold({ title: 'Checks', says: `${checks.length} of ${name.toLowerCase()}`, verdict, isOpen: verdict !== 'pass', inside: checkTable(`Checks of ${name.toLowerCase()}.`, `Checks of ${name.toLowerCase()}`, checks) })}
${
  figures.length === 0
    ? null
    : fold({
        title: 'Figures',
        says: `${figures.length}, each with what its uncertainty is made of`,
        inside: budgetTable(
          `Figures of ${name.toLowerCase()}`,
          figures.map((figure) => ({ name: figure.quantity, figure })),
        ),
      })
}

</article>
`
}

/** A column of numbers alone stands to the right. */
const NUMBER = /^[≤≥<>±]? ?[+\u2212-]?\d[\d.,]*(?: ?[^\d\s]{1,4})?$|^[–—-]?$/

export function stageTable({ caption, head, rows }: StageTable, says: string): Markup {
  const isNumber = (at: number): boolean => rows.length > 0 && rows.every(({ cells }) => NUMBER.test(cells[at] ?? ''))
  const isJudged = rows.some(({ verdict }) => verdict !== null)
  type Row = StageTable['rows'][number]
  const columns = head.map((heading, at) => ({
    heading,
    isNumber: at > 0 && isNumber(at),
    cell: ({ cells }: Row) => cells[at] ?? '',
  }))
  const verdictColumn = { heading: 'Verdict', cell: ({ verdict }: Row) => (verdict === null ? '' : badge(verdict)) }
  return table({
    kind: 'staged',
    says,
    caption,
    columns: isJudged ? [...columns, verdictColumn] : columns,
    rows,
  })
}

function plotFigure(plot: StagePlot, id: string): Markup {
  const isNamed = plot.series.length > 1
  return markup`<figure>${stagePlot(plot, id)}
<figcaption>${plot.caption} ${isNamed ? plot.series.map(({ name }, i) => markup`<span class="swatch"><svg viewBox="0 0 26 14" aria-hidden="true"><path class="curve ${DASHES[i % DASHES.length]}" d="M1 7H25"/></svg> ${name}</span> `) : null}</figcaption></figure>
`
}

/** Captures that stages made; null where there is none. */
export function stageTakes(stages: readonly StageResult[]): Markup | null {
  const rows = stages.flatMap((stage) => stage.takes.map((take) => ({ of: STAGE_WORDS[stage.stage], take })))
  if (rows.length === 0) return null
  type Row = { of: string; take: StageTake }
  return table<Row>({
    kind: 'takes',
    says: 'Captures of the stages',
    caption: 'Captures that the stages made.',
    columns: [
      { heading: 'Stage', widthPct: 20, cell: ({ of, take }) => markup`${of}<small>${take.what}</small>` },
      {
        heading: 'File and SHA-256',
        widthPct: 46,
        cell: ({ take }) => markup`${take.source}<small class="digest">${take.sha256}</small>`,
      },
      {
        heading: 'Recorded',
        widthPct: 18,
        cell: ({ take }) =>
          markup`${plain(take.durationS, 1)} s<small>${inHz(take.sampleRateHz)}, ${take.inputCount} inputs</small>`,
      },
      {
        heading: 'Faults',
        widthPct: 16,
        cell: ({ take }) => (take.faults.length === 0 ? 'none' : take.faults.join(' ')),
      },
    ],
    rows,
  })
}
