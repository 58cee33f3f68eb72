/** Findings as a list: what is wrong, why we think so, what to do next; the most important first. */

import { STAGES } from '../job/job.js'
import type { Finding, Verdict } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { type Markup, markup } from './markup.js'
import { findingBadge } from './parts.js'
import { type StageLine, stageLinesOf } from './stage-list.js'
import type { PageSize } from './style.js'

export const outputId = (number: number): string => `output-${number}`

const RANK: Readonly<Record<Verdict, number>> = { fail: 0, unsure: 1, pass: 2 }

/** What fails first, in the order in which a technician works: nothing else counts while the pins are wrong. */
export function allFindings({ findings, stages }: Result): Finding[] {
  const staged = [
    ...stages.map(({ stage, findings: its }) => ({ stage, its })),
    { stage: 'outputs' as const, its: findings },
  ]
  return staged
    .sort((a, b) => STAGES.indexOf(a.stage) - STAGES.indexOf(b.stage))
    .flatMap(({ its }) => its)
    .sort((a, b) => RANK[a.verdict] - RANK[b.verdict])
}

/** @param level of the headings */
export const findingsList = (findings: readonly Finding[], level: 3 | 4): Markup =>
  markup`<ol class="findings">${findings.map((finding) => findingItem(finding, level))}</ol>`

function findingItem({ verdict, outputs, title, because, next }: Finding, level: 3 | 4): Markup {
  const places = outputs.map((number) => markup`<a href="#${outputId(number)}">output ${number}</a> `)
  const heading = markup`${findingBadge(verdict)} ${title}`
  return markup`
<li class="${verdict === 'pass' ? 'note' : verdict}">
${level === 3 ? markup`<h3>${heading}</h3>` : markup`<h4>${heading}</h4>`}
<p class="because">${because}</p>
<p class="next"><b>Next:</b> ${next}</p>
${places.length === 0 ? null : markup`<p class="places">See ${places}</p>`}
</li>`
}

/** Titles alone, for findings that stand in full elsewhere. */
export const titlesList = (findings: readonly Finding[]): Markup =>
  markup`<ul class="plainly">${findings.map(({ verdict, title }) => markup`<li>${findingBadge(verdict)} ${title}</li>`)}</ul>`

/** Heights on the first page, in mm, of what stands there with a wide letter: a little more than the style sheet's. */
const PAGE_MM: Readonly<Record<PageSize, number>> = { a4: 266, letter: 250 }
const [HEAD_MM, FACT_MM, SUMMARY_MM, SIMULATED_MM] = [36, 3.6, 6, 10]
const [STAGES_MM, STAGE_MM, STAGE_LINE_MM, STAGE_CHARS] = [14, 4.3, 2.9, 130]
const FOOTNOTE_MM = 4
const [ROW_MM, TABLE_HEAD_MM, LONG_ROW_MM] = [6.3, 28, 0.6]
const [GAP_MM, TITLE_MM, BECAUSE_MM, NEXT_MM, REST_MM, SHORT_MM] = [3.2, 4, 3.3, 3.7, 7, 3.9]
const [SUMMARY_CHARS, FACT_CHARS, TITLE_CHARS, BECAUSE_CHARS, NEXT_CHARS, LABEL_CHARS] = [60, 22, 84, 118, 100, 18]
/** Also said where the table alone fills the page: the most important one is what a reader came for. */
const SHOWN_MIN = 3

const linesOf = (text: string, charCount: number): number => Math.max(1, Math.ceil(text.length / charCount))

const heightMm = ({ title, because, next }: Finding): number =>
  GAP_MM +
  TITLE_MM * linesOf(title, TITLE_CHARS) +
  BECAUSE_MM * linesOf(because, BECAUSE_CHARS) +
  NEXT_MM * linesOf(`Next: ${next}`, NEXT_CHARS)

const shortMm = ({ title }: Finding): number => SHORT_MM * linesOf(title, TITLE_CHARS)

/** What the tables of stages and outputs leave to findings on the first page. */
function roomMm(result: Result, pageSize: PageSize, hasTable: boolean): number {
  const { outputs, job, isSimulated, summary } = result
  const facts = [job.vehicle, job.vin, job.plate, job.customer, job.name, job.technician, job.limitsProfile]
  const longFacts = facts.reduce((sum, fact) => sum + linesOf(fact ?? '', FACT_CHARS) - 1, 0)
  const longRows = outputs.reduce((sum, { label }) => sum + linesOf(label, LABEL_CHARS) - 1, 0)
  return (
    PAGE_MM[pageSize] -
    (HEAD_MM + SUMMARY_MM * (linesOf(summary, SUMMARY_CHARS) - 1) + FACT_MM * longFacts) -
    stagesMm(result) -
    (isSimulated ? SIMULATED_MM : 0) -
    (outputs.length === 0 || !hasTable
      ? 0
      : TABLE_HEAD_MM + FOOTNOTE_MM + ROW_MM * outputs.length + LONG_ROW_MM * longRows)
  )
}

function stagesMm(result: Result): number {
  const lines = stageLinesOf(result)
  const rowMm = ({ says, first }: StageLine): number =>
    STAGE_MM * linesOf(says, STAGE_CHARS) +
    (first ? STAGE_LINE_MM * linesOf(`${first.title}. Next: ${first.next}`, STAGE_CHARS) : 0)
  return lines.length === 0 ? 0 : STAGES_MM + lines.reduce((sum, line) => sum + rowMm(line), 0)
}

export interface FirstPageCount {
  /** Findings that stand on it in full, and of the others those that stand there with their title. */
  readonly count: number
  readonly titleCount: number
  /** Whether the table of outputs begins a page of its own, to leave this one to what the stages found. */
  readonly isTableApart: boolean
  /** Whether all that stands on the first page fits there. */
  readonly isOnePage: boolean
}

/** As many in full as leave the others room for their titles. */
export function firstPageCount(
  result: Result,
  findings: readonly Finding[],
  pageSize: PageSize = 'letter',
): FirstPageCount {
  const beside = roomMm(result, pageSize, true)
  const sumOf = (some: readonly Finding[], of: (finding: Finding) => number): number =>
    some.reduce((sum, finding) => sum + of(finding), 0)
  const usedMm = (count: number, titleCount: number): number =>
    sumOf(findings.slice(0, count), heightMm) +
    (count < findings.length ? REST_MM + sumOf(findings.slice(count, count + titleCount), shortMm) : 0)
  const isTableApart = result.stages.length > 0 && result.outputs.length > 0 && sumOf(findings, heightMm) > beside
  const room = isTableApart ? roomMm(result, pageSize, false) : beside
  for (let count = findings.length; count >= 1; count--) {
    const titleCount = findings.length - count
    if (usedMm(count, titleCount) <= room) return { count, titleCount, isTableApart, isOnePage: true }
  }
  // Not even the titles of all: the first in full, and as many titles as there is room for.
  for (let titleCount = findings.length - 1; titleCount >= 0; titleCount--) {
    if (usedMm(1, titleCount) <= room) return { count: 1, titleCount, isTableApart, isOnePage: true }
  }
  const count = Math.min(SHOWN_MIN, findings.length)
  return { count, titleCount: 0, isTableApart, isOnePage: findings.length === 0 && room > 0 }
}
