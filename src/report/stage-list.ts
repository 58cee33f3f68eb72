/** All stages of a job in one table: a sentence for each, and of one that is no pass the first thing to do. */
import { STAGES, type StageName } from '../job/job.js'
import { listed } from '../units/words.js'
import type { Finding, Verdict } from '../verdict/parts.js'
import type { OutputResult, Result } from '../verdict/result.js'
import { type Markup, markup } from './markup.js'
import { badge } from './parts.js'
import { STAGE_WORDS } from './stage-words.js'
import { table } from './table.js'

export interface StageLine {
  readonly stage: StageName
  readonly verdict: Verdict
  readonly says: string
  /** Of what is no pass; null where there is nothing to do. */
  readonly first: Finding | null
}

const RANK: Readonly<Record<Verdict, number>> = { pass: 0, unsure: 1, fail: 2 }

const firstOf = (findings: readonly Finding[]): Finding | null =>
  findings.find(({ verdict }) => verdict === 'fail') ?? findings.find(({ verdict }) => verdict === 'unsure') ?? null

/** In the order in which they are made; none where a run has nothing but its outputs. */
export function stageLinesOf({ outputs, checks, findings, stages }: Result): StageLine[] {
  if (stages.length === 0) return []
  const worst = [...outputs, ...checks, ...findings].reduce<Verdict>(
    (most, { verdict }) => (RANK[verdict] > RANK[most] ? verdict : most),
    'pass',
  )
  return [
    ...stages.map(({ stage, verdict, summary, findings: its }) => ({
      stage,
      verdict,
      says: summary,
      first: firstOf(its),
    })),
    ...(outputs.length === 0
      ? []
      : [{ stage: 'outputs' as const, verdict: worst, says: outputsSay(outputs), first: firstOf(findings) }]),
  ].sort((a, b) => STAGES.indexOf(a.stage) - STAGES.indexOf(b.stage))
}

function outputsSay(outputs: readonly OutputResult[]): string {
  const numbers = (wanted: Verdict): number[] =>
    outputs.filter(({ verdict }) => verdict === wanted).map(({ number }) => number)
  const [failed, unsure] = [numbers('fail'), numbers('unsure')]
  if (failed.length + unsure.length === 0) return `All ${outputs.length} outputs are as the map says.`
  return [
    failed.length > 0 ? `${failed.length} of ${outputs.length} fail: ${listed(failed)}.` : '',
    unsure.length > 0 ? `${unsure.length} of ${outputs.length} could not be settled: ${listed(unsure)}.` : '',
  ]
    .filter(Boolean)
    .join(' ')
}

export const stageLineId = ({ stage }: StageLine): string => (stage === 'outputs' ? 'outputs' : `stage-${stage}`)

/** @returns null where the job had no stages */
export function stageList(lines: readonly StageLine[]): Markup | null {
  if (lines.length === 0) return null
  return markup`<section id="stage-list">
<h2>Stages of the job</h2>
${table({
  kind: 'overall',
  says: 'Stages of the job',
  caption: 'Each stage in a sentence, and what to do first about it.',
  columns: [
    {
      heading: 'Stage',
      cell: (line) => markup`<a href="#${stageLineId(line)}">${STAGE_WORDS[line.stage]}</a>`,
      widthPct: 13,
    },
    { heading: 'Verdict', cell: ({ verdict }) => badge(verdict), widthPct: 11 },
    {
      heading: 'What was found',
      cell: ({ says, first }) =>
        markup`${says}${first ? markup`<small>${saysIt(says, first) ? null : markup`${first.title}.&#160; `}<b>Next:</b> ${first.next}</small>` : null}`,
      widthPct: 76,
    },
  ],
  rows: lines,
})}
</section>`
}

/** Whether the sentence of a stage is its first finding already. */
const saysIt = (says: string, { title }: Finding): boolean => says.includes(title)
