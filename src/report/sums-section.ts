/** Electrical sums in the written report: each as it stands, as flat as it gets, and the settings that make it so. */
import { plain, signed } from '../units/words.js'
import type { SumResult } from '../verdict/readings.js'
import type { Result } from '../verdict/result.js'
import { curveChart, linearAxis } from './curve-chart.js'
import { swatch } from './legend.js'
import { type Markup, markup, type Shown } from './markup.js'
import { fold, overU } from './parts.js'
import { type TableColumn, table } from './table.js'

type SumSetting = SumResult['settings'][number]

/** Deeper than this under its top a sum is nothing but gone. */
const DEPTH_DB_MAX = 36

/**
 * @param settingsSay what the table of settings is for
 * @returns null where the job asks for none
 */
export function sumsSection({ sums }: Result, settingsSay = 'What makes it flattest'): Markup | null {
  if (sums.length === 0) return null
  return markup`<section id="sums">
<h2>Electrical sums</h2>
<p class="legend">Voltages of outputs that feed one place, added, for a full-scale sine: ${swatch('curve', 'as it stands')} ${swatch('dashed', 'made flattest')}</p>
${sums.map((sum, i) => sumPart(sum, i, settingsSay))}
</section>`
}

/** Less than this is nothing that a person hears. */
const HELP_DB_MIN = 0.2

const outputsInWords = (outputs: readonly number[]): string => `outputs ${outputs.join(' + ')}`

function sumPart(sum: SumResult, index: number, settingsSay: string): Markup {
  const { name, outputs, verdict, because, freqHz } = sum
  return fold({
    title: `Sum ${name}`,
    verdict,
    says: `${outputsInWords(outputs)}. ${freqHz.length === 0 ? 'Not measured.' : flatnessInWords(sum)}`,
    isOpen: verdict !== 'pass',
    inside: [
      because === '' ? null : markup`<p>${because}</p>`,
      freqHz.length === 0 ? null : measuredSum(sum, index, settingsSay),
    ],
  })
}

function flatnessInWords({ worstDb, flattestWorstDb }: SumResult): string {
  if (worstDb === null) return ''
  const stands = `Off from flat by ${signed(worstDb, 1)} dB as it stands`
  if (flattestWorstDb === null) return `${stands}.`
  const isHelped = Math.abs(flattestWorstDb) < Math.abs(worstDb) - HELP_DB_MIN
  return isHelped
    ? `${stands}, by ${signed(flattestWorstDb, 1)} dB with the settings.`
    : `${stands}; the settings change little.`
}

function measuredSum(sum: SumResult, index: number, settingsSay: string): Markup {
  const { name, outputs, freqHz, levelDbv, flattestDbv, settings } = sum
  const highest = levelDbv.concat(flattestDbv).reduce((a, b) => Math.max(a, b))
  return markup`<div class="pair">
<figure>${curveChart({
    id: `sum-${index + 1}`,
    title: `Sum ${name}, ${outputsInWords(outputs)}`,
    says: `Level in dBV over frequency, as it stands and with the settings that make it flattest. ${flatnessInWords(sum)}`,
    curves: [
      { at: freqHz, values: levelDbv },
      { at: freqHz, values: flattestDbv },
    ],
    axis: linearAxis([...levelDbv, ...flattestDbv], {
      unit: 'dBV',
      spanMin: 12,
      floor: highest - DEPTH_DB_MAX,
      isSigned: false,
    }),
  })}
<figcaption>Level for a full-scale sine, added in volts.</figcaption></figure>
${settings.length === 0 ? null : settingsTable(sum, settingsSay)}
</div>`
}

/** Shorter than this a delay is none that a processor could set. */
const DELAY_S_MIN = 0.5e-6

function delayInWords({ extraDelayS, extraDelayU }: SumSetting): Shown {
  if (extraDelayS === null) return markup`any<small>they do not overlap</small>`
  const isNone = Math.abs(extraDelayS) < DELAY_S_MIN
  return markup`${overU(isNone ? 0 : extraDelayS, extraDelayU, 's')}${extraDelayS <= -DELAY_S_MIN ? markup`<small>or delay the others by ${plain(-1000 * extraDelayS, 3)} ms</small>` : null}`
}

const SETTINGS: readonly TableColumn<SumSetting>[] = [
  { heading: 'Output', cell: ({ output }) => output },
  { heading: 'Add delay', isNumber: true, cell: delayInWords },
  { heading: 'Add gain', isNumber: true, cell: ({ gainDb, gainU }) => overU(gainDb, gainU, 'dB') },
  { heading: 'Polarity', cell: ({ isTurned }) => (isTurned ? markup`<b>turn it</b>` : 'leave it') },
]

const settingsTable = ({ name, outputs, settings }: SumResult, says: string): Markup =>
  table({
    kind: 'settings',
    says: `Settings that make the sum ${name} flattest`,
    caption: `${says}, against output ${outputs[0]}.`,
    columns: SETTINGS,
    rows: settings,
  })
