/** The customer's page: what was checked, what was found and what will be done, in everybody's words, on one sheet. */
import { listed } from '../units/words.js'
import type { Finding, Verdict } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { CHECKED_WORDS, CUSTOMER_WORDS } from './customer-words.js'
import { allFindings } from './findings-part.js'
import { localTimeInWords, NOT_GIVEN } from './format.js'
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

/** @param before the run that this one follows, or null */
export function customerBody(result: Result, before: Result | null): Markup {
  const { job, verdict, startedAt, outputs, stages } = result
  const groups = groupsOf(result, allFindings(result))
  const done = before === null ? [] : putRight(before, result)
  const checked = [
    ...(outputs.length > 0
      ? [
          CHECKED_WORDS.outputs.replace(
            'each channel',
            outputs.length === 1 ? 'the channel' : `each of the ${outputs.length} channels`,
          ),
        ]
      : []),
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
  ['Checked', localTimeInWords(startedAt)],
])}
</header>
<main>
<section id="checked">
<h2>What was checked</h2>
<ul>${checked.map((says) => markup`<li>${says.slice(0, 1).toUpperCase()}${says.slice(1)}.</li>`)}</ul>
</section>
<section id="found">
<h2>What was found</h2>
${groups.length === 0 ? markup`<p>${verdict === 'pass' ? 'Nothing has to be done.' : 'The technician looks into what is open and tells you.'}</p>` : groups.length > LONG_MIN ? markup`<ul class="plainly short">${groups.map(shortItem)}</ul>` : markup`<ol class="findings">${groups.map(groupItem)}</ol>`}
</section>
${
  done.length === 0
    ? null
    : markup`<section id="put-right">
<h2>What was put right since the check before</h2>
<ul>${done.map((group) => markup`<li>${foundInWords(group)}</li>`)}</ul>
</section>`
}
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
function groupsOf(result: Result, findings: readonly Finding[]): Group[] {
  const labels = new Map(result.outputs.map((output) => [output.number, output.label]))
  const groups = new Map<string, Group>()
  const told = new Set<string>()
  for (const finding of findings) {
    const { kind, verdict, outputs } = finding
    if (verdict === 'pass') continue
    const { found } = CUSTOMER_WORDS[kind]
    // Two stages that find one thing in a channel say it once.
    const isNew = (number: number): boolean => !told.has(`${ALIKE[kind] ?? kind} ${number}`)
    const left = outputs.filter(isNew)
    for (const number of outputs) told.add(`${ALIKE[kind] ?? kind} ${number}`)
    if (outputs.length > 0 && left.length === 0) continue
    const channels = left.map((number) => labels.get(number) ?? `channel ${number}`)
    const key = `${found} ${verdict}`
    const places = kind === 'chime' ? [chimeName(result, finding) ?? []].flat() : channels
    const known = groups.get(key)?.places ?? []
    groups.set(key, { kind, verdict, places: [...new Set([...known, ...places])] })
  }
  return [...groups.values()]
}

/** Kinds that are one thing to the owner. */
const ALIKE: Partial<Record<Finding['kind'], Finding['kind']>> = { 'not flat': 'equalised', engine: 'whining' }

/** The job's own word for a chime: the title of what is found begins with it. */
function chimeName({ stages }: Result, { title }: Finding): string | null {
  const names = stages
    .filter(({ stage }) => stage === 'chimes')
    .flatMap(({ tables }) => tables.flatMap(({ rows }) => rows.map(({ cells }) => cells[0] ?? '')))
  return names.find((name) => name !== '' && title.includes(name)) ?? null
}

/** What the check before found in this vehicle and this one, which looked at the same, did not. */
function putRight(before: Result, after: Result): Group[] {
  if (before.job.vin !== after.job.vin || before.job.vehicle !== after.job.vehicle) return []
  const now = allFindings(after).filter(({ verdict }) => verdict !== 'pass')
  const stagesNow = new Set(after.stages.map(({ stage }) => stage))
  const again = [
    ...(after.outputs.length > 0 ? before.findings : []),
    ...before.stages.filter(({ stage }) => stagesNow.has(stage)).flatMap(({ findings }) => findings),
  ].filter(({ verdict }) => verdict === 'fail')
  const isThere = ({ kind }: Finding, number: number | null): boolean =>
    now.some((one) => one.kind === kind && (number === null || one.outputs.includes(number)))
  const gone = again.flatMap((finding): Finding[] => {
    if (finding.kind === 'chime') return now.some(({ title }) => title === finding.title) ? [] : [finding]
    if (finding.outputs.length === 0) return isThere(finding, null) ? [] : [finding]
    const outputs = finding.outputs.filter((number) => !isThere(finding, number))
    return outputs.length === 0 ? [] : [{ ...finding, outputs }]
  })
  return groupsOf(before, gone)
}

const foundInWords = ({ kind, places }: Group): string =>
  `${CUSTOMER_WORDS[kind].found}${places.length === 0 ? '' : `: ${listed(places)}`}`

/** More than this many would not leave room for the signatures on one sheet: each is a line then. */
const LONG_MIN = 6

const shortItem = (group: Group): Markup =>
  markup`<li>${label(group.verdict)} <b>${foundInWords(group)}.</b> ${notCertain(group)}What is done: ${CUSTOMER_WORDS[group.kind].done}</li>`

const notCertain = ({ verdict }: Group): Markup | null =>
  verdict === 'unsure' ? markup`This is not certain yet; it is looked at again. ` : null

function groupItem({ kind, verdict, places }: Group): Markup {
  const { done } = CUSTOMER_WORDS[kind]
  return markup`
<li class="${verdict}">
<h3>${label(verdict)} ${foundInWords({ kind, verdict, places })}</h3>
<p class="next">${notCertain({ kind, verdict, places })}<b>What is done:</b> ${done}</p>
</li>`
}
