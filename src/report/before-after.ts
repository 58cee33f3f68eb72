/**
 * A retest beside the run before it: verdicts, what was found and is gone, and figures that moved by more than their
 * uncertainties allow. What counts as changed is decided where runs are compared; this only shows it.
 */
import type { Figure, Verdict } from '../verdict/parts.js'
import type { OutputResult, Result } from '../verdict/result.js'
import { NOT_GIVEN, quantityInWords, timeInWords, uncertaintyInWords, valueInWords } from './format.js'
import { type Markup, markup, type Shown } from './markup.js'
import { badge } from './parts.js'
import { responseAxis, responseChart } from './response-chart.js'
import { STAGE_WORDS } from './stage-words.js'
import { table } from './table.js'

/** A figure that differs by more than both uncertainties explain. */
export interface FigureChange {
  /** Name of the figure, or of the check that it stands in. */
  readonly name: string
  /** null for what belongs to no output. */
  readonly outputNumber: number | null
  /** Output, stage or part, in words. */
  readonly of: string
  readonly before: Figure
  readonly after: Figure
}

export interface Before {
  readonly result: Result
  readonly changes: readonly FigureChange[]
}

interface VerdictChange {
  readonly of: string
  readonly before: Verdict | null
  readonly after: Verdict
}

function verdictChanges(before: Result, after: Result): VerdictChange[] {
  const of = ({ outputs, stages }: Result): { of: string; verdict: Verdict }[] => [
    ...outputs.map(({ number, label, verdict }) => ({ of: `${number} ${label}`, verdict })),
    ...stages.map(({ stage, verdict }) => ({ of: STAGE_WORDS[stage], verdict })),
  ]
  const known = new Map(of(before).map((one) => [one.of, one.verdict]))
  return of(after)
    .map((one) => ({ of: one.of, before: known.get(one.of) ?? null, after: one.verdict }))
    .filter((one) => one.before !== one.after)
}

const withSure = (figure: Figure): Shown => {
  const u = uncertaintyInWords(figure)
  return markup`${valueInWords(figure)}${u.startsWith('±') ? markup`<small>${u}</small>` : null}`
}

const titlesOf = ({ findings, stages }: Result): string[] =>
  [...findings, ...stages.flatMap((stage) => stage.findings)]
    .filter(({ verdict }) => verdict !== 'pass')
    .map(({ title }) => title)

export function beforeAfterSection({ result: before, changes: figures }: Before, after: Result): Markup {
  const verdicts = verdictChanges(before, after)
  const [earlier, now] = [titlesOf(before), titlesOf(after)]
  const gone = earlier.filter((title) => !now.includes(title))
  return markup`<section id="before-after">
<h2>Before and after</h2>
${otherVehicle(before, after)}
<p><b>Before:</b> ${timeInWords(before.startedAt, true)} ${badge(before.verdict)} ${before.summary}</p>
<p><b>After:</b> ${timeInWords(after.startedAt, true)} ${badge(after.verdict)} ${after.summary}</p>
${gone.length === 0 ? null : markup`<p><b>No longer found:</b></p><ul>${gone.map((title) => markup`<li>${title}</li>`)}</ul>`}
${
  verdicts.length === 0
    ? markup`<p>No verdict changed.</p>`
    : table({
        kind: 'changed',
        says: 'Verdicts before and after',
        caption: 'Verdicts that changed.',
        columns: [
          { heading: 'Of', cell: (one) => one.of },
          { heading: 'Before', cell: (one) => (one.before === null ? 'not made' : badge(one.before)) },
          { heading: 'After', cell: (one) => badge(one.after) },
        ],
        rows: verdicts,
      })
}
${
  figures.length === 0
    ? markup`<p>No figure changed by more than its uncertainty.</p>`
    : table({
        kind: 'changed',
        says: 'Figures before and after',
        caption: 'Figures that changed by more than the uncertainties of both (root of the sum of squares, k = 2).',
        columns: [
          { heading: 'Of', cell: ({ of }) => of },
          { heading: 'Figure', cell: ({ name }) => quantityInWords(name) },
          { heading: 'Before', isNumber: true, cell: (one) => withSure(one.before) },
          { heading: 'After', isNumber: true, cell: (one) => withSure(one.after) },
        ],
        rows: figures,
      })
}
${changedResponses(before, after, figures)}
</section>`
}

/** A run of another vehicle or job may be held against this one, but nobody may take it for a retest. */
function otherVehicle({ job: before }: Result, { job: after }: Result): Markup | null {
  const pairs = [
    ['VIN', before.vin, after.vin],
    ['vehicle', before.vehicle, after.vehicle],
    ['plate', before.plate, after.plate],
    ['job number', before.jobNumber, after.jobNumber],
    ['job', before.name, after.name],
  ] as const
  const differing = pairs.filter(([, a, b]) => a !== b)
  if (differing.length === 0) return null
  const isOther =
    before.vin !== null && after.vin !== null ? before.vin !== after.vin : before.vehicle !== after.vehicle
  const says = differing.map(([of, a, b]) => `${of} ${a || NOT_GIVEN} before, ${b || NOT_GIVEN} after`).join('; ')
  return markup`<p class="other"><b>${isOther ? 'The run before is of another vehicle' : 'The runs are not of one job'}:</b> ${says}. ${isOther ? 'What is no longer found was not put right by this.' : null}</p>`
}

/** Responses side by side where the figure of the response moved. */
function changedResponses(before: Result, after: Result, changes: readonly FigureChange[]): Markup[] {
  const axis = responseAxis([...before.outputs, ...after.outputs])
  const pairs = after.outputs.flatMap((output): [OutputResult, OutputResult][] => {
    const earlier = before.outputs.find(({ number }) => number === output.number)
    const isMoved = changes.some(
      ({ outputNumber, after: { quantity } }) => outputNumber === output.number && quantity === 'flatness',
    )
    return earlier?.response && output.response && isMoved ? [[earlier, output]] : []
  })
  return pairs.map(
    ([earlier, output]) => markup`<h3>Response of ${output.number} ${output.label}</h3>
<div class="pair">
<figure>${responseChart(earlier, earlier.response!, axis, 'before-')}
<figcaption>Before</figcaption></figure>
<figure>${responseChart(output, output.response!, axis, 'after-')}
<figcaption>After</figcaption></figure>
</div>`,
  )
}
