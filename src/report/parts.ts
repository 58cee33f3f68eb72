/** Small pieces that every section of the written report uses. */
import type { Check, Figure, Verdict } from '../verdict/parts.js'
import {
  boundMark,
  digitsFor,
  digitsOf,
  findingWord,
  NOT_MEASURED,
  polarityWord,
  type ShownUnit,
  uncertaintyInWords,
  VERDICT_WORDS,
} from './format.js'
import { type Markup, markup, type Shown } from './markup.js'

/** The word of a verdict in a frame: filled for FAIL, broken for UNSURE, thin for PASS. */
export const badge = (verdict: Verdict): Markup =>
  markup`<span class="badge ${verdict}">${VERDICT_WORDS[verdict]}</span>`

export const findingBadge = (verdict: Verdict): Markup =>
  markup`<span class="badge ${verdict === 'pass' ? 'note' : verdict}">${findingWord(verdict).toUpperCase()}</span>`

/** Terms and what they are: a short list of facts. */
export const facts = (pairs: readonly (readonly [term: string, says: Shown])[]): Markup =>
  markup`<dl class="facts">${pairs.map(([term, says]) => markup`<div><dt>${term}</dt><dd>${says}</dd></div>`)}</dl>`

const MARK_WORDS: Readonly<Record<Verdict, Markup | null>> = {
  pass: null,
  fail: markup`<b class="mark fail">!<span class="unseen"> outside its limit</span></b> `,
  unsure: markup`<b class="mark unsure">?<span class="unseen"> not settled</span></b> `,
}

/** A value in a narrow cell with its uncertainty under it; its unit stands in the heading. */
export function cellOf(figure: Figure | null, verdict: Verdict, without: string = NOT_MEASURED): Markup {
  const digits = figure && digitsOf(figure)
  if (!figure || !digits) return markup`${MARK_WORDS[verdict]}<span class="none">${without}</span>`
  if (figure.quantity === 'polarity') return markup`${MARK_WORDS[verdict]}${polarityWord(figure.value!)}`
  return markup`${MARK_WORDS[verdict]}${boundOf(figure)}${digits.value}${digits.u === null ? null : markup`<small>± ${digits.u}</small>`}`
}

/** ≤ or ≥ and a narrow space that doesn't break. */
const boundOf = (figure: Figure): Markup | null => {
  const mark = boundMark(figure)
  return mark === '' ? null : markup`${mark}&#8239;`
}

/** The same with the unit beside the value, where rows differ in it. */
export function cellWithUnit(figure: Figure | null, verdict: Verdict, without: string = NOT_MEASURED): Markup {
  const digits = figure && digitsOf(figure)
  if (!figure || !digits) return cellOf(figure, verdict, without)
  const u = digits.u === null ? null : markup`<small>${uncertaintyInWords(figure)}</small>`
  return markup`${MARK_WORDS[verdict]}${boundOf(figure)}${digits.value} ${digits.unit}${u}`
}

export const markOf = (verdict: Verdict): Markup | null => MARK_WORDS[verdict]

/** What a check found: its words are those of the judge. */
export const measuredOf = (check: Check | null): string => check?.measured || NOT_MEASURED

export interface FoldSpec {
  readonly title: string
  /** What stands in it, in a line: a reader decides by it whether to open. */
  readonly says: Shown
  readonly inside: Shown
  /** The worst of the checks that belong to it: nothing that failed is hidden by being folded. */
  readonly verdict?: Verdict
  readonly isOpen?: boolean
}

/** A part of the page that opens on demand, without a script. What is closed is not printed. */
export const fold = ({ title, says, inside, verdict = 'pass', isOpen = false }: FoldSpec): Markup =>
  markup`<details class="fold"${isOpen ? markup` open` : null}><summary><b>${title}</b> ${verdict === 'pass' ? null : markup`${badge(verdict)} `}<span class="gist">${says}</span></summary>
${inside}
</details>
`

/** A value with ± its uncertainty behind it: "2500.0 Hz ± 0.3 Hz". */
export function withU(value: number, expanded: number | null, ofUnit: ShownUnit, isSigned = true): string {
  const { value: digits, unit, u, uUnit } = digitsFor(value, expanded, ofUnit, isSigned)
  return [digits, unit, ...(u === null ? [] : ['±', u, uUnit])].filter(Boolean).join(' ')
}

/** The same for a narrow cell: the uncertainty stands under the value. */
export function overU(value: number, expanded: number | null, ofUnit: ShownUnit): Markup {
  const { value: digits, unit, u, uUnit } = digitsFor(value, expanded, ofUnit)
  return markup`${`${digits} ${unit}`}${u === null ? null : markup`<small>${`± ${u} ${uUnit}`}</small>`}`
}
