/** The record in the written report: rig and calibration, takes, methods, cautions, signatures. */
import { inHz, plain, signed } from '../units/words.js'
import type { Figure } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { methodInWords, quantityInWords, timeInWords } from './format.js'
import { type Markup, markup } from './markup.js'
import { facts } from './parts.js'
import { settingInWords } from './setting-words.js'
import { stageTakes } from './stages-section.js'
import { table } from './table.js'

export function rigSection({ rig }: Result): Markup {
  return markup`<section id="rig">
<h2>Rig and calibration</h2>
${facts([
  ['Rig', rig.name],
  ['Capture', rig.capture],
  ['Player', rig.player],
  ['Meter', rig.meter ?? 'none used'],
])}
${table({
  kind: 'inputs',
  says: 'Inputs of the rig',
  caption: 'Inputs and their calibration. Full scale is the rms voltage of a sine that just fills the input.',
  columns: [
    { heading: 'Input', cell: ({ number }) => number },
    { heading: 'Full scale', isNumber: true, cell: ({ fullScaleVrms }) => `${digits(fullScaleVrms)} V` },
    { heading: 'Pad', isNumber: true, cell: ({ padDb }) => (padDb === 0 ? 'none' : `${digits(padDb)} dB`) },
    {
      heading: 'Uncertainty of level',
      isNumber: true,
      cell: ({ levelUncertaintyDb }) => `± ${Number(levelUncertaintyDb.toPrecision(2))} dB`,
    },
    {
      heading: 'Calibrated',
      cell: ({ calibratedAt }) => (calibratedAt === null ? 'not against a meter' : timeInWords(calibratedAt)),
    },
    {
      heading: 'Own noise',
      isNumber: true,
      cell: ({ ownNoiseDbfs }) => (ownNoiseDbfs === null ? 'not known' : `${plain(ownNoiseDbfs, 1)} dBFS`),
    },
  ],
  rows: rig.inputs,
})}
</section>`
}

/** A number as a rig file has it: four digits are more than any calibration gives. */
const digits = (value: number): string => String(Number(value.toPrecision(4)))

/** Less drift than this is none that shows in one decimal. */
const DRIFT_PPM_MIN = 0.05

/** @returns null where nothing was asked for */
export function settingsSection({ settings }: Result): Markup | null {
  if (settings.length === 0) return null
  return markup`<section id="settings">
<h2>Settings asked for</h2>
${table({
  kind: 'asked',
  says: 'Settings asked for before measuring',
  caption: 'What was asked to be set before measuring, and what the person said.',
  columns: [
    { heading: 'Setting', cell: ({ name }) => name },
    { heading: 'Asked', cell: ({ asked }) => asked },
    { heading: 'Answer', cell: ({ answer }) => answer },
  ],
  rows: settings,
})}
</section>`
}

/** @returns null where nothing was captured */
export function takesSection({ takes, stages }: Result): Markup | null {
  const staged = stageTakes(stages)
  if (takes.length === 0 && !staged) return null
  return markup`<section id="takes">
<h2>Takes</h2>
${takes.length === 0 ? null : takesTable(takes)}
${staged}
</section>`
}

