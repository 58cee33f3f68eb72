/**
 * A retest beside the run before it: verdicts, what was found and is gone, and figures that moved by more than their
 * uncertainties allow.
 *
 * A figure counts as changed where the difference is larger than the root of the sum of the squares of both expanded
 * uncertainties (GUM, of a difference of two independent figures). One without an uncertainty counts where it differs at
 * the digits shown.
 */
import type { Figure, Verdict } from '../verdict/parts.js'
import type { OutputResult, Result } from '../verdict/result.js'
import { quantityInWords, timeInWords, uncertaintyInWords, valueInWords } from './format.js'
import { type Markup, markup, type Shown } from './markup.js'
import { badge } from './parts.js'
import { responseAxis, responseChart } from './response-chart.js'
import { STAGE_WORDS } from './stage-words.js'
import { table } from './table.js'

export interface FigureChange {
  /** 3 front left low, or a stage's or the vehicle's. */
  readonly of: string
  readonly before: Figure
  readonly after: Figure
}

const keyOf = ({ quantity, freqHz }: Figure): string => `${quantity} ${freqHz === null ? '' : Math.round(freqHz)}`

/** Whether two figures of one quantity differ by more than both uncertainties explain. */
export function isChanged(before: Figure, after: Figure): boolean {
  if (before.value === null || after.value === null) return before.value !== after.value
  if (before.unit !== after.unit) return true
  if (before.u === null || after.u === null) return valueInWords(before) !== valueInWords(after)
  // Two bounds of one kind say nothing of a change.
  if ((before.isAtMost && after.isAtMost) || (before.isAtLeast && after.isAtLeast)) return false
  return Math.abs(after.value - before.value) > Math.hypot(before.u, after.u)
}

function changesOf(of: string, before: readonly Figure[], after: readonly Figure[]): FigureChange[] {
  const known = new Map(before.map((figure) => [keyOf(figure), figure]))
  return after.flatMap((figure) => {
    const earlier = known.get(keyOf(figure))
    return earlier && isChanged(earlier, figure) ? [{ of, before: earlier, after: figure }] : []
  })
}

const vehicleFigures = ({ checks }: Result): Figure[] => checks.flatMap(({ figure }) => figure ?? [])

export function figureChanges(before: Result, after: Result): FigureChange[] {
  return [
    ...changesOf('vehicle and rig', vehicleFigures(before), vehicleFigures(after)),
    ...after.outputs.flatMap((output) => {
      const earlier = before.outputs.find(({ number }) => number === output.number)
      return earlier ? changesOf(`${output.number} ${output.label}`, earlier.figures, output.figures) : []
    }),
    ...after.stages.flatMap((stage) => {
      const earlier = before.stages.find((one) => one.stage === stage.stage)
      return earlier ? changesOf(STAGE_WORDS[stage.stage], earlier.figures, stage.figures) : []
    }),
  ]
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

export function beforeAfterSection(before: Result, after: Result): Markup {
  const verdicts = verdictChanges(before, after)
  const figures = figureChanges(before, after)
  const [earlier, now] = [titlesOf(before), titlesOf(after)]
  const gone = earlier.filter((title) => !now.includes(title))
  return markup`<section id="before-after">
<h2>Before and after</h2>
<p>Before: ${timeInWords(before.startedAt)}, ${badge(before.verdict)} ${before.summary} After: ${timeInWords(after.startedAt)}, ${badge(after.verdict)} ${after.summary}</p>
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
          { heading: 'Figure', cell: (one) => quantityInWords(one.after.quantity) },
          { heading: 'Before', isNumber: true, cell: (one) => withSure(one.before) },
          { heading: 'After', isNumber: true, cell: (one) => withSure(one.after) },
        ],
        rows: figures,
      })
}
${changedResponses(before, after, figures)}
</section>`
}

/** Responses side by side where the figure of the response moved. */
function changedResponses(before: Result, after: Result, changes: readonly FigureChange[]): Markup[] {
  const axis = responseAxis([...before.outputs, ...after.outputs])
  const pairs = after.outputs.flatMap((output): [OutputResult, OutputResult][] => {
    const earlier = before.outputs.find(({ number }) => number === output.number)
    const isMoved = changes.some(
      (one) => one.of === `${output.number} ${output.label}` && one.after.quantity === 'flatness',
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
