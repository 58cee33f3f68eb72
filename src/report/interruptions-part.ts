/** Interruptions of an output as a list: what, when to the sample, how long, in which take. */
import { plain } from '../units/words.js'
import type { InterruptionResult } from '../verdict/readings.js'
import type { OutputResult, TakeResult } from '../verdict/result.js'
import { type Markup, markup } from './markup.js'
import { settingInWords } from './setting-words.js'
import { type TableColumn, table } from './table.js'

/** More than that no one reads; the rest stands in the result. */
const ROWS_MAX = 40

type Row = InterruptionResult & { readonly sampleRateHz: number | null }

const COLUMNS: readonly TableColumn<Row>[] = [
  { heading: 'What', cell: ({ kind }) => kind },
  { heading: 'Time in the track', isNumber: true, cell: ({ atS }) => `${plain(atS, 4)} s` },
  {
    heading: 'Sample of the take',
    isNumber: true,
    cell: ({ atSample, atSampleU }) => `${plain(atSample, 0)} ± ${Math.max(1, Math.ceil(atSampleU))}`,
  },
  { heading: 'Length', isNumber: true, cell: lengthInWords },
  { heading: 'What follows', cell: ({ lateSamples }) => lateInWords(lateSamples) },
  { heading: 'Take', cell: ({ setting }) => (setting === 'reference' ? setting : settingInWords(setting)) },
  { heading: 'On', cell: ({ isCommon }) => (isCommon ? 'all outputs' : 'this output') },
]

function lengthInWords({ lengthSamples, sampleRateHz }: Row): string {
  const samples = `${plain(lengthSamples, 0)} sample${lengthSamples === 1 ? '' : 's'}`
  return sampleRateHz === null ? samples : `${samples}, ${plain((1000 * lengthSamples) / sampleRateHz, 2)} ms`
}

function lateInWords(lateSamples: number | null): string {
  if (lateSamples === null) return 'not known'
  if (lateSamples === 0) return 'in time'
  const count = Math.abs(lateSamples)
  return `${plain(count, 0)} sample${count === 1 ? '' : 's'} ${lateSamples > 0 ? 'late' : 'early'}`
}

/** @param takes by which patch and setting tell the sample rate */
export function interruptionTable({ number, patch, readings }: OutputResult, takes: readonly TakeResult[]): Markup {
  const rows = readings.interruptions.map((one): Row => {
    const take = takes.find((its) => its.patch === patch && its.setting === one.setting)
    return { ...one, sampleRateHz: take?.sampleRateHz ?? null }
  })
  const more = rows.length - ROWS_MAX
  return markup`${table({
    kind: 'interruptions',
    says: `Interruptions of output ${number}`,
    caption: 'Where the capture is not what the track and this output make it.',
    columns: COLUMNS,
    rows: rows.slice(0, ROWS_MAX),
  })}${more > 0 ? markup`<p>And ${more} more, in result.json.</p>` : null}`
}
