/** The customer's page: what was checked, what was found and what will be done, in everybody's words, on one sheet. */
import { listed } from '../units/words.js'
import type { Finding, Verdict } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { CHECKED_WORDS, CUSTOMER_WORDS } from './customer-words.js'
import { allFindings } from './findings-part.js'
import { NOT_GIVEN, timeInWords } from './format.js'
import { type Markup, markup } from './markup.js'
import { facts } from './parts.js'
import { signaturesSection } from './record-section.js'

const SAYS: Readonly<Record<Verdict, string>> = {
  pass: 'Everything that was checked is in order.',
  fail: 'Some things have to be put right.',
  unsure: 'Some things could not be settled yet.',
}

/** Owners read IN ORDER sooner than PASS. */
const WORDS: Readonly<Record<Verdict, string>> = { pass: 'IN ORDER', fail: 'TO DO', unsure: 'OPEN' }

const label = (verdict: Verdict): Markup => markup`<span class="badge ${verdict}">${WORDS[verdict]}</span>`

export function customerBody(result: Result): Markup {
  const { job, verdict, startedAt, outputs, stages } = result
  const groups = groupsOf(result)
  const checked = [
    ...(outputs.length > 0 ? [`of ${outputs.length} channels of the audio system: ${CHECKED_WORDS.outputs}`] : []),
    ...stages.filter(({ stage }) => stage !== 'outputs').map(({ stage }) => CHECKED_WORDS[stage]),
  ]
  return markup`<header class="head ${verdict}">
<p class="kind">Your vehicle's audio system</p>
<h1>${label(verdict)} ${SAYS[verdict]}</h1>
${facts([
  ['Vehicle', job.vehicle],
  ['Plate', job.plate ?? NOT_GIVEN],
  ['VIN', job.vin ?? NOT_GIVEN],
  ['Customer', job.customer ?? NOT_GIVEN],
  ['Job', job.jobNumber ?? NOT_GIVEN],
  ['Checked by', job.technician ?? NOT_GIVEN],
  ['Checked', timeInWords(startedAt)],
])}
</header>
<main>
<section id="checked">
<h2>What was checked</h2>
<ul>${checked.map((says) => markup`<li>${says}</li>`)}</ul>
</section>
<section id="found">
<h2>What was found</h2>
${groups.length === 0 ? markup`<p>${verdict === 'pass' ? 'Nothing has to be done.' : 'The technician looks into what is open and tells you.'}</p>` : markup`<ol class="findings">${groups.map(groupItem)}</ol>`}
</section>
${signaturesSection(result)}
</main>
<footer><p>All measured values stand in the shop's own report.</p></footer>`
}

interface Group {
  readonly kind: Finding['kind']
  readonly verdict: Verdict
  readonly places: readonly string[]
}

/** One for each kind of finding, whatever the number of channels that have it; notes are the shop's own. */
function groupsOf(result: Result): Group[] {
  const labels = new Map(result.outputs.map((output) => [output.number, output.label]))
  const groups = new Map<string, Group>()
  for (const { kind, verdict, outputs } of allFindings(result)) {
    if (verdict === 'pass') continue
    const key = `${kind} ${verdict}`
    const places = outputs.map((number) => labels.get(number) ?? `channel ${number}`)
    const known = groups.get(key)?.places ?? []
    groups.set(key, { kind, verdict, places: [...new Set([...known, ...places])] })
  }
  return [...groups.values()]
}

function groupItem({ kind, verdict, places }: Group): Markup {
  const { found, done } = CUSTOMER_WORDS[kind]
  const where = places.length === 0 ? '' : `: ${listed(places)}`
  return markup`
<li class="${verdict}">
<h3>${label(verdict)} ${found}${where}</h3>
<p class="next">${verdict === 'unsure' ? markup`This is not certain yet; it is looked at again. ` : null}<b>What is done:</b> ${done}</p>
</li>`
}
