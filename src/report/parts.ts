/** Small pieces that every section of the written report uses. */
import type { Check, Figure, Verdict } from '../verdict/result.js'
import { digitsOf, findingWord, NOT_MEASURED, polarityWord, uncertaintyInWords, VERDICT_WORDS } from './format.js'
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

/** ≤ and a narrow space that doesn't break. */
const boundOf = ({ isAtMost }: Figure): Markup | null => (isAtMost ? markup`≤&#8239;` : null)

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
