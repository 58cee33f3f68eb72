/**
 * The first page: verdict, vehicle, what to do, the stages of the job, and the table of outputs, on one sheet of A4 or
 * Letter with up to twelve outputs. Where a whole job leaves too much to do for that, the outputs begin the next page. Findings
 * that find no room stand there too, and the first page says how many.
 */
import type { Result } from '../verdict/result.js'
import { allFindings, findingsList, firstPageCount, titlesList } from './findings-part.js'
import { NOT_GIVEN, timeInWords } from './format.js'
import { type Markup, markup } from './markup.js'
import { outputsSection } from './outputs-section.js'
import { badge, facts } from './parts.js'
import { stageLineId, stageLinesOf, stageList } from './stage-list.js'
import { STAGE_WORDS } from './stage-words.js'
import type { PageSize } from './style.js'

export function firstPage(
  result: Result,
  places: readonly (readonly [id: string, name: string])[],
  pageSize?: PageSize,
): Markup {
  const findings = allFindings(result)
  const { count, titleCount, isTableApart, isOnePage } = firstPageCount(result, findings, pageSize)
  const [first, rest] = [findings.slice(0, count), findings.slice(count)]
  return markup`${headSection(result, places)}
<main>
<section id="findings">
<h2>What to do</h2>
${findings.length === 0 ? markup`<p>${nothingFound(result)}</p>` : findingsList(first, 3)}
${
  rest.length === 0
    ? null
    : markup`<div class="screen">${findingsList(rest, 3)}</div>
<div class="printed rest"><p><b>${`${rest.length} more ${isOnePage && !isTableApart ? 'on page 2' : 'after the table of outputs'}`}:</b></p>${titlesList(rest.slice(0, titleCount))}</div>`
}
</section>
${stageList(stageLinesOf(result))}
${result.outputs.length === 0 ? null : outputsSection(result, isTableApart)}
${
  rest.length === 0
    ? null
    : markup`<section id="more-findings" class="${isTableApart ? 'printed' : 'printed onpage'}">
<h2>What else to do</h2>
${findingsList(rest, 3)}
</section>`
}`
}

const nothingFound = ({ verdict }: Result): string =>
  verdict === 'pass'
    ? 'Nothing to do: nothing was found that stands against a pass.'
    : 'No cause was found; see the checks.'

export function headSection(result: Result, places: readonly (readonly [id: string, name: string])[]): Markup {
  const { verdict, summary } = result
  const lines = stageLinesOf(result)
  return markup`<header class="head ${verdict}">
<p class="kind">Report on the vehicle's audio outputs</p>
<h1>${badge(verdict)} ${summary}</h1>
${vehicleFacts(result)}
${lines.length === 0 ? null : markup`<p class="chips screen"><b>Stages:</b> ${lines.map((line) => markup`<span class="chip"><a href="#${stageLineId(line)}">${STAGE_WORDS[line.stage]}</a>&#160;${badge(line.verdict)}</span> `)}</p>`}
${places.length === 0 ? null : markup`<nav aria-label="Parts of this report">${places.map(([id, name]) => markup`<a href="#${id}">${name}</a> `)}</nav>`}
</header>`
}

export const vehicleFacts = ({ job, startedAt, retestOf }: Result): Markup =>
  facts([
    ['Vehicle', job.vehicle],
    ['VIN', job.vin ?? NOT_GIVEN],
    ['Plate', job.plate ?? NOT_GIVEN],
    ['Customer', job.customer ?? NOT_GIVEN],
    ['Job', [job.jobNumber, job.name].filter(Boolean).join(', ')],
    ['Technician', job.technician ?? NOT_GIVEN],
    ['Measured', markup`<time datetime="${startedAt}">${timeInWords(startedAt)}</time>`],
    ['Limits', job.limitsProfile],
    ...(retestOf === null ? [] : [['Retest of', retestOf] as const]),
  ])
