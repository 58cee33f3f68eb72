/**
 * The first page: verdict, vehicle, what to do, and the table of outputs, on one sheet of A4 or Letter with up to twelve
 * outputs. Findings that find no room there stand on the next page, and the first says how many.
 */
import type { Result } from '../verdict/result.js'
import { allFindings, findingsList, firstPageCount, titlesList } from './findings-part.js'
import { NOT_GIVEN, timeInWords } from './format.js'
import { type Markup, markup } from './markup.js'
import { outputsSection } from './outputs-section.js'
import { badge, facts } from './parts.js'
import { STAGE_WORDS } from './stage-words.js'
import { stageId } from './stages-section.js'

export function firstPage(result: Result, places: readonly (readonly [id: string, name: string])[]): Markup {
  const findings = allFindings(result)
  const { count, titleCount, isOnePage } = firstPageCount(result, findings)
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
<div class="printed rest"><p><b>${`${rest.length} more ${isOnePage ? 'on page 2' : 'after the table'}`}:</b></p>${titlesList(rest.slice(0, titleCount))}</div>`
}
</section>
${result.outputs.length === 0 ? null : outputsSection(result)}
${
  rest.length === 0
    ? null
    : markup`<section id="more-findings" class="printed onpage">
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
  const { verdict, summary, stages } = result
  return markup`<header class="head ${verdict}">
<p class="kind">Report on the vehicle's audio outputs</p>
<h1>${badge(verdict)} ${summary}</h1>
${vehicleFacts(result)}
${stages.length === 0 ? null : markup`<p class="chips"><b>Stages:</b> ${stages.map((stage) => markup`<span class="chip"><a href="#${stageId(stage)}">${STAGE_WORDS[stage.stage]}</a>&#160;${badge(stage.verdict)}</span> `)}</p>`}
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
