/**
 * HTML and SVG as a template tag that escapes: whatever a job file, an instrument or a file name says becomes text.
 *
 * A value in a template is escaped, and trimmed, unless it is Markup itself; lists are joined; null leaves nothing.
 * Attributes stand in double quotes.
 */
import { clean, held } from './text.js'

export class Markup {
  constructor(readonly text: string) {}
}

export type Shown = Markup | string | number | null | readonly Shown[]

const ENTITIES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
}

export function markup(strings: TemplateStringsArray, ...values: readonly Shown[]): Markup {
  return new Markup(strings.map((part, i) => part + (i < values.length ? textOf(values[i]) : '')).join(''))
}

const textOf = (shown: Shown): string => {
  if (shown === null) return ''
  if (shown instanceof Markup) return shown.text
  if (typeof shown === 'object') return shown.map(textOf).join('')
  return held(clean(String(shown))).replace(/[&<>"']/g, (character) => ENTITIES[character])
}
