/** What belongs to the whole vehicle and to the rig: notes, checks, and the path from player to head unit. */
import { inHz } from '../units/words.js'
import type { Check } from '../verdict/parts.js'
import type { SourceResult } from '../verdict/readings.js'
import type { Result } from '../verdict/result.js'
import { checkTable } from './check-table.js'
import { budgetTable } from './figure-table.js'
import { type Markup, markup } from './markup.js'
import { fold } from './parts.js'

const isOpen = ({ verdict }: Check): boolean => verdict !== 'pass'

export function vehicleSection({ checks, job, rig, source }: Result): Markup {
  // What needs a look comes first.
  const sorted = [...checks.filter(isOpen), ...checks.filter((check) => !isOpen(check))]
  const notes = [...job.warnings, ...rig.notes]
  const figures = sorted.flatMap(({ name, figure }) => (figure ? [{ name, figure }] : []))
  return markup`<section id="vehicle">
<h2>Vehicle and rig</h2>
${notes.length === 0 ? null : markup`<ul class="warnings">${notes.map((says) => markup`<li><b>Note:</b> ${says}</li>`)}</ul>`}
${sorted.length === 0 ? markup`<p>No check of the whole vehicle or of the rig was made.</p>` : checkTable('Checks that belong to no single output', 'Checks of vehicle and rig', sorted)}
${figures.length === 0 ? null : fold({ title: 'Their figures', says: `${figures.length}, each with what its uncertainty is made of`, inside: budgetTable('Figures of vehicle and rig', figures) })}
${source ? sourcePart(source) : null}
</section>`
}

const SOURCE_WORDS: Readonly<Record<SourceResult['isLossy'], string>> = {
  yes: 'It is lossy: a codec has been at work, and what it takes away or adds limits what can be said.',
  no: 'No sign of a lossy codec.',
  unsure: 'It may be lossy; that could not be settled.',
}

function sourcePart({ isLossy, because, bandLimitHz }: SourceResult): Markup {
  const limitHz = bandLimitHz === null ? null : inHz(bandLimitHz)
  const isSaid = limitHz === null || because.some((reason) => reason.includes(limitHz))
  const limit = isSaid ? '' : `Its band ends at ${limitHz}.`
  const reasons = because.map((reason) => `${reason.slice(0, 1).toUpperCase()}${reason.slice(1).replace(/\.?$/, '.')}`)
  return markup`<p id="source"><b>Path from player to head unit:</b> ${[SOURCE_WORDS[isLossy], ...reasons, limit].filter(Boolean).join(' ')}</p>`
}
