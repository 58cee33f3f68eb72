/**
 * A result as one HTML file that needs nothing else: no network, no script, no second file.
 *
 * Verdict and what to do come first; the record that proves it comes last.
 */
import type { Finding } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { NOT_GIVEN, SIMULATED_WORDS, timeInWords, VERDICT_WORDS } from './format.js'
import { Markup, markup } from './markup.js'
import { chartsSection, checksSection, outputId, outputsSection } from './outputs-section.js'
import { badge, facts, findingBadge } from './parts.js'
import { cautionsSection, methodsSection, rigSection, signaturesSection, takesSection } from './record-section.js'
import { SIMULATED_STYLE, STYLE } from './style.js'
import { sumsSection } from './sums-section.js'
import { vehicleSection } from './vehicle-section.js'

/** Even if something slipped through, the page may load and run nothing. */
const POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

export function htmlReport(result: Result): string {
  const { job, verdict, isSimulated } = result
  const title = [
    VERDICT_WORDS[verdict],
    job.vehicle,
    job.jobNumber && `job ${job.jobNumber}`,
    isSimulated && 'simulated',
  ].filter(Boolean)
  const style = new Markup(isSimulated ? STYLE + SIMULATED_STYLE : STYLE)
  const page = markup`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="${POLICY}">
<meta name="generator" content="${result.program}">
<title>${title.join(' · ')}</title>
<link rel="icon" href="data:,">
<style>${style}</style>
</head>
<body>
${isSimulated ? markup`<p class="simulated">${SIMULATED_WORDS}</p>` : null}
${headSection(result)}
<main>
${findingsSection(result)}
${outputsSection(result)}
${vehicleSection(result)}
${sumsSection(result)}
${chartsSection(result)}
${checksSection(result)}
${rigSection(result)}
${takesSection(result)}
${methodsSection(result)}
${cautionsSection(result)}
${signaturesSection(result)}
</main>
<footer><p>Made by ${result.program} from result format ${result.version}. The same figures stand in result.json beside this file.</p></footer>
</body>
</html>
`
  return page.text
}

const PLACES = [
  ['findings', 'What to do'],
  ['outputs', 'Outputs'],
  ['vehicle', 'Vehicle and rig'],
  ['charts', 'Each output'],
  ['checks', 'Checks'],
  ['rig', 'Record'],
] as const

function headSection({ verdict, summary, job, startedAt }: Result): Markup {
  return markup`<header class="head ${verdict}">
<p class="kind">Report on the vehicle's audio outputs</p>
<h1>${badge(verdict)} ${summary}</h1>
${facts([
  ['Vehicle', job.vehicle],
  ['VIN', job.vin ?? NOT_GIVEN],
  ['Plate', job.plate ?? NOT_GIVEN],
  ['Customer', job.customer ?? NOT_GIVEN],
  ['Job', [job.jobNumber, job.name].filter(Boolean).join(', ')],
  ['Technician', job.technician ?? NOT_GIVEN],
  ['Measured', markup`<time datetime="${startedAt}">${timeInWords(startedAt)}</time>`],
  ['Limits', job.limitsProfile],
])}
<nav aria-label="Parts of this report">${PLACES.map(([id, name]) => markup`<a href="#${id}">${name}</a> `)}</nav>
</header>`
}

function findingsSection({ findings, verdict }: Result): Markup {
  const none =
    verdict === 'pass'
      ? 'Nothing to do: nothing was found that stands against a pass.'
      : 'No cause was found; see the checks.'
  return markup`<section id="findings">
<h2>What to do</h2>
${findings.length === 0 ? markup`<p>${none}</p>` : markup`<ol class="findings">${findings.map(findingItem)}</ol>`}
</section>`
}

function findingItem({ verdict, outputs, title, because, next }: Finding): Markup {
  const places = outputs.map((number) => markup`<a href="#${outputId(number)}">output ${number}</a> `)
  return markup`
<li class="${verdict === 'pass' ? 'note' : verdict}">
<h3>${findingBadge(verdict)} ${title}</h3>
<p>${because}</p>
<p class="next"><b>Next:</b> ${next}</p>
${places.length === 0 ? null : markup`<p class="places">See ${places}</p>`}
</li>`
}