const takesTable = (takes: Result['takes']): Markup =>
  table({
    kind: 'takes',
    says: 'Takes that were measured',
    caption:
      'Recordings that were measured. SHA-256 proves that a file is the one that was measured. Clock offset: capture against player. Match: how well the track was found, 100 % is perfect.',
    columns: [
      {
        heading: 'Patch',
        widthPct: 18,
        cell: ({ patch, setting }) => markup`${patch}<small>${settingInWords(setting)}</small>`,
      },
      {
        heading: 'File and SHA-256',
        widthPct: 32,
        cell: ({ source, sha256 }) => markup`${source}<small class="digest">${sha256}</small>`,
      },
      {
        heading: 'Recorded',
        widthPct: 13,
        cell: ({ sampleRateHz, inputCount, durationS }) =>
          markup`${plain(durationS, 1)} s<small>${inHz(sampleRateHz)}, ${inputCount} inputs</small>`,
      },
      {
        heading: 'Track',
        widthPct: 10,
        cell: ({ trackStartS, trackRevision, trackCount, trackNumber }) =>
          markup`from ${plain(trackStartS, 2)} s<small>revision ${trackRevision}${trackCount > 1 ? `, number ${trackNumber} of ${trackCount}` : null}</small>`,
      },
      {
        heading: 'Clock offset',
        widthPct: 11,
        isNumber: true,
        cell: ({ clockOffsetPpm, clockDriftPpm }) =>
          markup`${signed(clockOffsetPpm, 1)} ppm${Math.abs(clockDriftPpm) < DRIFT_PPM_MIN ? null : markup`<small>drift ${signed(clockDriftPpm, 1)} ppm</small>`}`,
      },
      { heading: 'Match', widthPct: 7, isNumber: true, cell: ({ matchPct }) => `${plain(matchPct, 1)} %` },
      { heading: 'Faults', widthPct: 8, cell: ({ faults }) => (faults.length === 0 ? 'none' : faults.join(' ')) },
    ],
    rows: takes,
  })

interface Method {
  readonly quantities: readonly string[]
  readonly name: string
  readonly version: string
}

export function methodsSection(result: Result): Markup {
  const methods = methodsOf(result)
  return markup`<section id="methods">
<h2>How it was measured</h2>
<p>± is the expanded uncertainty (k = 2): the true value lies within it about 95 times in 100. A check is <strong>PASS</strong> or <strong>FAIL</strong> only where the figure is further from its limit than that; between, it is <strong>UNSURE</strong> and says what would settle it. “At most” (≤) means that the rig, the path or the noise allows no lower reading, “at least” (≥) that the track or the rig allows no higher one.</p>
${
  methods.length === 0
    ? null
    : table({
        kind: 'methods',
        says: 'Methods',
        caption: 'Methods. A method that can give another figure gets another version.',
        columns: [
          { heading: 'Figure', cell: ({ quantities }) => quantities.map(quantityInWords).join('; ') },
          { heading: 'Method', cell: ({ name }) => name },
          { heading: 'Version', isNumber: true, cell: ({ version }) => version },
        ],
        rows: methods,
      })
}
</section>`
}

function methodsOf({ outputs, checks, stages }: Result): Method[] {
  const figures: Figure[] = [
    ...outputs.flatMap((output) => output.figures),
    ...checks.flatMap(({ figure }) => (figure ? [figure] : [])),
    ...stages.flatMap((stage) => [...stage.figures, ...stage.checks.flatMap(({ figure }) => figure ?? [])]),
  ]
  const quantities = new Map<string, Set<string>>()
  for (const { method, quantity } of figures) {
    quantities.set(method, (quantities.get(method) ?? new Set()).add(quantity))
  }
  return [...quantities].map(([method, names]) => ({ quantities: [...names], ...methodInWords(method) }))
}

export function cautionsSection({ cautions: all, stages }: Result): Markup | null {
  const cautions = [...new Set([...all, ...stages.flatMap((stage) => stage.cautions)])]
  if (cautions.length === 0) return null
  return markup`<section id="cautions">
<h2>Cautions</h2>
<ul>${cautions.map((caution) => markup`<li>${caution}</li>`)}</ul>
</section>`
}

export function signaturesSection({ job }: Result): Markup {
  const box = (role: string, name: string | null): Markup =>
    markup`<div class="sign"><p><b>${role}</b> ${name ?? ''}</p><p class="rule">Signature</p><p class="rule">Place and date</p></div>`
  return markup`<section id="signatures">
<h2>Signatures</h2>
<div class="signs">${box('Measured by', job.technician)}${box('Received by', job.customer)}</div>
</section>`
}
