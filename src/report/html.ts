/**
 * A result as one HTML file that needs nothing else: no network, no script, no second file.
 *
 * Verdict and what to do come first; the record that proves it comes last.
 */
import type { Result } from '../verdict/result.js'
import type { Before } from './before-after.js'
import { SIMULATED_WORDS } from './format.js'
import { Markup, markup } from './markup.js'
import { type Audience, type Paper, paperFor } from './paper.js'
import { PAGE_SIZES, type PageSize, SIMULATED_STYLE, STYLE } from './style.js'

/** Even if something slipped through, the page may load and run nothing. */
const POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

export interface HtmlOptions {
  readonly audience?: Audience
  /** The run that this one is held against. */
  readonly before?: Before | null
  /** Left out: the paper that is in the printer. */
  readonly pageSize?: PageSize
}

export const htmlReport = (result: Result, { audience = 'shop', before = null, pageSize }: HtmlOptions = {}): string =>
  htmlOf(paperFor(audience, result, before, pageSize), pageSize)

function htmlOf({ title, body, program, isSimulated }: Paper, pageSize: PageSize | undefined): string {
  const style = [STYLE, isSimulated ? SIMULATED_STYLE : '', pageSize ? PAGE_SIZES[pageSize] : ''].join('')
  return markup`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="${POLICY}">
<meta name="generator" content="${program}">
<title>${title}</title>
<link rel="icon" href="data:,">
<style>${new Markup(style)}</style>
</head>
<body>
${isSimulated ? markup`<aside aria-label="Simulated"><p class="simulated">${SIMULATED_WORDS}</p></aside>` : null}
${body}
</body>
</html>
`.text
}
