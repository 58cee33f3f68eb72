/** What equalisation was found in an output, and what to type in to undo it; band edges with their slopes. */
import { plain, signed } from '../units/words.js'
import type { Readings, Section } from '../verdict/readings.js'
import { type Markup, markup, type Shown } from './markup.js'
import { overU, withU } from './parts.js'
import { type TableColumn, table } from './table.js'

type Equalisation = NonNullable<Readings['equalisation']>
type Edge = NonNullable<Readings['lowEdge']>

export const kindInWords = (kind: Section['kind']): string => kind.slice(0, 1).toUpperCase() + kind.slice(1)

/** As much as a processor takes: whole hertz from 1 kHz up, tenths below. */
export const typedHz = (freqHz: number): string => `${plain(freqHz, freqHz >= 1000 ? 0 : 1)} Hz`

/** What a tuner types into a processor to undo a section. */
export const undoInWords = ({ kind, freqHz, q, undoGainDb }: Section): string =>
  `${kindInWords(kind)}, ${typedHz(freqHz)}, ${signed(undoGainDb, 1)} dB, Q ${plain(q, 2)}`

const SECTIONS: readonly TableColumn<{ section: Section; number: number }>[] = [
  { heading: 'In it', cell: ({ section, number }) => `${number} ${kindInWords(section.kind)}` },
  { heading: 'Frequency', isNumber: true, cell: ({ section: s }) => overU(s.freqHz, s.freqU, 'Hz') },
  { heading: 'Gain', isNumber: true, cell: ({ section: s }) => overU(s.gainDb, s.gainU, 'dB') },
  { heading: 'Q', isNumber: true, cell: ({ section: s }) => overU(s.q, s.qU, 'Q') },
  { heading: 'Undone by', cell: ({ section }) => markup`<b>${undoInWords(section)}</b>` },
]

/** "0.12 dB"; less than a hundredth is said as that. */
const leftInWords = (levelDb: number): string => (levelDb < 0.005 ? 'less than 0.01 dB' : `${plain(levelDb, 2)} dB`)

/** @returns null where neither was looked for */
export function equaliserPart({ equalisation, lowEdge, highEdge }: Readings): Markup | null {
  if (!equalisation && !lowEdge && !highEdge) return null
  const edges = markup`${lowEdge ? edgeInWords('Lower', lowEdge) : null}${highEdge ? edgeInWords('Upper', highEdge) : null}`
  if (!equalisation) return markup`<p class="found">${edges}</p>`
  return markup`<div class="equaliser">
<p class="found">${edges}${equalisationInWords(equalisation)}</p>
${equalisation.sections.length === 0 ? null : sectionTable(equalisation)}
</div>`
}

function edgeInWords(side: 'Lower' | 'Upper', { freqHz, freqU, slopeDbPerOctave, shape }: Edge): Shown {
  const slope = slopeDbPerOctave === null ? [] : [`${plain(slopeDbPerOctave, 0)} dB/octave`]
  const words = [...slope, ...(shape === null ? [] : [shape])].map((word) => `, ${word}`).join('')
  return markup`${side} edge (−3 dB) ${withU(freqHz, freqU, 'Hz')}${words}. `
}

function equalisationInWords({ isExplained, sections, leftWorstDb, leftRmsDb }: Equalisation): Shown {
  if (!isExplained) {
    return markup`<strong>Equalisation is in it that no few sections explain:</strong> band edges taken off, it is off by up to ${leftInWords(leftWorstDb)} (rms ${leftInWords(leftRmsDb)}). No settings are given; tune it by the curve.`
  }
  if (sections.length === 0)
    return `No equaliser section was found: ${leftInWords(leftWorstDb)} is the most that is left.`
  const count = sections.length === 1 ? 'One equaliser section was' : `${sections.length} equaliser sections were`
  return markup`<strong>${count} found.</strong> Undone, ${leftInWords(leftWorstDb)} is the most that is left.`
}

const sectionTable = ({ sections, processingHz }: Equalisation): Markup =>
  table({
    kind: 'sections',
    says: 'Equaliser sections and what undoes them',
    caption: `Gain, frequency and Q as the Audio EQ Cookbook (W3C) defines them, at ${processingHz / 1000} kHz. Type in the last column, and take it again: another processor may count Q in its own way.`,
    columns: SECTIONS,
    rows: sections.map((section, i) => ({ section, number: i + 1 })),
  })
