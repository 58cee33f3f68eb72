/** Settings that undo what was found, as a table to type from: one row for each section of each output or sum. */
import { plain, signed } from '../units/words.js'
import type { Correction } from '../verdict/stage-result.js'
import { kindInWords, typedHz } from './equaliser-part.js'
import { type Markup, markup } from './markup.js'
import { table } from './table.js'

interface Row {
  readonly of: string
  readonly section: Correction['sections'][number] | null
  readonly says: string
}

/** @returns null where there is nothing to undo */
export function correctionsPart(corrections: readonly Correction[]): Markup | null {
  if (corrections.length === 0) return null
  const rows = corrections.flatMap(({ of, sections, leavesDb }): Row[] => {
    const says = `${plain(leavesDb, 1)} dB`
    if (sections.length === 0) return [{ of, section: null, says }]
    return sections.map((section, i) => ({
      of: sections.length === 1 ? of : `${of}, ${i + 1} of ${sections.length}`,
      section,
      says: i === sections.length - 1 ? says : '',
    }))
  })
  return table({
    kind: 'corrections',
    says: 'Settings that undo what was found',
    caption: markup`<b>Type in.</b> Kind, gain and Q as the Audio EQ Cookbook (W3C) defines them. Left: largest deviation from flat afterwards, either way.`,
    columns: [
      { heading: 'Output or sum', cell: ({ of }) => of },
      { heading: 'Kind', cell: ({ section }) => (section ? kindInWords(section.kind) : 'none needed') },
      { heading: 'Frequency', isNumber: true, cell: ({ section }) => (section ? typedHz(section.freqHz) : '') },
      { heading: 'Gain', isNumber: true, cell: ({ section }) => (section ? `${signed(section.gainDb, 1)} dB` : '') },
      { heading: 'Q', isNumber: true, cell: ({ section }) => (section ? plain(section.q, 2) : '') },
      { heading: 'Left', isNumber: true, cell: ({ says }) => says },
    ],
    rows,
  })
}
